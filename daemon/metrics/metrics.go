// Package metrics shows the bench to a metrics server in the Prometheus text
// format. A scrape does no I/O: it reads the last frame and counters in memory, and of
// this process what the kernel has in memory.
// Readings that are stale or unusable are left out, never zero and never the
// old value; once no cycle has finished for frames.LiveFor everything that came
// from the frame is left out, and the time of the last cycle stays.
package metrics

import (
	"net/http"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"meltwarden/control"
	"meltwarden/daemon/frames"
)

// Options are what the metrics are made from. All fields but Run and Cleared are required.
type Options struct {
	// Latest returns the newest frame, nil before the first.
	Latest   func() *frames.Frame
	Settings control.Settings
	// Exchanges returns the counts of the serial line, without waiting for it.
	Exchanges func() []Exchanges
	// Serial returns how the devices answer, without waiting for them, Lines how their lines do.
	Serial func() []Serial
	Lines  func() []Line
	// Beside returns what is known beside the frame, without waiting for anything.
	Beside  func() Beside
	Cleared Cleared
	Run     Run
	// Version is the program's.
	Version string
	// Now is the present time, time.Now but in tests.
	Now func() time.Time
}

// Run says what is being made, and since when.
type Run struct {
	Name, Recipe, Version string
	Began                 time.Time
}

// Exchanges is how many exchanges with one device of a line ended in one way since start.
type Exchanges struct {
	Line, Device, Outcome string
	Count                 uint64
}

// Metrics is a registry of its own with everything the daemon exports.
type Metrics struct {
	registry *prometheus.Registry
	period   time.Duration
	duration prometheus.Histogram
	late     prometheus.Counter
	missed   prometheus.Counter
}

// New returns the metrics of one daemon.
func New(o Options) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		period:   o.Settings.Period,
		duration: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "meltwarden_cycle_duration_seconds",
			Help: "How long control cycles took, without the waiting for the next.",
			// From a tenth of a millisecond to beyond a period of 0.2 s.
			Buckets: []float64{.0001, .0003, .001, .003, .01, .03, .1, .2, .5, 1},
		}),
		late: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "meltwarden_cycles_late_total",
			Help: "Control cycles that began at least half a period after they were due.",
		}),
		missed: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "meltwarden_cycles_missed_total",
			Help: "Control cycles that never ran because the one before them was a whole period late.",
		}),
	}
	b := newBench(o)
	m.registry.MustRegister(
		m.duration, m.late, m.missed, b, serial{o.Serial, o.Lines}, beside{b}, runInfo(o.Run), buildInfo(o.Version),
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	return m
}

// ObserveCycle counts one finished cycle: how long it took, and how long after
// it was due it began.
func (m *Metrics) ObserveCycle(duration, lateness time.Duration) {
	m.duration.Observe(duration.Seconds())
	if lateness*2 >= m.period {
		m.late.Inc()
	}
	m.missed.Add(float64(max(0, lateness) / m.period))
}

// Handler answers a scrape.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4, Timeout: 5 * time.Second})
}

func runInfo(r Run) prometheus.Collector {
	return info("meltwarden_run_info", "What is being made.",
		prometheus.Labels{"run": r.Name, "recipe": r.Recipe, "version": r.Version})
}

func buildInfo(version string) prometheus.Collector {
	return info("meltwarden_build_info", "Which program this is.",
		prometheus.Labels{"version": version, "goversion": runtime.Version()})
}

// info is the constant 1 with something to say in its labels.
func info(name, help string, labels prometheus.Labels) prometheus.Collector {
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help, ConstLabels: labels},
		func() float64 { return 1 })
}

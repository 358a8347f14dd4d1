package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Serial is how one device answers on its line, since start.
type Serial struct {
	Device string
	// Troubles are what was wrong with exchanges, by kind.
	Troubles map[string]uint64
	// Answered is how many exchanges were, Took how long they took together, and Under how
	// many took at most as long as each bound.
	Answered uint64
	Took     time.Duration
	Under    map[time.Duration]uint64
}

var (
	troubleDesc = desc("serial_troubles_total", "What was wrong with exchanges with a device, more finely than how they ended.", "device", "kind")
	tripDesc    = desc("serial_round_trip_seconds", "How long exchanges took that a device answered, from the first byte of the request to the last of the reply.", "device")
)

// serial collects how the devices answer.
type serial struct{ now func() []Serial }

// Describe implements prometheus.Collector.
func (s serial) Describe(ch chan<- *prometheus.Desc) {
	ch <- troubleDesc
	ch <- tripDesc
}

// Collect implements prometheus.Collector.
func (s serial) Collect(ch chan<- prometheus.Metric) {
	for _, d := range s.now() {
		for kind, n := range d.Troubles {
			scrape{ch}.counter(troubleDesc, float64(n), d.Device, kind)
		}
		under := map[float64]uint64{}
		for bound, n := range d.Under {
			under[bound.Seconds()] = n
		}
		m, err := prometheus.NewConstHistogram(tripDesc, d.Answered, d.Took.Seconds(), under, d.Device)
		if err != nil { // a label that is not UTF-8
			m = prometheus.NewInvalidMetric(tripDesc, err)
		}
		ch <- m
	}
}

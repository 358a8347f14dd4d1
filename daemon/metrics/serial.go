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

// Line is how one serial line does.
type Line struct {
	Name string
	// Tried is false until its port was opened, or was not, for the first time: until then
	// nobody knows whether it is connected.
	Tried, Connected bool
	// Lost is how often its port was lost after it was open, since start.
	Lost uint64
}

var (
	connectedDesc = desc("serial_line_connected", "Whether the port of a serial line is open.", "line")
	lossesDesc    = desc("serial_line_losses_total", "How often the port of a serial line was lost while it was open, since the program began.", "line")

	troubleDesc = desc("serial_troubles_total", "What was wrong with exchanges with a device, more finely than how they ended.", "device", "kind")
	tripDesc    = desc("serial_round_trip_seconds", "How long exchanges took that a device answered, from the first byte of the request to the last of the reply.", "device")
)

// serial collects how the lines do, and how the devices answer on them.
type serial struct {
	now   func() []Serial
	lines func() []Line
}

// Describe implements prometheus.Collector.
func (s serial) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{connectedDesc, lossesDesc, troubleDesc, tripDesc} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (s serial) Collect(ch chan<- prometheus.Metric) {
	for _, l := range s.lines() {
		if l.Tried {
			scrape{ch}.gauge(connectedDesc, one(l.Connected), l.Name)
		}
		scrape{ch}.counter(lossesDesc, float64(l.Lost), l.Name)
	}
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

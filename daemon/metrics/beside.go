package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/wear"
)

// Beside is what the daemon knows beside the frame, all of it in memory.
type Beside struct {
	// Shots is how many were pushed since the program began, LastShot when the last of
	// them was; the zero time where there was none.
	Shots    uint64
	LastShot time.Time
	// DoseMin is the heat that each pot's melt has had in this run, in equal minutes; nil
	// where nobody keeps it.
	DoseMin []frames.Figure
	// Streams is how many pages and terminals follow the bench.
	Streams int
	History *History  // nil keeps none
	Away    *Messages // nil where nobody elsewhere is told
	// Relays is what is counted of those that wear; nil where nobody counts.
	Relays []wear.Standing
}

// History is how the record of the run is doing, in cycles.
type History struct {
	Failing bool
	Dropped uint64
	Waiting int
}

// Messages are those to people elsewhere.
type Messages struct {
	Failing       bool
	Sent, GivenUp uint64
}

// Cleared says whether heaters may be switched on, and until when. Until is the zero time
// where it does not lapse, as on a simulated bench.
type Cleared struct {
	Holds bool
	Until time.Time
}

var (
	shotsDesc    = desc("shots_total", "Shots that were marked as pushed since the program began.")
	lastShotDesc = desc("last_shot_timestamp_seconds", "When the last shot was marked as pushed.")
	doseDesc     = desc("melt_dose_seconds", "Heat that the melt has had in this run, as seconds at 177 °C that would have aged it as much: an estimate.", "pot")
	streamsDesc  = desc("stream_clients", "Pages and terminals that follow the bench now.")
	failingDesc  = desc("history_failing", "Whether what happens can not be written down now.")
	droppedDesc  = desc("history_dropped_cycles_total", "Cycles that were never written down, because too many waited.")
	waitingDesc  = desc("history_waiting_cycles", "Cycles in memory that wait to be written down.")
	deafDesc     = desc("notifier_failing", "Whether the last message to people elsewhere could not be sent.")
	messagesDesc = desc("notifier_messages_total", "Messages to people elsewhere by what became of them.", "outcome")
	relayDesc    = desc("relay_operations_total", "How often the mechanical relay before a heater was told to close, with what its owner says it had before.", "pot")
	ratedDesc    = desc("relay_rated_operations", "Operations that its maker rates it for, as the bench file says.", "pot")
	beganDesc    = desc("run_start_timestamp_seconds", "When the program began with this run.")
	clearedDesc  = desc("commissioned", "Whether it is on record that the heaters may be switched on.")
	lapsesDesc   = desc("commissioning_lapses_timestamp_seconds", "When that record lapses. It is looked at when the program starts.")
)

// beside collects what stands beside the frame.
type beside struct{ *bench }

// Describe implements prometheus.Collector.
func (beside) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		shotsDesc, lastShotDesc, doseDesc, streamsDesc, failingDesc, droppedDesc, waitingDesc, deafDesc, messagesDesc,
		relayDesc, ratedDesc, beganDesc, clearedDesc, lapsesDesc,
	} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (b beside) Collect(ch chan<- prometheus.Metric) {
	s, now := scrape{ch}, b.Beside()
	s.moment(beganDesc, b.Run.Began)
	s.gauge(clearedDesc, one(b.Cleared.Holds))
	s.moment(lapsesDesc, b.Cleared.Until)
	s.counter(shotsDesc, float64(now.Shots))
	s.moment(lastShotDesc, now.LastShot)
	s.gauge(streamsDesc, float64(now.Streams))
	for i := range min(len(now.DoseMin), len(b.names)) {
		s.known(doseDesc, now.DoseMin[i]*60, b.names[i])
	}
	for _, r := range now.Relays {
		s.counter(relayDesc, float64(r.Operations()), r.Pot)
		s.gauge(ratedDesc, float64(r.Rated), r.Pot)
	}
	if h := now.History; h != nil {
		s.gauge(failingDesc, one(h.Failing))
		s.counter(droppedDesc, float64(h.Dropped))
		s.gauge(waitingDesc, float64(h.Waiting))
	}
	if m := now.Away; m != nil {
		s.gauge(deafDesc, one(m.Failing))
		s.counter(messagesDesc, float64(m.Sent), "sent")
		s.counter(messagesDesc, float64(m.GivenUp), "given_up")
	}
}

// moment leaves out one that never was.
func (s scrape) moment(d *prometheus.Desc, at time.Time) {
	if !at.IsZero() {
		s.gauge(d, float64(at.UnixMilli())/1000)
	}
}

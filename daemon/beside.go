package daemon

import (
	"slices"
	"sync/atomic"
	"time"

	"meltwarden/daemon/commission"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/metrics"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/wear"
)

// tally is what the metrics tell beside the frame. The cycle writes it and never waits.
type tally struct {
	shots    atomic.Uint64
	lastShot atomic.Pointer[time.Time]
	doseMin  atomic.Pointer[[]frames.Figure]
	recorder atomic.Pointer[history.Recorder]
	streams  atomic.Int64
	relays   atomic.Pointer[[]wear.Standing]
}

// worn takes in what is counted of the relays, by a counter that may be nil.
func (t *tally) worn(c *wear.Counter) {
	if c != nil {
		relays := c.Standing()
		t.relays.Store(&relays)
	}
}

// pushed counts a shot.
func (t *tally) pushed(at time.Time) {
	t.shots.Add(1)
	t.lastShot.Store(&at)
}

// dosesEvery is how often the doses are reckoned anew: they grow by seconds.
const dosesEvery = 5 * time.Second

// dosed takes in what the potfuls have had.
func (t *tally) dosed(heats []shot.Heat, kJ float64) {
	doses := make([]frames.Figure, len(heats))
	for i := range heats {
		doses[i] = heats[i].DoseMin(kJ)
	}
	t.doseMin.Store(&doses)
}

// beside is what the daemon knows beside the frame, for the metrics.
func (d *Daemon) beside() metrics.Beside {
	t := &d.tally
	b := metrics.Beside{Shots: t.shots.Load(), Streams: int(t.streams.Load())}
	if at := t.lastShot.Load(); at != nil {
		b.LastShot = *at
	}
	if doses := t.doseMin.Load(); doses != nil {
		b.DoseMin = slices.Clone(*doses)
	}
	if relays := t.relays.Load(); relays != nil {
		b.Relays = *relays
	}
	if r := t.recorder.Load(); r != nil {
		b.History = &metrics.History{Failing: r.Failing() != nil, Dropped: r.Dropped(), Waiting: r.Waiting()}
	}
	if n := d.opts.Notifier; n != nil {
		sent, givenUp := n.Counts()
		b.Away = &metrics.Messages{Failing: n.Failing() != nil, Sent: sent, GivenUp: givenUp}
	}
	return b
}

// cleared is what the metrics tell of the commissioning.
func cleared(proven bool, c commission.Clearance) metrics.Cleared {
	return metrics.Cleared{Holds: proven, Until: c.Until()}
}

package trend

import (
	"math"
	"sort"
	"time"

	"meltwarden/daemon/frames"
)

// Finer gathers frames of a stretch of the session, as history kept them, into rows that
// are finer than the trend's own. What history does not keep (the set-point with its band,
// and what was predicted) comes from the trend's slot of that time. It is for one
// goroutine.
type Finer struct {
	width time.Duration
	slots []slot
	from  []slot // the trend's own
	slot  time.Duration
}

// Finer begins such a stretch in at most rows rows of whole cycles that are period apart;
// nil where the trend itself is as fine as that, or there is no such stretch.
func (t *Trend) Finer(from, to time.Duration, rows int, period time.Duration) *Finer {
	t.mu.Lock()
	defer t.mu.Unlock()
	width := max(period, time.Millisecond)
	for (to-from)/width >= time.Duration(max(rows, 1)) {
		width *= 2
	}
	if width >= t.width || to <= from {
		return nil
	}
	return &Finer{width: width, from: append([]slot(nil), within(t.slots, t.width, from, to)...), slot: t.width}
}

// Add takes in the next frame of the stretch.
func (r *Finer) Add(f *frames.Frame) {
	next := slotOf(f, f.Time.Truncate(r.width))
	r.remember(&next, f.Time)
	if n := len(r.slots); n > 0 && r.slots[n-1].start == next.start && len(r.slots[n-1].pots) == len(next.pots) {
		r.slots[n-1] = merge(r.slots[n-1], next)
		return
	}
	r.slots = append(r.slots, next)
}

// remember fills in what only the trend knows.
func (r *Finer) remember(s *slot, at time.Duration) {
	i := sort.Search(len(r.from), func(i int) bool { return r.from[i].start > at }) - 1
	known := i >= 0 && at-r.from[i].start < r.slot && len(r.from[i].pots) == len(s.pots)
	for k := range s.pots {
		p := &s.pots[k]
		p.setpoint, p.band, p.foreseen = math.NaN(), math.NaN(), math.NaN()
		if known {
			own := r.from[i].pots[k]
			p.setpoint, p.band, p.foreseen = own.setpoint, own.band, own.foreseen
		}
	}
}

// Table is what was gathered.
func (r *Finer) Table() Table { return tableOf(r.slots, r.width) }

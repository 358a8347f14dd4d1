// Package trend remembers the session's temperatures for the page: a bounded
// table of slots, each with the lowest and the highest value that fell into it.
// When the table is full, neighbours are merged, so that an evening of any
// length fits and no peak is lost.
package trend

import (
	"math"
	"sync"
	"time"

	"meltwarden/daemon/frames"
)

const (
	// slotStart is how much bench time a slot covers until the table is full.
	slotStart = 2 * time.Second
	// capacity is how many slots there are: 4 hours of slotStart.
	capacity = 7200
)

// Trend is the session so far. The zero value is ready for use, by any number
// of goroutines.
type Trend struct {
	mu    sync.Mutex
	width time.Duration
	slots []slot
}

// slot is one stretch of bench time.
type slot struct {
	start time.Duration
	count float64 // frames in it, which the mean duty is weighted by
	pots  []potSlot
}

// potSlot is one pot in one slot. Temperatures that never came are NaN.
type potSlot struct {
	melt, plate span
	target      float64 // the last one in the slot
	foreseen    float64 // likewise: what is predicted for frames.ForeseenIn later
	estimate    float64 // likewise: what is thought of a melt that has no probe
	duty        float64 // the mean
	// setpoint and band are likewise the last ones: both as they were then.
	setpoint, band float64
}

// span is the lowest and the highest of some values; both NaN when there were none.
type span struct{ min, max float64 }

// with ignores values that are NaN: math.Min and math.Max would let one of them
// wipe out a peak.
func (s span) with(o span) span {
	if math.IsNaN(s.min) {
		return o
	}
	if math.IsNaN(o.min) {
		return s
	}
	return span{math.Min(s.min, o.min), math.Max(s.max, o.max)}
}

// Add puts a frame into the trend. Bench time that goes back starts a new one.
func (t *Trend) Add(f *frames.Frame) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.slots) == 0 || f.Time < t.slots[len(t.slots)-1].start || len(f.Pots) != len(t.slots[0].pots) {
		t.width, t.slots = slotStart, nil
	}
	for !t.place(f) {
		t.width *= 2
		t.slots = thin(t.slots, t.width)
	}
}

// place puts a frame into the last slot or a new one; false when there is no room.
func (t *Trend) place(f *frames.Frame) bool {
	next, n := slotOf(f, f.Time.Truncate(t.width)), len(t.slots)
	switch {
	case n > 0 && t.slots[n-1].start == next.start:
		t.slots[n-1] = merge(t.slots[n-1], next)
	case n < capacity:
		t.slots = append(t.slots, next)
	default:
		return false
	}
	return true
}

func slotOf(f *frames.Frame, start time.Duration) slot {
	s := slot{start: start, count: 1, pots: make([]potSlot, len(f.Pots))}
	for i := range f.Pots {
		p := &f.Pots[i]
		melt, plate := float64(frames.Melt(p)), float64(frames.Measured(p.Plate))
		thought, _ := frames.Estimated(p.MeltEstimate)
		s.pots[i] = potSlot{
			span{melt, melt}, span{plate, plate}, p.TargetC, float64(frames.Foreseen(p)), float64(thought), p.Duty, p.SetpointC, p.BandC,
		}
	}
	return s
}

// merge puts the later slot b into a.
func merge(a, b slot) slot {
	m := slot{start: a.start, count: a.count + b.count, pots: make([]potSlot, len(a.pots))}
	for i, p := range a.pots {
		q := b.pots[i]
		m.pots[i] = potSlot{
			melt: p.melt.with(q.melt), plate: p.plate.with(q.plate), target: q.target, foreseen: q.foreseen, estimate: q.estimate,
			duty: (p.duty*a.count + q.duty*b.count) / m.count, setpoint: q.setpoint, band: q.band,
		}
	}
	return m
}

// thin merges slots that begin in the same stretch of the given width.
func thin(slots []slot, width time.Duration) []slot {
	var out []slot
	for _, s := range slots {
		s.start = s.start.Truncate(width)
		if n := len(out); n > 0 && out[n-1].start == s.start {
			out[n-1] = merge(out[n-1], s)
			continue
		}
		out = append(out, s)
	}
	return out
}

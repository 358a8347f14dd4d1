// Package trend remembers the session's temperatures for the page: a bounded
// table of slots, each with the lowest and the highest value that fell into it.
// When the table is full, neighbours are merged, so that an evening of any
// length fits and no peak is lost.
package trend

import (
	"math"
	"slices"
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
		s.pots[i] = potSlot{span{melt, melt}, span{plate, plate}, p.TargetC, float64(frames.Foreseen(p)), float64(thought), p.Duty}
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
			duty: (p.duty*a.count + q.duty*b.count) / m.count,
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

// Table is a trend in columns, ready for JSON; unknown values are null.
type Table struct {
	// SlotS is how many seconds of bench time a row covers.
	SlotS float64 `json:"slot_s"`
	// ForeseenInS is how many seconds after its row a column's prediction is for.
	ForeseenInS float64 `json:"foreseen_in_s"`
	// TimeS is where each row begins, in seconds of bench time.
	TimeS []float64 `json:"time_s"`
	Pots  []Columns `json:"pots"`
}

// Columns are one pot's values, each as long as Table.TimeS. Temperatures are
// in degrees Celsius; the duty is the mean, 0 to 1. ForeseenC is the melt that was
// predicted then for Table.ForeseenInS later.
type Columns struct {
	MeltMinC  []frames.Figure `json:"melt_min_c"`
	MeltMaxC  []frames.Figure `json:"melt_max_c"`
	PlateMinC []frames.Figure `json:"plate_min_c"`
	PlateMaxC []frames.Figure `json:"plate_max_c"`
	TargetC   []frames.Figure `json:"target_c"`
	ForeseenC []frames.Figure `json:"foreseen_c"`
	// MeltEstimateC is what was thought of a melt that has no probe.
	MeltEstimateC []frames.Figure `json:"melt_estimate_c"`
	Duty          []frames.Figure `json:"duty"`
}

// Table returns the trend in at most rows rows (at least 1), with the lowest
// and the highest value of whatever had to be merged for it.
func (t *Trend) Table(rows int) Table {
	t.mu.Lock()
	slots, width := slices.Clone(t.slots), t.width
	t.mu.Unlock()
	for ; len(slots) > max(rows, 1); width *= 2 {
		slots = thin(slots, 2*width)
	}
	return tableOf(slots, width)
}

func tableOf(slots []slot, width time.Duration) Table {
	out := Table{SlotS: width.Seconds(), ForeseenInS: frames.ForeseenIn.Seconds(), TimeS: make([]float64, 0, len(slots)), Pots: []Columns{}}
	if len(slots) > 0 {
		out.Pots = make([]Columns, len(slots[0].pots))
	}
	for _, s := range slots {
		out.TimeS = append(out.TimeS, s.start.Seconds())
		for i, p := range s.pots {
			out.Pots[i].add(p)
		}
	}
	return out
}

func (c *Columns) add(p potSlot) {
	c.MeltMinC = append(c.MeltMinC, frames.Figure(p.melt.min))
	c.MeltMaxC = append(c.MeltMaxC, frames.Figure(p.melt.max))
	c.PlateMinC = append(c.PlateMinC, frames.Figure(p.plate.min))
	c.PlateMaxC = append(c.PlateMaxC, frames.Figure(p.plate.max))
	c.TargetC = append(c.TargetC, frames.Figure(p.target))
	c.ForeseenC = append(c.ForeseenC, frames.Figure(p.foreseen))
	c.MeltEstimateC = append(c.MeltEstimateC, frames.Figure(p.estimate))
	c.Duty = append(c.Duty, frames.Figure(p.duty))
}

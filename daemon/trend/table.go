package trend

import (
	"math"
	"slices"
	"sort"
	"time"

	"meltwarden/daemon/frames"
)

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
	// SetpointC and BandC are what was asked for then, and how far to either side was right.
	SetpointC []frames.Figure `json:"setpoint_c"`
	BandC     []frames.Figure `json:"band_c"`
}

// MostRows is the most rows that a table may be asked for: as many as there are slots.
const MostRows = capacity

// Table returns the trend in at most rows rows (1 to MostRows), with the lowest
// and the highest value of whatever had to be merged for it.
func (t *Trend) Table(rows int) Table { return t.Between(0, math.MaxInt64, rows) }

// Between is Table for a stretch of bench time, with the row that holds its beginning.
func (t *Trend) Between(from, to time.Duration, rows int) Table {
	t.mu.Lock()
	slots, width := slices.Clone(within(t.slots, t.width, from, to)), t.width
	t.mu.Unlock()
	for ; len(slots) > max(rows, 1); width *= 2 {
		slots = thin(slots, 2*width)
	}
	return tableOf(slots, width)
}

// End is the bench time at which the trend's last row ends; zero for an empty one.
func (t *Trend) End() time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.slots) == 0 {
		return 0
	}
	return t.slots[len(t.slots)-1].start + t.width
}

// within cuts slots of a width to a stretch of bench time.
func within(slots []slot, width, from, to time.Duration) []slot {
	first := sort.Search(len(slots), func(i int) bool { return slots[i].start > from-width })
	last := sort.Search(len(slots), func(i int) bool { return slots[i].start >= to })
	return slots[first:max(first, last)]
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
	c.SetpointC = append(c.SetpointC, frames.Figure(p.setpoint))
	c.BandC = append(c.BandC, frames.Figure(p.band))
}

package review

import (
	"math"
	"time"

	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plot"
)

// mostPoints is about how many moments of a run are kept for a plot; a run of more
// cycles is thinned while it is read, so that a week takes no more memory than an
// evening. No peak is lost: of every stretch the extremes stay.
const mostPoints = 80_000

// thinner hands the cycles of a run to a plot, the extremes of each stretch of them.
type thinner struct {
	run     *plot.Run
	stretch int // cycles
	held    [][]plot.Point
}

// newThinner is for a run of so many cycles that took so long, of which the stretch
// from one time to another is wanted; a to of zero is its end.
func newThinner(run *plot.Run, total int64, tookS float64, from, to time.Duration) *thinner {
	wanted := float64(total)
	if share := (to - from).Seconds() / tookS; to > 0 && share < 1 {
		wanted *= max(share, 0) // a stretch that ends before it begins is for others to refuse
	}
	t := &thinner{run: run, stretch: 1 + int(wanted)/mostPoints, held: make([][]plot.Point, len(run.Pots))}
	for i := range run.Pots {
		run.Pots[i].Points = make([]plot.Point, 0, min(int64(wanted)+1, mostPoints))
	}
	return t
}

func (t *thinner) add(at time.Duration, r *cycles.Record) {
	for i := range min(len(r.Kept.Pots), len(t.held)) {
		k, in := &r.Kept.Pots[i], &r.Input.Pots[i]
		t.held[i] = append(t.held[i], plot.Point{
			At: at, MeltC: celsius(in.Melt), PlateC: celsius(in.Plate), TargetC: k.TargetC, Duty: k.Duty,
		})
	}
	if len(t.held) > 0 && len(t.held[0]) >= t.stretch {
		t.flush()
	}
}

// flush hands over what is held.
func (t *thinner) flush() {
	for i, points := range t.held {
		to := &t.run.Pots[i].Points
		for j, p := range points {
			if t.stretch == 1 || isExtreme(points, j) {
				*to = append(*to, p)
			}
		}
		t.held[i] = points[:0]
	}
}

// isExtreme reports whether a point has to stay: the first, the last, the first and last
// where a value is not known, and the highest and lowest of each value.
func isExtreme(points []plot.Point, j int) bool {
	if j == 0 || j == len(points)-1 {
		return true
	}
	for _, value := range []func(plot.Point) float64{
		func(p plot.Point) float64 { return p.MeltC }, func(p plot.Point) float64 { return p.PlateC },
		func(p plot.Point) float64 { return p.TargetC }, func(p plot.Point) float64 { return p.Duty },
	} {
		unknown := func(i int) bool { return math.IsNaN(value(points[i])) }
		if unknown(j) && !(unknown(j-1) && unknown(j+1)) || !unknown(j) && outermost(points, j, value) {
			return true
		}
	}
	return false
}

// outermost reports whether no point before j is as high, or as low, and none after
// it higher, or lower.
func outermost(points []plot.Point, j int, value func(plot.Point) float64) bool {
	highest, lowest := true, true
	for i, p := range points {
		v, own := value(p), value(points[j])
		highest = highest && !(v > own || v == own && i < j)
		lowest = lowest && !(v < own || v == own && i < j)
	}
	return highest || lowest
}

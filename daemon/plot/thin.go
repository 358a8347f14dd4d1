package plot

import (
	"math"
	"slices"
	"sort"
	"time"
)

// sample is one value at one moment.
type sample struct {
	at time.Duration
	v  float64
}

// value takes one temperature out of a point.
type value func(*Point) float64

// isRecorded tells what can be drawn; NaN fails every comparison.
func isRecorded(c float64) bool { return c >= LowestC && c <= HighestC }

// visible cuts points to the window, with a neighbour on either side so that
// lines reach its edges.
func visible(points []Point, w window) []Point {
	lo := sort.Search(len(points), func(i int) bool { return points[i].At >= w.from })
	hi := sort.Search(len(points), func(i int) bool { return points[i].At > w.to })
	return points[max(lo-1, 0):min(hi+1, len(points))]
}

const (
	// gapSpacings is how many usual spacings without a point make a gap.
	gapSpacings = 5
	// gapLeast keeps a late cycle from being one.
	gapLeast = 2 * time.Second
	// spacingsSeen is how many spacings are looked at to know the usual one.
	spacingsSeen = 1000
)

// gapAfter is the longest time between two points that are still joined. The
// usual spacing is the nine-tenths one: points that were thinned before come in
// close pairs, and the pairs must not count as gaps.
func gapAfter(points []Point) time.Duration {
	stride := max(1, len(points)/spacingsSeen)
	var seen []time.Duration
	for i := 1; i < len(points); i += stride {
		seen = append(seen, points[i].At-points[i-1].At)
	}
	if len(seen) == 0 {
		return gapLeast
	}
	slices.Sort(seen)
	return max(gapLeast, gapSpacings*seen[len(seen)*9/10])
}

// thinner gathers one series into the lowest and the highest sample of each
// pixel column, as stretches without a gap.
type thinner struct {
	stretches [][]sample
	column    int
	filled    bool // the column has a sample
	broken    bool // something in or before the column was not recorded
	low, high sample
}

// thin gives one series as stretches of at most two samples for each of the
// window's pixel columns. A gap narrower than a column still breaks the line at
// the column's edge, so that it is seen.
func thin(points []Point, v value, w window, columns int) [][]sample {
	t := thinner{broken: true}
	longest, last := gapAfter(points), time.Duration(0)
	for i := range points {
		p := &points[i]
		c := v(p)
		if !isRecorded(c) {
			t.broken = true
			continue
		}
		// A gap counts from what was recorded last; before the first, broken is true anyway.
		t.add(sample{p.At, c}, int(math.Floor(w.share(p.At)*float64(columns))), p.At-last > longest)
		last = p.At
	}
	t.flush()
	return clip(t.stretches, w)
}

func (t *thinner) add(s sample, column int, gap bool) {
	if t.filled && column == t.column {
		t.broken = t.broken || gap
		if s.v < t.low.v {
			t.low = s
		}
		if s.v > t.high.v {
			t.high = s
		}
		return
	}
	broken := t.broken || gap
	if t.flush(); broken {
		t.stretches = append(t.stretches, nil)
	}
	t.column, t.filled, t.broken, t.low, t.high = column, true, false, s, s
}

// flush puts what the column gathered into the last stretch, in order of time.
func (t *thinner) flush() {
	if !t.filled {
		return
	}
	t.filled = false
	a, b := t.low, t.high
	if b.at < a.at {
		a, b = b, a
	}
	last := &t.stretches[len(t.stretches)-1]
	if *last = append(*last, a); b.at != a.at {
		*last = append(*last, b)
	}
}

// clip moves the neighbours outside the window onto its edges, along the line,
// and drops a stretch that has nothing inside.
func clip(stretches [][]sample, w window) [][]sample {
	kept := stretches[:0]
	for _, s := range stretches {
		n := len(s)
		if s[n-1].at < w.from || s[0].at > w.to {
			continue
		}
		if s[0].at < w.from {
			s[0] = crossing(s[0], s[1], w.from)
		}
		if s[n-1].at > w.to {
			s[n-1] = crossing(s[n-2], s[n-1], w.to)
		}
		kept = append(kept, s)
	}
	return kept
}

// crossing is where the line from a to b passes a moment between them.
func crossing(a, b sample, at time.Duration) sample {
	share := window{a.at, b.at}.share(at)
	return sample{at, a.v + (b.v-a.v)*share}
}

// power is the duty in one pixel column.
type power struct {
	seen      time.Duration // how much of the column was recorded
	sum, peak float64       // the duty times its seconds, and the highest
}

func (p power) mean() float64 { return p.sum / p.seen.Seconds() }

// powers spreads the duty over pixel columns; each recorded duty holds until the
// next point; before a gap nothing is known of how long it held.
func powers(points []Point, w window, columns int) []power {
	out := make([]power, columns)
	longest := gapAfter(points)
	for i := range points {
		p := &points[i]
		if !(p.Duty >= 0 && p.Duty <= 1) || i+1 == len(points) {
			continue
		}
		until := points[i+1].At
		if until-p.At > longest {
			continue
		}
		spread(out, window{max(p.At, w.from), min(until, w.to)}, w, p.Duty)
	}
	return out
}

// spread adds a duty held over a stretch to the columns that it touches.
func spread(out []power, held, w window, duty float64) {
	wide := float64(w.to-w.from) / float64(len(out))
	for at := held.from; at < held.to; {
		column := min(int(float64(at-w.from)/wide), len(out)-1)
		// Rounding up by a nanosecond leaves the column for certain.
		next := min(held.to, w.from+time.Duration(wide*float64(column+1))+1)
		c := &out[column]
		c.seen += next - at
		c.sum += duty * (next - at).Seconds()
		c.peak = max(c.peak, duty)
		at = next
	}
}

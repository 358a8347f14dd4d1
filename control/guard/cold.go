package guard

import (
	"math"
	"time"
)

// Grades as in the table.
const (
	// ColdAgreeC is how far cold probes may lie apart (C), in kelvins.
	ColdAgreeC = 3.0
	// ColdBelowC is what is cold, in degrees Celsius (E: a pot that still cools from an
	// earlier session is warmer).
	ColdBelowC = 40.0

	coldSettle  = 3 * time.Second // E
	coldFilterS = 5.0             // E: it leaves less than 0.1 °C of a good module's noise
)

// coldCheck compares all probes before any heat.
type coldCheck struct {
	over   bool // there has been heat, or a warm pot: cold probes tell nothing any more
	looked time.Duration
	c      []float64 // smoothed, two for each pot; NaN: not seen
}

// lookAtColdProbes finds, before any heat, the pot whose probe is furthest from
// the mean of all where they do not agree.
func (g *Guard) lookAtColdProbes(s *Sight) {
	k, elapsed := &g.cold, watched(s.took())
	k.over = k.over || g.state == Enabled
	odd := -1
	if !k.over {
		odd = g.oddProbe(elapsed)
	}
	for i := range g.pots {
		g.note(g.pots[i].found, ProbesDisagree, i == odd/2 && odd >= 0, elapsed)
	}
}

// oddProbe returns the index of the probe, two for each pot, that is furthest from
// the mean while they disagree; -1 while they agree or are not all cold.
func (g *Guard) oddProbe(elapsed time.Duration) int {
	k := &g.cold
	low, high, sum, n := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for i := range k.c {
		p := &g.pots[i/2].melt
		if i%2 == 1 {
			p = &g.pots[i/2].plate
		}
		k.c[i] = smoothed(k.c[i], &p.trend, elapsed)
		if math.IsNaN(k.c[i]) {
			continue
		}
		low, high, sum, n = min(low, k.c[i]), max(high, k.c[i]), sum+k.c[i], n+1
	}
	if k.looked += elapsed; k.looked < coldSettle || high >= ColdBelowC || high-low <= ColdAgreeC {
		return -1
	}
	odd, off := -1, 0.0
	for i, c := range k.c {
		if d := math.Abs(c - sum/n); d > off {
			odd, off = i, d
		}
	}
	return odd
}

// smoothed follows a trend slowly; NaN while nothing is known.
func smoothed(c float64, t *trend, elapsed time.Duration) float64 {
	switch {
	case !t.seen:
		return math.NaN()
	case math.IsNaN(c):
		return t.c
	}
	return c + (t.c-c)*-math.Expm1(-elapsed.Seconds()/coldFilterS)
}

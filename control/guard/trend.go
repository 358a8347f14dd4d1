package guard

import (
	"math"
	"time"
)

// Filters of a trend, in seconds (E): a fall of 3 °C a second shows within about a
// second, and a slope's noise is 0.03 °C a second with a module's 0.25 °C.
const (
	trendFilterS = 1.0
	trendSlopeS  = 3.0
)

// trend is a smoothed temperature with its slope: the guard's own, since it does
// not lean on the loops.
type trend struct {
	c, slow float64 // smoothed once and twice, degrees Celsius
	seen    bool
}

// take feeds a believed reading.
func (t *trend) take(c float64, elapsed time.Duration) {
	if !t.seen {
		t.c, t.slow, t.seen = c, c, true
		return
	}
	dt := elapsed.Seconds()
	t.c += (c - t.c) * -math.Expm1(-dt/trendFilterS)
	t.slow += (t.c - t.slow) * -math.Expm1(-dt/trendSlopeS)
}

// slope returns degrees Celsius per second.
func (t *trend) slope() float64 { return (t.c - t.slow) / trendSlopeS }

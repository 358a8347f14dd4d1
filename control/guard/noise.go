package guard

import (
	"math"
	"time"
)

// Grades as in the table.
const (
	noiseOver     = 10 * time.Second // E
	noisyC        = 1.5              // E: six times a good module's 0.25 °C
	uselessNoiseC = 4.0              // E: a melt's band is ±2 °C
	noiseMostC    = 40.0             // E: so that one wild value does not count for many
)

// noise is the spread of a reading's short-term differences, each value against
// the line through the two before it, so that a steady slope is no noise.
type noise struct {
	n            int // values in a row, up to two
	before, last float64
	mean         float64 // of the absolute differences, scaled to those of one value
}

// take feeds a usable value and returns the standard deviation of such values, in
// degrees Celsius.
func (n *noise) take(c float64, elapsed time.Duration) float64 {
	if n.n < 2 {
		n.n++
	} else {
		// The variance of the difference is 1 + 4 + 1 times that of a value.
		d := math.Min(math.Abs(c-2*n.last+n.before), noiseMostC) / math.Sqrt(6)
		n.mean += (d - n.mean) * -math.Expm1(-elapsed.Seconds()/noiseOver.Seconds())
	}
	n.before, n.last = n.last, c
	return n.sigma()
}

// sigma is the standard deviation of normally distributed values with that mean
// absolute difference.
func (n *noise) sigma() float64 { return n.mean * math.Sqrt(math.Pi/2) }

// interrupt says that no value came: what follows does not continue a line.
func (n *noise) interrupt() { n.n = 0 }

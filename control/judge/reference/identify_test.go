package reference

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// every returns n times, from zero on.
func every(period float64, n int) []float64 {
	t := make([]float64, n)
	for i := range t {
		t[i] = float64(i) * period
	}
	return t
}

// TestTwoPoint: Smith's two points on exact responses, whose times the table
// states (testdata/tuning/two_point.csv).
func TestTwoPoint(t *testing.T) {
	for _, r := range table(t, "two_point.csv") {
		exact := Model{K: r.number("K"), Theta: r.number("L_true"), Tau1: r.number("T_true")}
		times := every(0.2, int(20*exact.Tau1/0.2))
		y := exact.rise(times)
		assert.InDelta(t, r.number("t28.3"), reaches(times, y, 0.283*exact.K), 0.01)
		assert.InDelta(t, r.number("t63.2"), reaches(times, y, 0.632*exact.K), 0.01)
		m := TwoPoint(times, y)
		assert.InEpsilon(t, exact.K, m.K, 1e-6)
		assert.InDelta(t, r.number("tau_smith"), m.Tau1, 0.02)
		assert.InDelta(t, r.number("theta_smith"), m.Theta, 0.02)
	}
}

// TestTangent: a and L of the step of 1/(s+1)^3, an example of Åström's and
// Hägglund's textbook, from memory (testdata/tuning/ziegler_nichols.csv). A tangent
// over a tenth of the rise is a little less steep than one at a point.
func TestTangent(t *testing.T) {
	times := every(0.01, 3000)
	y := make([]float64, len(times))
	for i, s := range times {
		y[i] = 1 - math.Exp(-s)*(1+s+s*s/2)
	}
	slope, delay := Tangent(times, y)
	r := table(t, "ziegler_nichols.csv")[1]
	fmt.Printf("1/(s+1)^3: a %.4f (%s), L %.4f (%s)\n", slope*delay, r.words["Ku_or_a"], delay, r.words["Pu_or_L"])
	assert.InEpsilon(t, r.number("Ku_or_a"), slope*delay, 5e-3)
	assert.InEpsilon(t, r.number("Pu_or_L"), delay, 5e-3)
}

// TestFitsFindWhatMadeTheRecord, from short delays to long, as far as the record's
// own period.
func TestFitsFindWhatMadeTheRecord(t *testing.T) {
	for _, exact := range []Model{
		{K: 2, Theta: 45, Tau1: 600, Tau2: 100},
		{K: 2, Theta: 20, Tau1: 600, Tau2: 300},
		{K: 900, Theta: 5, Tau1: 1900, Tau2: 150},
	} {
		times := every(0.5, int(16*exact.Tau1))
		m := SecondOrder(times, exact.rise(times))
		assert.InEpsilonSlice(t, []float64{exact.K, exact.Tau1, exact.Tau2, exact.Theta}, []float64{m.K, m.Tau1, m.Tau2, m.Theta}, 2e-3)

		behind := Model{K: 0.95, Theta: 7, Tau1: 300}
		m = Behind(times, exact.rise(times), behind.follow(times, exact.rise(times)))
		assert.InEpsilonSlice(t, []float64{behind.K, behind.Tau1, behind.Theta}, []float64{m.K, m.Tau1, m.Theta}, 2e-2)
	}
}

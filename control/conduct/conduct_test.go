package conduct

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// table reads a table of testdata/heat.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open("../../testdata/heat/" + name)
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

// TestNumbersOfRoots: the roots and constants of Biot numbers from 0.01 to infinity, to the
// digits that handbooks print (testdata/heat/plane_wall.csv names them).
func TestNumbersOfRoots(t *testing.T) {
	worst := 0.0
	rows := table(t, "plane_wall.csv")
	require.Len(t, rows, 16)
	for _, row := range rows {
		zeta := root(1, number(t, row[0]))
		off := [...]float64{
			math.Abs(zeta - number(t, row[1])), math.Abs(constant(zeta) - number(t, row[2])),
		}
		worst = max(worst, off[0], off[1])
		assert.Less(t, max(off[0], off[1]), 1.01e-6, row[0])
		assert.InDelta(t, number(t, row[3]), zeta, 1.01e-4, row[0]) // some printings differ by 1 in the last digit
		assert.InDelta(t, number(t, row[4]), constant(zeta), 1.01e-4, row[0])
	}
	fmt.Printf("first roots and constants of 16 walls: at most %.1g off the table's six digits\n", worst)
}

// TestWorkedExamples: testdata/heat/conduction.csv names each source; the figures are those
// of the exact series.
func TestWorkedExamples(t *testing.T) {
	// W1: a brass plate in an oven.
	const l, k, alpha, h, s = 0.02, 110.0, 33.9e-6, 120.0, 7 * 60.0
	w := NewWall(h * l / k)
	fo := alpha * s / (l * l)
	assert.InDelta(t, 0.02182, h*l/k, 5e-6)
	assert.InDelta(t, 35.59, fo, 0.006)
	assert.InDelta(t, 279.6, 500-480*w.Left(fo, 1), 0.05)
	assert.InDelta(t, 277.2, 500-480*w.Left(fo, 0), 0.05)
	assert.InDelta(t, 279.4, 500-480*Lumped(s, l*8530*380/h), 0.05) // brass by the book's ρ and c

	// W2: plastisol between cold faces.
	fo = 0.17 / (1150 * 1700) * 60 / (0.003 * 0.003)
	assert.InDelta(t, 0.5797, fo, 5e-5)
	assert.InDelta(t, 74.77, 30+147*NewWall(math.Inf(1)).Left(fo, 0), 0.005)

	// S1: soil.
	assert.InDelta(t, 0.801, Depth(15.0/25, 0.15e-6, 90*86400), 0.0005)
	assert.InDelta(t, 0.3708, Depth(15.0/25, 1, 0.25), 5e-5)

	// C1, C2: a hand on metal and on wood.
	assert.InDelta(t, 15.88, Touch(1.1, 35, 24, 15), 0.005)
	assert.InDelta(t, 29.86, Touch(1.1, 35, 0.38, 15), 0.005)
}

// TestLumpedExamples: two thermocouple beads (testdata/heat/lumped.csv names the sources).
func TestLumpedExamples(t *testing.T) {
	for _, row := range table(t, "lumped.csv") {
		var v [8]float64
		for i := range v {
			v[i] = number(t, row[i+1])
		}
		tau := v[1] * v[2] * v[0] / 6 / v[3]
		left := Lumped(v[7], tau)
		assert.InDelta(t, v[6], v[5]+(v[4]-v[5])*left, 0.02, row[0])
	}
}

// TestHeatGivenUp: the mean is 1 - Q/Q0 = θ0·sin(ζ)/ζ of the first term once Fo is above
// 0.2 (any handbook), and a wall that has just begun has all.
func TestHeatGivenUp(t *testing.T) {
	for _, bi := range []float64{0.1, 1, 10, math.Inf(1)} {
		w := NewWall(bi)
		z := root(1, bi)
		assert.InDelta(t, constant(z)*math.Exp(-z*z*0.4)*math.Sin(z)/z, w.Mean(0.4), 2e-4, bi)
		assert.InDelta(t, 1, w.Mean(1e-9), 5e-3, bi)
		assert.Equal(t, 1.0, w.Left(0, 0))
	}
}

// rod is a slab or a cylinder by explicit finite differences: cells of equal width from the
// middle to the face, that exchange heat with the face's surroundings. It has nothing in
// common with a series.
type rod struct {
	c        []float64
	cylinder bool
	tube     float64 // of the surroundings
	ratio    float64 // of what they store, +Inf where they are held
	bi       float64
}

func newRod(cells int, cylinder bool, ratio, bi float64) *rod {
	r := &rod{c: make([]float64, cells), cylinder: cylinder, ratio: ratio, bi: bi}
	for i := range r.c {
		r.c[i] = 1
	}
	return r
}

// until goes on to a Fourier number.
func (r *rod) until(fo float64) {
	n := float64(len(r.c))
	steps := int(math.Ceil(fo * n * n / 0.2))
	d := fo / float64(steps)
	area := func(x float64) float64 { // of the face at x, beside the volumes
		if r.cylinder {
			return 2 * x
		}
		return 1
	}
	volume := func(i int) float64 {
		if r.cylinder {
			return (math.Pow(float64(i+1)/n, 2) - math.Pow(float64(i)/n, 2))
		}
		return 1 / n
	}
	flow := make([]float64, len(r.c)+1)
	for range steps {
		for i := 1; i < len(r.c); i++ {
			flow[i] = area(float64(i)/n) * (r.c[i-1] - r.c[i]) * n
		}
		last := len(r.c)
		flow[last] = area(1) * (r.c[last-1] - r.tube) / (0.5/n + 1/r.bi)
		for i := range r.c {
			r.c[i] += d * (flow[i] - flow[i+1]) / volume(i)
		}
		r.tube += d * flow[last] / r.ratio
	}
}

func (r *rod) mean() float64 {
	sum, whole := 0.0, 0.0
	for i, c := range r.c {
		v := 1.0
		if r.cylinder {
			v = float64(2*i + 1)
		}
		sum, whole = sum+v*c, whole+v
	}
	return sum / whole
}

// TestNumbersOfSeries holds the series against finite differences.
func TestNumbersOfSeries(t *testing.T) {
	inf := math.Inf(1)
	worst, n := 0.0, 0
	for _, bi := range []float64{0.3, 3, 30, inf} {
		w := NewWall(bi)
		for _, fo := range []float64{0.02, 0.1, 0.5, 1} {
			r := newRod(100, false, inf, bi)
			r.until(fo)
			worst, n = max(worst, math.Abs(r.mean()-w.Mean(fo)), math.Abs(r.c[0]-w.Left(fo, 0.005))), n+1
		}
	}
	fmt.Printf("wall, mean and middle: at most %.1g of the difference off finite differences, in %d walls\n", worst, n)
	assert.Less(t, worst, 1e-3)
	worst, n = 0, 0
	for _, ratio := range []float64{0.3, 0.6, 1, 3, inf} {
		c := NewCylinder(ratio)
		for _, fo := range []float64{0.003, 0.01, 0.05, 0.3} {
			r := newRod(150, true, ratio, inf)
			r.until(fo)
			worst, n = max(worst, math.Abs(1-r.mean()-c.Lost(fo))), n+1
		}
	}
	fmt.Printf("cylinder in its tube, mean: at most %.1g of the difference off finite differences, in %d cylinders\n", worst, n)
	assert.Less(t, worst, 2e-3)
}

// TestALossGoesOnlyUp, without a jump where the series takes over, and in the end to where
// cylinder and tube are of one temperature.
func TestALossGoesOnlyUp(t *testing.T) {
	for _, ratio := range []float64{0.6, 1, math.Inf(1)} {
		c := NewCylinder(ratio)
		before := 0.0
		for fo := 1e-6; fo < 100; fo *= 1.1 {
			now := c.Lost(fo)
			assert.GreaterOrEqual(t, now, before, "%v %v", ratio, fo)
			if before = now; now < 0.999*c.most {
				assert.InDelta(t, now, c.Lost(c.Loses(now)), 1e-6, "%v %v", ratio, fo)
			}
		}
		assert.InDelta(t, c.most, c.Lost(50), 1e-9)
	}
	held := NewCylinder(math.Inf(1))
	assert.InDelta(t, 4*math.Sqrt(1e-3/math.Pi)-1e-3, held.Lost(1e-3), 2e-5, "4√(Fo/π) - Fo at first: Crank 5.24, from memory")
	assert.InDelta(t, 2.404825557695773, held.q[0], 1e-9, "the first zero of J0 (Abramowitz and Stegun, table 9.5)")
	assert.InDelta(t, 5.520078110286311, held.q[1], 1e-9)
	assert.Zero(t, held.Lost(0))
	assert.Zero(t, held.Lost(math.NaN()))
}

// TestReaches is the inverse of what is left in the middle, and says so where it never is.
func TestReaches(t *testing.T) {
	w := NewWall(math.Inf(1))
	for _, left := range []float64{0.99, 0.8, 0.5, 0.1, 0.001} {
		assert.InDelta(t, left, w.Left(w.Reaches(left), 0), 1e-6)
	}
	assert.Zero(t, w.Reaches(1))
	assert.True(t, math.IsInf(w.Reaches(0), 1))
	assert.True(t, math.IsInf(w.Reaches(math.NaN()), 1))
	assert.True(t, math.IsInf(NewCylinder(1).Loses(0.5), 1), "half is all that it ever loses")
	assert.True(t, math.IsNaN(root(1, 0)))
}

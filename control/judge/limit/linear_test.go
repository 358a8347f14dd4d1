package limit_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/judge/limit"
	"meltwarden/control/judge/zoo"
)

// The bodies of a linear pot, written down here anew.
const (
	element = iota
	plate
	rim
	wall
	melt
	layer
	bodies
)

type (
	vector [bodies]float64
	// affine is x' = M x + duty·power, with x in kelvin over the room.
	matrix [bodies + 1][bodies + 1]float64
)

// straight makes a pot linear: no radiation, no thickening, no fusing, one coupling.
func straight(s zoo.Spec) *zoo.Spec {
	s.PlateGrey, s.VesselGrey, s.MeltGrey = 0, 0, 0
	s.ConvectionWK = 14 // about what radiation adds
	s.Gel.Share, s.FusingJG = 1, 0
	s.Still, s.Stir, s.Layer.Stirred = 1, zoo.Stirring{}, 1
	return &s
}

// rates are the linear pot's equations, with the duty as the last of the states:
// Newton's law between lumped bodies. added is heat capacity stirred into the melt.
func rates(s *zoo.Spec, added float64) matrix {
	jk := vector{
		element: s.ElementJKW * s.RatedW,
		plate:   s.PlateJKW * s.RatedW * (1 - s.Rim.Share), rim: math.Max(s.PlateJKW*s.RatedW*s.Rim.Share, 1),
		wall: s.WallJK(), melt: s.MeltJK()*(1-s.Layer.Share) + added, layer: math.Max(s.MeltJK()*s.Layer.Share, 1),
	}
	var m matrix
	couple := func(i, j int, wk float64) {
		m[i][i] -= wk / jk[i]
		m[i][j] += wk / jk[i]
		m[j][j] -= wk / jk[j]
		m[j][i] += wk / jk[j]
	}
	couple(element, plate, s.ElementWKW*s.RatedW)
	couple(plate, wall, s.ContactWK())
	couple(wall, melt, s.WallMeltWK())
	outside := plate
	if s.Rim.Share > 0 {
		couple(plate, rim, s.Rim.WK)
		outside = rim
	}
	if s.Layer.Share > 0 {
		couple(melt, layer, s.Layer.WK)
	}
	bottom := s.VolumeML * 1e-6 / s.DepthM
	side := 2 * s.DepthM * math.Sqrt(math.Pi*bottom)
	m[outside][outside] -= s.ConvectionWK * s.PlateAreaM2 / jk[outside]
	m[wall][wall] -= s.ConvectionWK * 1.25 * side / jk[wall]
	m[melt][melt] -= s.ConvectionWK * bottom / jk[melt]
	m[element][bodies] = s.RatedW * s.Gain / jk[element]
	return m
}

func times(a, b *matrix) (c matrix) {
	for i := range a {
		for j := range b {
			for k := range b {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}

// over is the exact step of a linear pot over some seconds: the matrix exponential
// by Taylor's series, scaled and squared (any textbook of numerical analysis).
func over(m matrix, seconds float64) matrix {
	const halvings = 16
	var e, term matrix
	for i := range m {
		e[i][i], term[i][i] = 1, 1
		for j := range m {
			m[i][j] *= seconds / (1 << halvings)
		}
	}
	for n := 1; n <= 8; n++ {
		term = times(&term, &m)
		for i := range e {
			for j := range e {
				term[i][j] /= float64(n)
				e[i][j] += term[i][j]
			}
		}
	}
	for range halvings {
		e = times(&e, &e)
	}
	return e
}

func (x vector) step(e *matrix, duty float64) (y vector) {
	for i := range y {
		y[i] = e[i][bodies] * duty
		for j := range x {
			y[i] += e[i][j] * x[j]
		}
	}
	return y
}

// linearPots are one of each structure.
func linearPots() []*zoo.Spec {
	named := zoo.Named()
	find := func(name string) zoo.Spec {
		for _, s := range named {
			if s.Name == name {
				return s
			}
		}
		panic("no pot " + name)
	}
	return []*zoo.Spec{
		straight(find("small, strong, fast")), straight(find("quarter, cast")),
		straight(find("two-part plate")), straight(find("unseen layer")),
	}
}

// TestLinearPot: the zoo's small steps against the exact solution, ten minutes of
// full power and ten of a third.
func TestLinearPot(t *testing.T) {
	worst := 0.0
	for _, s := range linearPots() {
		p := zoo.New(s, zoo.Start{})
		var x vector
		e := over(rates(s, 0), 1)
		for n := range 1200 {
			duty := 1.0
			if n >= 600 {
				duty = 1. / 3
			}
			x = x.step(&e, duty)
			for range int(math.Round(1 / zoo.StepS)) {
				p.Step(duty)
			}
			for _, pair := range [][2]float64{{p.ElementC(), x[element]}, {p.PlateC(), x[plate]}, {p.MeltC(), x[melt]}} {
				worst = math.Max(worst, math.Abs(pair[0]-s.RoomC-pair[1]))
			}
		}
	}
	fmt.Printf("small steps against the matrix exponential: at most %.3f °C apart in twenty minutes of 4 linear pots\n", worst)
	assert.Less(t, worst, 0.5)
}

// programme is a linear programme: the most of gain·u with rows·u ≤ most, 0 ≤ u,
// where every most is zero or more, so that u = 0 is a way to begin.
type programme struct {
	gain []float64
	rows [][]float64
	most []float64
}

func (p *programme) atMost(row []float64, most float64) {
	p.rows, p.most = append(p.rows, row), append(p.most, most)
}

// solve returns the most there is: Dantzig's simplex method on a full tableau (any
// textbook of linear programming).
func (p *programme) solve(t *testing.T) float64 {
	n, m := len(p.gain), len(p.rows)
	tableau := make([][]float64, m+1)
	for i := range tableau {
		tableau[i] = make([]float64, n+m+1)
		if i == m {
			for j, g := range p.gain {
				tableau[m][j] = -g
			}
			break
		}
		require.GreaterOrEqual(t, p.most[i], 0.0)
		copy(tableau[i], p.rows[i])
		tableau[i][n+i], tableau[i][n+m] = 1, p.most[i]
	}
	for range 5000 {
		column, least := -1, -1e-9
		for j, v := range tableau[m][:n+m] {
			if v < least {
				column, least = j, v
			}
		}
		if column < 0 {
			return tableau[m][n+m]
		}
		row, ratio := -1, math.Inf(1)
		for i := range m {
			if v := tableau[i][column]; v > 1e-11 && tableau[i][n+m]/v < ratio {
				row, ratio = i, tableau[i][n+m]/v
			}
		}
		require.GreaterOrEqual(t, row, 0, "bounded by the duty's 1")
		pivot(tableau, row, column)
	}
	t.Fatal("the simplex method did not end")
	return 0
}

func pivot(tableau [][]float64, row, column int) {
	by := tableau[row][column]
	for j := range tableau[row] {
		tableau[row][j] /= by
	}
	for i := range tableau {
		if f := tableau[i][column]; i != row && f != 0 {
			for j, v := range tableau[row] {
				tableau[i][j] -= f * v
			}
		}
	}
}

// bulkOf is the mean of melt and layer.
func bulkOf(s *zoo.Spec, added float64, x vector) float64 {
	meltJK, layerJK := s.MeltJK()*(1-s.Layer.Share)+added, s.MeltJK()*s.Layer.Share
	return (meltJK*x[melt] + layerJK*x[layer]) / (meltJK + layerJK)
}

// reachable reports whether the bulk can be at the bottom of the band after some
// seconds with the plate under its limit and the melt under the top of the band all
// the while and for a coast of ten minutes after; no other way is assumed but a duty
// that is constant through each of a number of parts.
func reachable(t *testing.T, s *zoo.Spec, added float64, from vector, targetC, seconds float64) bool {
	const parts, coastS = 50, 600.0
	span := seconds / parts
	e := over(rates(s, added), span)
	var p programme
	free := from
	states := [parts]vector{} // what a full duty in the part so many before now leaves of itself
	states[0] = vector{}.step(&e, 1)
	for k := 1; k < parts; k++ {
		states[k] = states[k-1].step(&e, 0)
	}
	row := func(after int, of func(vector) float64) []float64 {
		r := make([]float64, parts)
		for k := range min(after, parts) {
			r[k] = of(states[after-1-k])
		}
		return r
	}
	bulk := func(x vector) float64 { return bulkOf(s, added, x) }
	hot := func(x vector) float64 { return x[melt] }
	warm := func(x vector) float64 { return x[plate] }
	for k := range parts {
		one := make([]float64, parts)
		one[k] = 1
		p.atMost(one, 1)
		free = free.step(&e, 0)
		p.atMost(row(k+1, warm), s.PlateLimitC-s.RoomC-warm(free))
		p.atMost(row(k+1, hot), targetC+1-s.RoomC-hot(free))
	}
	p.gain = row(parts, bulk)
	need := targetC - 1 - s.RoomC - bulk(free)
	for range int(coastS / span) {
		for k := range states {
			states[k] = states[k].step(&e, 0)
		}
		free = free.step(&e, 0)
		p.atMost(row(parts, hot), targetC+1-s.RoomC-hot(free))
	}
	return p.solve(t) >= need
}

// shortest is the shortest time of reachable, to half a second.
func shortest(t *testing.T, s *zoo.Spec, added float64, from vector, targetC, most float64) float64 {
	low, high := 0.0, most
	for high-low > 0.5 {
		mid := (low + high) / 2
		if reachable(t, s, added, from, targetC, mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// resting is the linear pot at rest with its melt at a temperature.
func resting(s *zoo.Spec, c float64) vector {
	e := over(rates(s, 0), 1e6)
	x := vector{}.step(&e, 1)
	share := (c - s.RoomC) / x[melt]
	for i := range x {
		x[i] *= share
	}
	return x
}

// coolest is how long the bulk of a resting linear pot takes down without any power.
func coolest(s *zoo.Spec, fromC, toC float64) (seconds float64) {
	const h = 0.1
	e := over(rates(s, 0), h)
	for x := resting(s, fromC); bulkOf(s, 0, x)+s.RoomC > toC; seconds += h {
		x = x.step(&e, 0)
	}
	return seconds
}

// TestLinearProgramme: nothing that any sequence of duties does to a linear pot gets
// it into the band faster, and the limit is not faster than can be. Down, no power
// at all is the fastest, as the exact solution falls.
func TestLinearProgramme(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector makes half a minute of it")
	}
	worst := 0.0
	compare := func(what string, s *zoo.Spec, found, other float64) {
		t.Logf("%-20s %s: switching %.1f s, the other way %.1f s (%+.1f %%)", s.Name, what, found, other, 100*(found/other-1))
		worst = math.Max(worst, math.Abs(found/other-1))
	}
	for _, s := range linearPots() {
		task := limit.Task{TargetC: 170, BandC: 1, PlateLimitC: s.PlateLimitC}
		found := limit.Into(zoo.New(s, zoo.Start{}).Body, task).IntoS
		compare("heat-up", s, found, shortest(t, s, 0, vector{}, 170, 1.7*found))

		task.Events = []zoo.Event{{Kind: zoo.Colour, Amount: 20}}
		found = limit.Into(limit.Held(s, 170), task).IntoS
		added := 20 * s.GramsML * s.MeltJGK
		from, meltJK := resting(s, 170), s.MeltJK()*(1-s.Layer.Share)
		from[melt] *= meltJK / (meltJK + added)
		compare("20 mL cold", s, found, shortest(t, s, added, from, 170, 1.7*found))
	}
	for _, s := range linearPots() {
		found := limit.Into(limit.Held(s, 172), limit.Task{TargetC: 165, BandC: 1, PlateLimitC: s.PlateLimitC}).IntoS
		compare("172 to 165 °C", s, found, coolest(s, 172, 166))
	}
	fmt.Printf("shortest times by switching and by linear programme or exact solution: at most %.1f %% apart\n", 100*worst)
	assert.Less(t, worst, 0.02)
}

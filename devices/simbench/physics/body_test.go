package physics

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// bead is a worked example of a lumped body in a fluid, from a textbook.
type bead struct {
	id                                                   string
	diameterM, rho, c, h, startC, fluidC, endC, answersS float64
}

func (b bead) areaM2() float64   { return math.Pi * b.diameterM * b.diameterM }
func (b bead) capacity() float64 { return b.rho * b.c * b.areaM2() * b.diameterM / 6 }

// beads reads the examples; their sources stand at the top of the file.
func beads(t *testing.T) []bead {
	t.Helper()
	file, err := os.Open("../../../testdata/heat/lumped.csv")
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	require.NoError(t, err)
	var all []bead
	for _, row := range rows[1:] {
		var n [8]float64
		for i := range n {
			n[i], err = strconv.ParseFloat(row[i+1], 64)
			require.NoError(t, err)
		}
		all = append(all, bead{row[0], n[0], n[1], n[2], n[3], n[4], n[5], n[6], n[7]})
	}
	return all
}

// timeTo steps until the temperature has reached endC, and returns the time.
func timeTo(t *testing.T, endC float64, temperature func() float64, step func()) time.Duration {
	t.Helper()
	rising := temperature() < endC
	for at := time.Duration(0); at < 4*time.Hour; at += Step {
		if (temperature() >= endC) == rising {
			return at
		}
		step()
	}
	t.Fatalf("never reached %g °C", endC)
	return 0
}

func TestLumpedBodyWarmsAsTheTextbookSays(t *testing.T) {
	for _, example := range beads(t) {
		t.Run(example.id, func(t *testing.T) {
			b := body{c: example.startC, capacity: example.capacity()}
			s := surface{areaM2: example.areaM2(), convection: example.h}
			air := Air{C: example.fluidC}
			took := timeTo(t, example.endC, func() float64 { return b.c }, func() {
				b.w = -air.lossW(s, b.c)
				b.settle()
			})
			// The bead is far faster than anything on a hot plate, so the
			// explicit step still costs Step/(2 tau): 1.3 % for the faster one.
			require.InEpsilon(t, example.answersS, took.Seconds(), 0.02)
		})
	}
}

func TestProbeWarmsAsTheTextbookSays(t *testing.T) {
	for _, example := range beads(t) {
		t.Run(example.id, func(t *testing.T) {
			tau := example.capacity() / (example.h * example.areaM2())
			p := NewProbe(ProbeSpec{Lag: time.Duration(tau * float64(time.Second))}, example.startC, nil)
			took := timeTo(t, example.endC, func() float64 { return p.c }, func() { p.Step(example.fluidC, 20) })
			require.InDelta(t, example.answersS, took.Seconds(), 0.06) // two steps, and rounding
		})
	}
}

func TestCoolingFollowsTheExponential(t *testing.T) {
	// Analytic solution of the lumped body (Cengel, Heat Transfer, 4-1), at the
	// time scale of a pot: 540 J/K, 0.02 m², 10 W/(m² K): tau = 2700 s.
	b := body{c: 170, capacity: 540}
	s := surface{areaM2: 0.02, convection: 10}
	for at := Step; at <= 90*time.Minute; at += Step {
		b.w = -Air{C: 20}.lossW(s, b.c)
		b.settle()
		if at%(15*time.Minute) == 0 {
			require.InDelta(t, 20+150*math.Exp(-at.Seconds()/2700), b.c, 1e-3)
		}
	}
}

func TestRadiationOfABlackBody(t *testing.T) {
	// Stefan-Boltzmann law, handbook value: a black body at 300 K emits 459.3 W/m²
	// (Incropera, chapter on radiation; from memory, recomputed), at 0 K receives nothing.
	black := surface{areaM2: 1, emissivity: 1}
	require.InDelta(t, 459.3, Air{C: -kelvin}.lossW(black, 300-kelvin), 0.05)
}

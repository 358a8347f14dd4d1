package pid

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// table reads a reference table, whose rows name their sources.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/tuning/" + name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

// TestSIMCExamples: S. Skogestad, J. Process Control 13 (2003) 291-309, special
// cases and table of examples, from memory; the settings were recomputed from
// the rule. The table states them to four digits.
func TestSIMCExamples(t *testing.T) {
	for _, row := range table(t, "simc_examples.csv") {
		t.Run(row["id"], func(t *testing.T) {
			k, theta, tauC := number(t, row["k"]), number(t, row["theta"]), number(t, row["tau_c"])
			kc, ti, td := number(t, row["Kc"]), number(t, row["tauI"]), number(t, row["tauD_series_form"])
			var g Gains
			switch {
			case row["tau1"] == "inf":
				g = SIMCIntegrating(k, theta, 0, tauC)
			case row["controller"] == "PI":
				g = SIMCFirstOrder(k, theta, number(t, row["tau1"]), tauC)
			default:
				// The same Kc and τI as without the second lag, and τD the lag: in the
				// series form, which is what the table states.
				g = SIMCFirstOrder(k, theta, number(t, row["tau1"]), tauC)
				assert.InEpsilon(t, number(t, row["tau2"]), td, 1e-9)
			}
			assert.InEpsilon(t, kc, g.Kp, 5e-4)
			assert.InEpsilon(t, ti, g.Ti, 5e-4)
			assert.Zero(t, g.Td)
			assert.Equal(t, 1.0, g.Weight)
		})
	}
}

// TestSeriesToIdeal: the ideal form answers every frequency as the series form
// Kc(1+1/τI s)(1+τD s) does (elementary).
func TestSeriesToIdeal(t *testing.T) {
	for _, row := range table(t, "simc_examples.csv") {
		kc, ti, td := number(t, row["Kc"]), number(t, row["tauI"]), number(t, row["tauD_series_form"])
		g := FromSeries(kc, ti, td)
		for w := 1e-4; w < 1e4; w *= 3 {
			s := complex(0, w)
			series := complex(kc, 0) * (1 + 1/(complex(ti, 0)*s)) * (1 + complex(td, 0)*s)
			ideal := complex(g.Kp, 0) * (1 + 1/(complex(g.Ti, 0)*s) + complex(g.Td, 0)*s)
			assert.Less(t, cmplx.Abs(ideal-series), 1e-12*cmplx.Abs(series))
		}
	}
}

var gains = Gains{Kp: 0.05, Ti: 40, Td: 5, Weight: 0.7, Filter: 1}

// running returns a loop that has been at work for a while.
func running() *PID {
	p := New(gains)
	p.Begin(0.4, 170, 168)
	for i := range 50 {
		m := 168 + 0.02*float64(i)
		out := p.Output(170, m, 0.2, 0, 1)
		p.Applied(out, 170, m, 0.2, 0, false)
	}
	return p
}

func TestBeginIsBumpless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		output := rapid.Float64Range(0, 1).Draw(t, "output")
		setpoint, measured := rapid.Float64Range(0, 200).Draw(t, "setpoint"), rapid.Float64Range(0, 200).Draw(t, "measured")
		p := running()
		p.Begin(output, setpoint, measured)
		if got := p.Output(setpoint, measured, 0.2, 0, 1); math.Abs(got-output) > 1e-9 {
			t.Fatalf("%v instead of %v", got, output)
		}
	})
}

func TestRetuneIsBumpless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q := running(), running()
		g := Gains{
			Kp: rapid.Float64Range(0.001, 1).Draw(t, "Kp"), Ti: rapid.Float64Range(1, 500).Draw(t, "Ti"),
			Td: rapid.Float64Range(0, 20).Draw(t, "Td"), Weight: rapid.Float64Range(0, 1).Draw(t, "weight"), Filter: 2,
		}
		const setpoint, measured = 170, 168.98 // the last of running
		p.Retune(g, setpoint, measured)
		if p.Gains() != g {
			t.Fatal("the gains did not change")
		}
		// The slope goes on with the new filter, so the same measurement once more
		// moves the output by the derivative alone.
		before, after := q.Output(setpoint, measured, 1e-9, -10, 10), p.Output(setpoint, measured, 1e-9, -10, 10)
		if math.Abs(after-before) > 1e-6 {
			t.Fatalf("a jump from %v to %v", before, after)
		}
	})
}

// TestBadNumbersGiveLoAndChangeNothing: a loop that met them answers the next
// good measurement as its twin does that never did.
func TestBadNumbersGiveLoAndChangeNothing(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, bad := range [][3]float64{
		{nan, 168, 0.2}, {inf, 168, 0.2}, {-inf, 168, 0.2},
		{170, nan, 0.2}, {170, inf, 0.2}, {170, -inf, 0.2},
		{170, 168, nan}, {170, 168, inf}, {170, 168, 0}, {170, 168, -0.2},
	} {
		p, twin := running(), running()
		assert.Equal(t, -0.25, p.Output(bad[0], bad[1], bad[2], -0.25, 1), bad)
		p.Applied(0, bad[0], bad[1], bad[2], 0, false)
		assert.Equal(t, twin.Integral(), p.Integral(), bad)
		assert.Equal(t, twin.Output(170, 169, 0.2, 0, 1), p.Output(170, 169, 0.2, 0, 1), bad)
	}
	p, twin := running(), running()
	p.Output(170, 169, 0.2, 0, 1)
	twin.Output(170, 169, 0.2, 0, 1)
	p.Applied(nan, 170, 169, 0.2, 0, false)
	assert.Equal(t, twin.Integral(), p.Integral(), "an applied output that is no number integrates nothing")
}

// TestOutputIsBounded whatever finite numbers come.
func TestOutputIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := running()
		for range 20 {
			sp, m := rapid.Float64().Draw(t, "setpoint"), rapid.Float64().Draw(t, "measured")
			dt := rapid.Float64Range(1e-6, 1e6).Draw(t, "dt")
			if out := p.Output(sp, m, dt, 0, 1); !(out >= 0 && out <= 1) {
				t.Fatalf("output %v", out)
			}
		}
	})
}

// TestBackCalculation: after an hour at full power that did not get it there,
// the loop leaves the bound as soon as the error has gone.
func TestBackCalculation(t *testing.T) {
	p := New(Gains{Kp: 0.05, Ti: 40, Weight: 1})
	p.Begin(0, 20, 20)
	apply := func(measured float64) float64 {
		out := p.Output(170, measured, 0.2, 0, 1)
		p.Applied(out, 170, measured, 0.2, 0, false)
		return out
	}
	for range 3600 * 5 {
		require.Equal(t, 1.0, apply(20))
	}
	// Steady: what the error adds the back-calculation takes, so integral + P = 1 + Kp·e·(track/Ti).
	wound := p.Integral()
	fmt.Printf("integral after an hour of full power: %.3f (without anti-windup %.0f)\n", wound, 0.05*150*3600/40)
	assert.InDelta(t, 1.0, wound, 0.01)
	// 5 °C over the set-point the integral has to fall from 1 to Kp·e: Ti·(1 − Kp·e)/(Kp·e).
	seconds, want := 0.0, 40*(1-0.25)/0.25
	for ; apply(175) > 0; seconds += 0.2 {
		require.Less(t, seconds, 2*want, "the loop is wound up")
	}
	fmt.Printf("5 °C over its set-point it ends the heat in %.1f s (without anti-windup in %.0f)\n", seconds, 40*(675-0.25)/0.25)
	assert.InDelta(t, want, seconds, 1)
}

// TestBackCalculationAgainstTheGuard: what somebody else keeps at zero does not wind up either.
func TestBackCalculationAgainstTheGuard(t *testing.T) {
	p := New(Gains{Kp: 0.05, Ti: 40, Weight: 1})
	p.Begin(0.2, 170, 169)
	for range 3600 * 5 {
		p.Output(170, 165, 0.2, 0, 1)
		p.Applied(0, 170, 165, 0.2, 0, false)
	}
	fmt.Printf("integral after an hour of being kept at zero, 5 °C too cold: %.3f\n", p.Integral())
	assert.InDelta(t, 0, p.Integral(), 0.01)
}

func TestHoldSuspendsTheErrorAlone(t *testing.T) {
	p := running()
	before := p.Integral()
	out := p.Output(170, 165, 0.2, -10, 10)
	p.Applied(out, 170, 165, 0.2, 0, true)
	assert.Equal(t, before, p.Integral())
	p.Output(170, 165, 0.2, 0, 1)
	p.Applied(0, 170, 165, 0.2, 0, true)
	assert.Less(t, p.Integral(), before)
}

func TestALongStepTakesAtMostTheWholeDifference(t *testing.T) {
	p := New(Gains{Kp: 0.05, Ti: 40, Weight: 1})
	p.Begin(0.8, 170, 170)
	p.Output(170, 170, 0.2, 0, 1)
	p.Applied(0.3, 170, 170, 1e6, 0, false)
	assert.InDelta(t, 0.3, p.Integral(), 1e-12)
}

func TestSetpointWeight(t *testing.T) {
	for _, weight := range []float64{0, 0.5, 1} {
		p := New(Gains{Kp: 0.05, Ti: 40, Weight: weight})
		p.Begin(0.4, 160, 160)
		before := p.Output(160, 160, 0.2, -10, 10)
		after := p.Output(170, 160, 0.2, -10, 10)
		assert.InDelta(t, 0.05*weight*10, after-before, 1e-12)
	}
}

// TestNoDerivativeKick: a set-point step moves the output by the proportional
// part alone, because the derivative is that of the measurement.
func TestNoDerivativeKick(t *testing.T) {
	p := New(gains)
	p.Begin(0.4, 160, 160)
	before := p.Output(160, 160, 0.2, -10, 10)
	after := p.Output(170, 160, 0.2, -10, 10)
	assert.InDelta(t, gains.Kp*gains.Weight*10, after-before, 1e-12)
	// While a measurement that moves is answered: Td times its slope, once the filter has it.
	q := New(gains)
	q.Begin(0.4, 160, 160)
	m := 160.0
	for range 100 {
		m += 0.1
		before = q.Output(160, m, 0.2, -10, 10)
	}
	assert.InDelta(t, 0.4-gains.Kp*(m-160)-gains.Kp*gains.Td*0.5, before, 1e-9)
}

// TestFirstOutputHasNoSpike: without Begin the first measurement is no slope.
func TestFirstOutputHasNoSpike(t *testing.T) {
	p := New(gains)
	assert.InDelta(t, gains.Kp*(gains.Weight*170-20), p.Output(170, 20, 0.2, -100, 100), 1e-12)
}

// TestWithoutIntegral: no integral time, no integral part.
func TestWithoutIntegral(t *testing.T) {
	p := New(Gains{Kp: 0.05, Weight: 1})
	for range 1000 {
		out := p.Output(170, 165, 0.2, 0, 1)
		p.Applied(out, 170, 165, 0.2, 0, false)
	}
	assert.Zero(t, p.Integral())
	assert.InDelta(t, 0.25, p.Output(170, 165, 0.2, 0, 1), 1e-12)
}

// TestZeroFilter gives numbers: the derivative is then unfiltered.
func TestZeroFilter(t *testing.T) {
	p := New(Gains{Kp: 0.05, Ti: 40, Td: 5, Weight: 1})
	p.Begin(0.4, 170, 170)
	assert.InDelta(t, 0.4-0.05*1-0.05*5*1/0.2, p.Output(170, 171, 0.2, -100, 100), 1e-12)
}

package reference

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/cascade"
)

// pot is four bodies in a row over a room of 21 °C, linear: element, plate,
// vessel and melt; and what a bench would report of two of them.
type pot struct {
	watts              float64
	jPerK, out, onward [4]float64 // J/K; W/K to the room; W/K to the next body
	c                  [4]float64
	probe, seen        [2]float64 // plate, melt
	lagS               [2]float64
	noise              float64
	from               *rand.Rand
}

// somePot draws one: invented, and no pot of any bench.
func somePot(from *rand.Rand) *pot {
	draw := func(lo, hi float64) float64 { return lo + (hi-lo)*from.Float64() }
	watts := draw(500, 1500)
	melt := 2.08 * draw(150, 500)
	p := &pot{
		watts: watts,
		jPerK: [4]float64{0.08 * watts, draw(0.3, 0.7) * watts, draw(60, 200), melt},
		out:   [4]float64{0, 6e-4 * watts, 0.1, draw(0.1, 0.3)},
		lagS:  [2]float64{draw(1, 4), draw(1, 6)}, noise: 0.15, from: from,
	}
	p.onward = [4]float64{p.jPerK[0] / draw(5, 15), draw(2, 5), draw(2, 5)}
	p.begin(21)
	return p
}

func (p *pot) begin(c float64) {
	p.c = [4]float64{c, c, c, c}
	p.probe, p.seen = [2]float64{c, c}, [2]float64{c, c}
}

// step lets a period pass, in steps of 20 ms.
func (p *pot) step(duty float64) {
	const h = 0.02
	for range int(period / h) {
		var in [5]float64
		in[0] = duty * p.watts
		for i := range p.c {
			flow := 0.0
			if i < 3 {
				flow = p.onward[i] * (p.c[i] - p.c[i+1])
			}
			in[i+1] += flow
			p.c[i] += h / p.jPerK[i] * (in[i] - flow - p.out[i]*(p.c[i]-21))
		}
		for i, c := range []float64{p.c[1], p.c[3]} {
			p.probe[i] += h / p.lagS[i] * (c - p.probe[i])
		}
	}
	for i, filterS := range []float64{1, 2} {
		read := math.Round((p.probe[i]+p.noise*p.from.NormFloat64())*4) / 4
		p.seen[i] += (read - p.seen[i]) * (1 - math.Exp(-period/filterS))
	}
}

func (p *pot) measure(targetC, limitC float64) cascade.Measure {
	return cascade.Measure{MeltC: p.seen[1], PlateC: p.seen[0], TargetC: targetC, LimitC: limitC}
}

// tested is a step test from the room.
func (p *pot) tested() StepTest {
	const step, forS = 0.15, 8000.0
	s := StepTest{DutyStep: step}
	for i := range int(forS / period) {
		s.T, s.MeltC, s.PlateC = append(s.T, float64(i)*period), append(s.MeltC, p.seen[1]), append(s.PlateC, p.seen[0])
		p.step(step)
	}
	p.begin(21)
	return s
}

var _ Loop = (*cascade.Cascade)(nil) // ours can stand in the same table

const targetC, limitC = 170.0, 220.0

// cycle is one period of a loop on its pot.
func (p *pot) cycle(l Loop) float64 {
	duty := l.Step(p.measure(targetC, limitC), period)
	l.Applied(duty, period)
	p.step(duty)
	return duty
}

// course is what became of a heat-up, or of a recovery.
type course struct{ settledS, over, plateOver, rms float64 }

// lasting follows a loop for so long. It has settled when the melt stays within
// 1 °C; the root of the mean square is that of the last half hour.
func (p *pot) lasting(l Loop, forS float64) (c course) {
	var sum, n float64
	for s := 0.0; s < forS; s += period {
		p.cycle(l)
		off := p.c[3] - targetC
		c.over, c.plateOver = math.Max(c.over, off), math.Max(c.plateOver, p.c[1]-limitC)
		if math.Abs(off) > 1 {
			c.settledS = s + period
		}
		if s >= forS-1800 {
			sum, n = sum+off*off, n+1
		}
	}
	c.rms = math.Sqrt(sum / n)
	return c
}

var kinds = []struct {
	name string
	tune func(StepTest) func() Loop
}{
	{"thermostat", func(StepTest) func() Loop { return func() Loop { return &Thermostat{} } }},
	{"PID, Ziegler-Nichols", ZieglerNichols},
	{"PID, SIMC", SIMCPID},
	{"cascade PI-PI, SIMC", Cascade},
}

// TestNumbersOfTheReferences prints how each holds pots of its own kind of physics,
// linear. What it asks of them is what a sound loop does there: an end to the
// heat-up and to a recovery, no error left, and a plate at its limit.
func TestNumbersOfTheReferences(t *testing.T) {
	if testing.Short() {
		t.Skip("prints numbers")
	}
	const drawn, heatUpS, recoveryS = 4, 5400, 3600
	for k, kind := range kinds {
		var heatUp, over, plate, rms, dip, dipOver []float64
		for seed := range uint64(drawn) {
			p := somePot(rand.New(rand.NewPCG(seed, 5)))
			l := kind.tune(p.tested())()
			up := p.lasting(l, heatUpS)
			p.c[3] -= 14 // 20 mL of cold colour in 200 mL: 20/220·150 °C
			down := p.lasting(l, recoveryS)
			heatUp, over, plate, rms = append(heatUp, up.settledS), append(over, up.over), append(plate, math.Max(up.plateOver, down.plateOver)), append(rms, up.rms)
			dip, dipOver = append(dip, down.settledS), append(dipOver, down.over)
		}
		fmt.Printf("%-20s settled within %.0f s, over %.2f °C, plate %.1f °C over its limit, hold %.3f °C RMS; after a dip %.0f s, over %.2f °C (medians %.0f s, %.2f °C)\n",
			kind.name, slices.Max(heatUp), slices.Max(over), slices.Max(plate), slices.Max(rms), slices.Max(dip), slices.Max(dipOver), median(heatUp), median(over))
		if k == 0 {
			continue // a thermostat never settles
		}
		assert.Less(t, slices.Max(heatUp), heatUpS/2.0, kind.name)
		assert.Less(t, slices.Max(dip), recoveryS/2.0, kind.name)
		assert.Less(t, slices.Max(plate), 2.0, kind.name)
		assert.Less(t, slices.Max(rms), 0.05, kind.name)
	}
}

func median(x []float64) float64 {
	slices.Sort(x)
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

func TestThermostatSwitches(t *testing.T) {
	var s Thermostat
	at := func(meltC, plateC float64) float64 {
		return s.Step(cascade.Measure{MeltC: meltC, PlateC: plateC, TargetC: 170, LimitC: 220}, period)
	}
	assert.Equal(t, 1.0, at(21, 21))
	assert.Equal(t, 1.0, at(170.4, 200), "on until half a degree above")
	assert.Zero(t, at(170.5, 200))
	assert.Zero(t, at(169.6, 200), "off until half a degree below")
	assert.Equal(t, 1.0, at(169.4, 200))
	assert.Zero(t, at(169.4, 219), "the plate has come to a degree below its limit")
	assert.Zero(t, at(160, 218.1))
	assert.Equal(t, 1.0, at(160, 217.9))
	s.Rest()
	assert.Zero(t, at(170, 200), "after a rest it is off between its points")
}

// TestBadNumbersMeanNoHeat, and leave the loop as a rest does.
func TestBadNumbersMeanNoHeat(t *testing.T) {
	record := somePot(rand.New(rand.NewPCG(1, 7))).tested()
	good := cascade.Measure{MeltC: 160, PlateC: 180, TargetC: 170, LimitC: 220}
	for _, kind := range kinds {
		l := kind.tune(record)()
		for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
			for i := range 5 {
				m, dt := good, period
				require.Positive(t, l.Step(m, dt), kind.name)
				*[]*float64{&m.MeltC, &m.PlateC, &m.TargetC, &m.LimitC, &dt}[i] = bad
				assert.Zero(t, l.Step(m, dt), kind.name)
				l.Applied(0, period)
			}
		}
	}
}

// TestRestIsBumpless: after a rest the same pot is held with the same duty, but
// for the derivative, which starts anew.
func TestRestIsBumpless(t *testing.T) {
	for _, kind := range kinds[1:] {
		p := somePot(rand.New(rand.NewPCG(2, 7)))
		p.noise = 0
		l := kind.tune(p.tested())()
		p.lasting(l, 5400)
		before := p.cycle(l)
		l.Rest()
		after := l.Step(p.measure(targetC, limitC), period)
		fmt.Printf("%-20s duty %.4f before a rest, %.4f after\n", kind.name, before, after)
		assert.InDelta(t, before, after, 0.02, kind.name)
	}
}

// TestWhatIsTakenAwayDoesNotWindUp: an hour without heat, 10 °C too cold, that the
// loop did not ask for, is followed by a recovery like any other.
func TestWhatIsTakenAwayDoesNotWindUp(t *testing.T) {
	for _, kind := range kinds[1:] {
		p := somePot(rand.New(rand.NewPCG(3, 7)))
		l := kind.tune(p.tested())()
		usual := p.lasting(l, 5400)
		for range int(3600 / period) {
			l.Step(cascade.Measure{MeltC: targetC - 10, PlateC: targetC, TargetC: targetC, LimitC: limitC}, period)
			l.Applied(0, period)
		}
		p.c[3] -= 10
		after := p.lasting(l, 3600)
		fmt.Printf("%-20s after an hour without heat %.2f °C over, in its heat-up %.2f °C\n", kind.name, after.over, usual.over)
		assert.Less(t, after.over, usual.over+0.5, kind.name)
		assert.Less(t, after.settledS, 1800.0, kind.name)
	}
}

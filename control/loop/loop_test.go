package loop_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/cascade"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/loop"
	"meltwarden/control/reading"
)

func good(c float64) reading.Temperature { return reading.Temperature{C: c, Fault: reading.None} }

func at(melt, plate, target float64) loop.View {
	return loop.View{
		Melt: good(melt), Plate: good(plate), Dt: 0.2,
		Seen: cascade.Measure{MeltC: melt, PlateC: plate, TargetC: target, LimitC: 230},
	}
}

func newLoop() *loop.Loop {
	return loop.New(loop.Pot{HeaterW: 1000, MeltJPerK: 520, PlateLimitC: 230}, nil)
}

// warmed is a loop whose model is trusted, over a plate that rises evenly.
func warmed(t *testing.T) *loop.Loop {
	l := newLoop()
	plate := 21.0
	for range 5 * 15 {
		v := at(21, plate, 172)
		l.Watch(&v)
		duty := l.Step(&v)
		l.Applied(duty, duty, v.Dt)
		plate += 0.2 * duty
	}
	require.True(t, l.Trusted())
	return l
}

// TestRefusesWhatIsNoNumber, and goes on with what is.
func TestRefusesWhatIsNoNumber(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for i, spoil := range []func(*loop.View){
			func(v *loop.View) { v.Seen.TargetC = bad },
			func(v *loop.View) { v.Seen.LimitC = bad },
			func(v *loop.View) { v.Dt = bad },
			func(v *loop.View) { v.Dt = 0 },
		} {
			l := warmed(t)
			v := at(30, 100, 172)
			spoil(&v)
			l.Watch(&v)
			assert.Zero(t, l.Step(&v), "%d: %v", i, bad)
			assert.True(t, math.IsNaN(l.PlateTargetC()))
			l.Applied(0, 0, 0.2)
			v = at(30, 40, 172)
			l.Watch(&v)
			assert.Positive(t, l.Step(&v))
		}
	}
}

// TestDutyIsADuty whatever numbers come.
func TestDutyIsADuty(t *testing.T) {
	from := rand.New(rand.NewPCG(1, 1))
	for range 200 {
		l := newLoop()
		for range 100 {
			wild := func(most float64) float64 { return most * from.Float64() }
			v := at(wild(300), wild(400), wild(250))
			v.Dt = 1e-3 + wild(2)
			if from.IntN(10) == 0 {
				v.Melt.Fault = reading.Missing
			}
			switch from.IntN(30) {
			case 0:
				l.Added(100 * from.NormFloat64())
			case 3:
				l.Drawn(500 * from.NormFloat64())
			case 4:
				l.Stirred()
			case 1:
				l.Moved()
			case 2:
				l.Rest()
			}
			l.Watch(&v)
			duty := l.Step(&v)
			require.True(t, duty >= 0 && duty <= 1, "%v", duty)
			l.Applied(duty*from.Float64(), float64(from.IntN(2)), v.Dt)
		}
	}
}

// TestSameInputsSameDuties, bit for bit.
func TestSameInputsSameDuties(t *testing.T) {
	p := judge.NewPots(zoo.Named()[:1])[0]
	duties := func() (all []float64) {
		o := rig.Usual()
		o.See = func(_ float64, _ *zoo.Plant, _ *rig.View, duty float64) { all = append(all, duty) }
		p.Run(judge.Ours, o, 7)
		return all
	}
	assert.Equal(t, duties(), duties())
}

// TestFullPowerUntilItCounts: a heat-up begins with all there is.
func TestFullPowerUntilItCounts(t *testing.T) {
	p := judge.NewPots(zoo.Named()[2:3])[0]
	o, full := rig.Usual(), 0
	o.See = func(atS float64, _ *zoo.Plant, _ *rig.View, duty float64) {
		if atS > 20 && atS < 140 && duty == 1 {
			full++
		}
	}
	p.Run(judge.Ours, o, 1000)
	assert.Greater(t, full, 480, "of 600 cycles")
}

// TestNoWorseThanTheCascadeWhereItIsWrong: on pots that are built otherwise than the
// model, ours is not both slower and further over than the cascade alone.
func TestNoWorseThanTheCascadeWhereItIsWrong(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated evenings")
	}
	for _, s := range zoo.Named() {
		if s.Layer.Share == 0 && s.Rim.Share == 0 && s.Bath.JK == 0 {
			continue
		}
		p := judge.NewPot(s)
		var ours, floor rig.Outcome
		for seed := range uint64(5) {
			o, f := p.Run(judge.Ours, rig.Usual(), 1000+seed)[judge.HeatUp], p.Run(judge.FromCascade, rig.Usual(), 1000+seed)[judge.HeatUp]
			ours.IntoS, ours.OverC = ours.IntoS+o.IntoS/5, max(ours.OverC, o.OverC)
			floor.IntoS, floor.OverC = floor.IntoS+f.IntoS/5, max(floor.OverC, f.OverC)
		}
		fmt.Printf("%-16s ours %5.0f s, %.2f °C over; the cascade alone %5.0f s, %.2f °C over\n", s.Name, ours.IntoS, ours.OverC, floor.IntoS, floor.OverC)
		assert.Less(t, ours.OverC, 1.0, s.Name)
		assert.Less(t, ours.IntoS, 1.15*floor.IntoS, s.Name)
	}
}

package rig_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/reading"
)

// fixed is a loop that always gives the same.
type fixed struct {
	duty    float64
	applied []float64
	views   []rig.View
	marks   []rig.Mark
}

func (f *fixed) Step(v *rig.View) float64 {
	f.views = append(f.views, *v)
	f.marks = append(f.marks, v.Marks...)
	return f.duty
}

func (f *fixed) Applied(duty, _, _ float64) { f.applied = append(f.applied, duty) }

func runFixed(f *fixed, o rig.Options, phases ...rig.Phase) []rig.Outcome {
	specs := zoo.Named()
	p := zoo.New(&specs[2], zoo.Start{})
	return rig.Run(&p, f, o, rand.New(rand.NewPCG(1, 1)), phases)
}

func TestReadingsAreAsOldAsAsked(t *testing.T) {
	for _, o := range []rig.Options{
		{Period: 200 * time.Millisecond},
		rig.Usual(),
		{Period: 200 * time.Millisecond, Age: 300 * time.Millisecond},
		{Period: 250 * time.Millisecond, Age: 700 * time.Millisecond},
		{Period: 100 * time.Millisecond, Age: 50 * time.Millisecond},
	} {
		f := &fixed{}
		runFixed(f, o, rig.Phase{TargetC: 170, ForS: 60})
		require.Len(t, f.views, int(time.Minute/o.Period))
		for i, v := range f.views {
			if time.Duration(i)*o.Period < o.Age {
				require.Equal(t, reading.Missing, v.Melt.Fault, "nothing can have come yet")
				continue
			}
			require.Equal(t, reading.None, v.Melt.Fault)
			require.InDelta(t, o.Age.Seconds(), v.Melt.Age.Seconds(), 1e-6)
			require.InDelta(t, o.Age.Seconds(), v.Plate.Age.Seconds(), 1e-6)
		}
		assert.Zero(t, f.views[0].Elapsed)
		assert.Equal(t, o.Period, f.views[1].Elapsed)
	}
}

func TestLostReadingsLeaveTheOneBefore(t *testing.T) {
	f := &fixed{}
	o := rig.Late()
	runFixed(f, o, rig.Phase{TargetC: 170, ForS: 3600})
	old := 0
	for _, v := range f.views[10:] {
		if v.Melt.Age > o.Age {
			old++
		}
	}
	assert.InDelta(t, 0.02, float64(old)/float64(len(f.views)), 0.005)
}

// TestWindow: a relay draws all or nothing, in the mean the duty, and that is what the
// loop is told.
func TestWindow(t *testing.T) {
	for _, window := range []time.Duration{2 * time.Second, 20 * time.Second} {
		f := &fixed{duty: 0.337}
		o := rig.Usual()
		o.Window = window
		drawnS := 0.0
		o.See = func(_ float64, _ *zoo.Plant, _ *rig.View, duty float64) {
			require.True(t, duty == 0 || duty == 1)
			drawnS += duty * o.Period.Seconds()
		}
		runFixed(f, o, rig.Phase{TargetC: 170, ForS: 2000})
		assert.InDelta(t, f.duty*2000, drawnS, window.Seconds()/25+o.Period.Seconds())
		for _, d := range f.applied {
			require.Equal(t, f.duty, d)
		}
	}
}

func TestABrokenLoopGetsNothing(t *testing.T) {
	for _, duty := range []float64{-1, 1.5, math.NaN(), math.Inf(1)} {
		out := runFixed(&fixed{duty: duty}, rig.Usual(), rig.Phase{TargetC: 170, ForS: 60})
		assert.Zero(t, out[0].EnergyJ)
	}
}

func TestMarksAreToldOnce(t *testing.T) {
	f := &fixed{}
	events := []zoo.Event{
		{AtS: 1, Kind: zoo.Colour, Amount: 20, Told: true}, {AtS: 40, Kind: zoo.Salt, Amount: 60},
		{AtS: 70, Kind: zoo.Lift, Told: true}, {AtS: 80, Kind: zoo.Return, Told: true},
	}
	runFixed(f, rig.Usual(), rig.Phase{TargetC: 170, ForS: 100, Events: events})
	count := func(k rig.Kind) (n int) {
		for _, x := range f.marks {
			if x.Kind == k {
				n++
			}
		}
		return n
	}
	assert.Equal(t, 1, count(rig.Colour))
	assert.Equal(t, 1, count(rig.Lift))
	assert.Equal(t, 1, count(rig.Return))
	assert.GreaterOrEqual(t, count(rig.Stir), 4, "every half minute, and after the salt")
}

// TestWhatIsMeasured on a pot that cools through a band by itself.
func TestWhatIsMeasured(t *testing.T) {
	specs := zoo.Named()
	p := zoo.New(&specs[2], zoo.Start{MeltC: 150, PlateC: 150, Cured: true})
	from := rand.New(rand.NewPCG(1, 1))
	into, last := math.Inf(1), 0.0
	o := rig.Usual()
	o.See = func(atS float64, p *zoo.Plant, _ *rig.View, _ float64) {
		if last = p.BulkC(); last <= 141 && math.IsInf(into, 1) {
			into = atS
		}
	}
	for _, forS := range []float64{60, 240, 1200} {
		into = math.Inf(1)
		q := p
		out := rig.Run(&q, &fixed{}, o, from, []rig.Phase{{TargetC: 140, ForS: forS}})[0]
		assert.InDelta(t, 10, out.OverAllC, 1e-9)
		switch {
		case math.IsInf(into, 1):
			assert.True(t, math.IsInf(out.IntoS, 1), "never there")
		case last < 139:
			assert.True(t, math.IsInf(out.IntoS, 1), "there and gone")
			assert.InDelta(t, 140-last, out.UnderC, 1e-9)
		default:
			assert.InDelta(t, into, out.IntoS, 0.21)
			assert.InDelta(t, 1, out.OverC, 0.01)
		}
		assert.Equal(t, last-140, out.LayerC)
	}
}

// TestAnOffsetIsNotTheLoops: what the probe reads wrong is in the error about the
// target, and not in the one about what is shown.
func TestAnOffsetIsNotTheLoops(t *testing.T) {
	s := zoo.Named()[2]
	s.MeltProbe.OffsetC = 0.3
	p := zoo.New(&s, zoo.Start{MeltC: 150, PlateC: 150, Cured: true})
	sum, shown, n := 0.0, 0.0, 0.0
	o := rig.Usual()
	o.See = func(_ float64, p *zoo.Plant, _ *rig.View, _ float64) {
		off := p.BulkC() - 149
		sum, shown, n = sum+off*off, shown+(off+0.3)*(off+0.3), n+1
	}
	out := rig.Run(&p, &fixed{}, o, rand.New(rand.NewPCG(1, 1)), []rig.Phase{{TargetC: 149, ForS: 60}})[0]
	assert.InDelta(t, math.Sqrt(sum/n), out.RMSC, 1e-9)
	assert.InDelta(t, math.Sqrt(shown/n), out.ShownRMSC, 1e-9)
}

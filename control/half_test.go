package control_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// halfRig is a bench of two pots, the first without a melt probe and the second without a
// plate probe, enabled and cold.
func halfRig() *rig {
	s := demoSettings()
	s.Pots = s.Pots[:2]
	s.Pots[0].Probes, s.Pots[1].Probes = reading.PlateOnly, reading.MeltOnly
	r := newRig(s, 21)
	r.script = func(in *control.Input) {
		in.Pots[0].Melt, in.Pots[1].Plate = reading.Temperature{}, reading.Temperature{}
	}
	r.press()
	return r
}

// typed is a hand-held reading of the first pot.
func typed(c float64) control.Command { return control.Command{Kind: control.HandReading, C: c} }

// TestNoHeatRestsOnAGuess: with nobody at the thermometer the plate stays where no melt can
// get too hot, the pot calls for a reading, and it is neither cured nor ready.
func TestNoHeatRestsOnAGuess(t *testing.T) {
	r := halfRig()
	hottest := 0.0
	for n := range 90 * time.Minute / period {
		if n%600 == 0 {
			r.step(control.Command{Kind: control.Stir}, control.Command{Kind: control.TickClear})
		} else {
			r.step()
		}
		hottest = math.Max(hottest, r.bodies[0].plate)
		require.False(t, r.f.Pots[0].Cured)
	}
	p := &r.f.Pots[0]
	t.Logf("plate at most %.1f °C with the melt to get to %.0f; melt %.1f, thought %.1f ± %.1f", hottest, p.TargetC, r.bodies[0].melt, p.MeltEstimate.C, p.MeltEstimate.WithinC)
	assert.Less(t, hottest, p.TargetC+4)
	assert.Equal(t, control.WaitHand, p.Wait)
	assert.True(t, math.IsNaN(p.MeltC), "an estimate is no reading")
	assert.Zero(t, p.Dwelled)
}

// TestReadByHandToReady: a maker with a thermometer brings the pot to ready, and the same
// inputs come to the same outputs again, bit for bit.
func TestReadByHandToReady(t *testing.T) {
	r := halfRig()
	r.keep = true
	var duties []float64
	for n := 0; n < int(90*time.Minute/period) && r.f.Pots[0].State != control.Ready; n++ {
		switch {
		case n%600 == 0:
			r.step(typed(math.Round(r.bodies[0].melt)), control.Command{Kind: control.Stir}, control.Command{Kind: control.TickClear})
		default:
			r.step()
		}
		duties = append(duties, r.f.Outputs.Duty...)
	}
	p := &r.f.Pots[0]
	t.Logf("ready after %v, melt %.1f °C, thought %.1f ± %.1f", r.f.Time, r.bodies[0].melt, p.MeltEstimate.C, p.MeltEstimate.WithinC)
	require.Equal(t, control.Ready, p.State)
	assert.InDelta(t, p.SetpointC, r.bodies[0].melt, p.BandC+1)

	again := halfRig()
	for i := range r.saved {
		again.bench.Step(&r.saved[i], &again.f)
		require.Equal(t, duties[2*i:2*i+2], again.f.Outputs.Duty, "cycle %d", i)
	}
}

// TestAnUnseenPlateGetsItsPowerAtMost, and whatever the loop asks for, no more.
func TestAnUnseenPlateGetsItsPowerAtMost(t *testing.T) {
	r := halfRig()
	most := r.settings.Pots[1].MostPowerW() / r.settings.Pots[1].HeaterW
	hottest := 0.0
	for n := range 60 * time.Minute / period {
		if n%600 == 0 {
			r.step(control.Command{Kind: control.Stir, Pot: 1})
		} else {
			r.step()
		}
		require.LessOrEqual(t, r.f.Outputs.Duty[1], most)
		hottest = math.Max(hottest, r.bodies[1].plate)
	}
	p := &r.f.Pots[1]
	t.Logf("most %.0f W; plate at most %.1f °C, thought %.0f ± %.0f; melt %.1f °C", most*r.settings.Pots[1].HeaterW, hottest, p.PlateEstimate.C, p.PlateEstimate.WithinC, p.MeltC)
	assert.Less(t, hottest, 245.0)
	assert.Greater(t, p.MeltC, 140.0)
	assert.Less(t, p.ReadyIn, time.Duration(0), "nobody foretells it")
}

// TestWhatIsReadByHandIsJudged: what can not be is not taken, what is far off only twice,
// and from elsewhere nothing.
func TestWhatIsReadByHandIsJudged(t *testing.T) {
	r := halfRig()
	r.run(time.Minute)
	p := &r.f.Pots[0]
	for c, verdict := range map[float64]control.HandVerdict{
		-5: control.HandOdd, 300: control.HandOdd, math.NaN(): control.HandOdd, 25: control.HandTaken, 100: control.HandFar,
	} {
		assert.Equal(t, verdict, p.HandCanBe(c), "%v", c)
	}
	assert.Equal(t, control.HandNoNeed, r.f.Pots[1].HandCanBe(25))

	afar := typed(25)
	afar.Afar = true
	r.step(afar)
	assert.False(t, r.f.Pots[0].Hand.Read)
	r.step(typed(100))
	assert.False(t, r.f.Pots[0].Hand.Read, "once is not believed")
	r.step(typed(100))
	assert.False(t, r.f.Pots[0].Hand.Read, "nor the same one, sent twice")
	r.run(10 * time.Second)
	r.step(typed(102))
	assert.True(t, r.f.Pots[0].Hand.Read)
	assert.InDelta(t, 102, r.f.Pots[0].MeltEstimate.C, 5)

	over := control.PotFrame{
		Probes: reading.PlateOnly, Plate: good(180), MeltEstimate: control.Estimate{C: 185, WithinC: 10}, HeatedFor: 5 * time.Minute,
	}
	assert.Equal(t, control.HandOver, over.HandCanBe(191))
	over.HeatedFor = time.Minute
	assert.Equal(t, control.HandTaken, over.HandCanBe(191), "a plate that is not heated may be the cooler of the two")
	r.step(control.Command{Kind: control.AllOff})
	r.run(2 * time.Minute)
	assert.Zero(t, r.f.Pots[0].HeatedFor)
}

// TestWhatIsReadTooHotTakesHeatAtOnce: only what gives heat has to be borne out first.
func TestWhatIsReadTooHotTakesHeatAtOnce(t *testing.T) {
	for _, over := range []bool{false, true} {
		r := halfRig()
		r.run(5 * time.Minute)
		r.step(typed(r.bodies[0].melt))
		r.run(time.Minute)
		p := &r.f.Pots[0]
		require.Equal(t, control.WaitHeat, p.Wait)
		c, verdict := p.MeltEstimate.C-p.MeltEstimate.WithinC-20, control.HandLow
		require.Equal(t, verdict, p.HandCanBe(c))
		r.step(typed(c))
		require.Equal(t, control.WaitHeat, p.Wait, "one that is cold gives nothing, and takes nothing")
		if c, verdict = p.MeltEstimate.C+p.MeltEstimate.WithinC+20, control.HandFar; over {
			c, verdict = p.Plate.C+15, control.HandOver
		}
		require.Equal(t, verdict, p.HandCanBe(c))
		r.step(typed(c))
		assert.Equal(t, control.WaitHand, p.Wait)
		r.run(10 * time.Second)
		r.step(typed(r.bodies[0].melt))
		assert.Equal(t, control.WaitHeat, p.Wait, "until it is read again")
	}
}

// TestWhatIsReadTooLowIsNotBorneOutByItself: while the plate has been warm enough for what the
// melt is thought to be, a second one as low tells nothing new, and heat rests on the last
// that was believed, no longer than without them.
func TestWhatIsReadTooLowIsNotBorneOutByItself(t *testing.T) {
	r := halfRig()
	r.run(5 * time.Minute)
	r.step(typed(r.bodies[0].melt))
	p := &r.f.Pots[0]
	was := p.Hand.C
	for range 20 {
		low := p.MeltEstimate.C - p.MeltEstimate.WithinC - 10
		require.Equal(t, control.HandLow, p.HandCanBe(low))
		r.step(typed(low))
		r.run(10 * time.Second)
	}
	assert.Equal(t, was, p.Hand.C)
	assert.Greater(t, p.DrivenFor, 2*time.Minute)
	assert.Equal(t, control.WaitHeat, p.Wait)
	r.run(time.Minute)
	assert.Equal(t, control.WaitHand, p.Wait)

	f := control.PotFrame{
		Probes: reading.PlateOnly, Plate: good(170), MeltEstimate: control.Estimate{C: 165, WithinC: 5},
		Hand: control.Hand{DoubtedC: 148, DoubtedFor: 10 * time.Second},
	}
	assert.Equal(t, control.HandTaken, f.HandCanBe(149), "the plate is too cold for the melt to be what it was thought")
	f.DrivenFor = 3 * time.Minute
	assert.Equal(t, control.HandLow, f.HandCanBe(149))
	assert.Equal(t, control.HandTaken, f.HandCanBe(153))
}

// TestNoMarkFromElsewhereHidesAHotMelt: what was last read in it still counts for the guard,
// until somebody at the bench has lifted it.
func TestNoMarkFromElsewhereHidesAHotMelt(t *testing.T) {
	r := halfRig()
	r.run(time.Minute)
	r.step(typed(185))
	r.run(6 * time.Second)
	r.step(typed(185))
	r.run(3 * time.Second)
	has := func(c guard.Code) bool {
		return slices.ContainsFunc(r.f.Conditions, func(k guard.Condition) bool { return k.Code == c && k.Active })
	}
	require.True(t, has(guard.MeltHigh))
	for _, mark := range []control.CommandKind{control.ColourAdded, control.Lift} {
		r.step(control.Command{Kind: mark, Afar: true})
		r.run(3 * time.Second)
		assert.True(t, has(guard.MeltHigh), "%v", mark)
	}
	r.step(control.Command{Kind: control.Return, Afar: true})
	r.press()
	assert.Equal(t, control.WaitHand, r.f.Pots[0].Wait, "no heat rests on it")
	r.step(control.Command{Kind: control.Lift}, typed(185))
	assert.False(t, r.f.Pots[0].Hand.Read, "nor is any taken of a pot that has just gone")
	r.run(time.Second)
	assert.False(t, has(guard.MeltHigh))
}

// TestAHotMeltStaysHotOffItsPlate, though nobody reads it and its plate gets cold.
func TestAHotMeltStaysHotOffItsPlate(t *testing.T) {
	r := halfRig()
	r.run(20 * time.Minute)
	r.step(control.Command{Kind: control.Lift, Pot: 0})
	r.step(control.Command{Kind: control.AllOff})
	for i := range r.bodies {
		b := &r.bodies[i]
		b.coupling, b.plateWPerK, b.meltWPerK = 0, b.plateJPerK/60, b.meltJPerK/60
	}
	r.run(10 * time.Minute)
	require.Less(t, r.f.Pots[0].Plate.C, 30.0)
	assert.True(t, r.f.Hot)
}

// TestNoHeatRestsOnWhatWasGivenUp, for not even a cycle: both thermometers read wrong, and
// what the model makes of them ends beyond all that the melt can be.
func TestNoHeatRestsOnWhatWasGivenUp(t *testing.T) {
	r := halfRig()
	r.run(20 * time.Second)
	r.step(typed(r.bodies[0].melt + 10))
	right, low := r.script, 0.0
	r.script = func(in *control.Input) {
		right(in)
		low = min(low+1, 25)
		in.Pots[0].Plate.C -= low
	}
	before := 0.0
	for n := 0; r.f.Pots[0].MeltEstimate.Known(); n++ {
		require.Less(t, n, 1000)
		before = r.f.Outputs.Duty[0]
		r.step()
	}
	require.Positive(t, before)
	assert.Equal(t, control.WaitReading, r.f.Pots[0].Wait)
	assert.Zero(t, r.f.Outputs.Duty[0])
	r.step()
	assert.True(t, r.f.Pots[0].MeltEstimate.Known(), "it begins anew")
}

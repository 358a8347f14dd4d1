package judge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/cascade"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// tried is what a trial came to, and what came after it.
type tried struct {
	began         bool
	tuning        *cascade.Tuning
	tookS, swingC float64 // how far the bulk was off meanwhile
	plateC        float64 // over its limit
	hold, cold    rig.Outcome
}

// try lets a pot be held, tries it out or not, and goes on holding it and stirring in
// cold colour.
func try(p *judge.Pot, trial bool, seed uint64) (r tried) {
	var l rig.Loop
	o := rig.Usual()
	o.See = func(atS float64, pl *zoo.Plant, v *rig.View, _ float64) {
		switch {
		case v.TargetC != judge.PourC || l == nil:
		case trial && !r.began && atS > 1500:
			r.began = judge.Try(l)
		case r.began && judge.Trial(l).Of > 0:
			r.tookS += v.Elapsed.Seconds()
			r.swingC = max(r.swingC, math.Abs(pl.BulkC()-judge.PourC))
		}
	}
	const minuteS = 60
	out := p.Hold(func(k rig.Known) rig.Loop { l = judge.Ours(k); return l }, o, seed, []rig.Phase{
		{TargetC: judge.CureC, ForS: 45 * minuteS},
		{TargetC: judge.PourC, ForS: 60 * minuteS},
		{TargetC: judge.PourC, ForS: 30 * minuteS},
		{TargetC: judge.PourC, ForS: 40 * minuteS, Events: []zoo.Event{{Kind: zoo.Colour, Amount: 20, Told: true}}},
	})
	r.tuning, r.plateC, r.hold, r.cold = judge.Tuning(l), out[1].PlateOverC, out[2], out[3]
	return r
}

// doubtable are the pots that are built otherwise than the model.
func doubtable(s *zoo.Spec) bool {
	return s.Layer.Share > 0 || s.Rim.Share > 0 || s.Bath.JK > 0 || s.Name == "glass cup"
}

// TestNumbersOfTrials prints what a trial is like on every pot, how the pot is held and
// recovers after it and without it, and then the cascade alone as it goes where the model
// is doubted, without the tuning and with it. There it is held to being no worse, on pots
// that are built otherwise than the model.
func TestNumbersOfTrials(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated evenings")
	}
	t.Parallel()
	t.Log(`
                      trial: s  off °C  plate      hold RMS °C  20 mL cold, s   over °C      doubted: hold       cold, s      over °C`)
	for _, p := range named() {
		for seed := firstSeed; seed < firstSeed+int(seeds(t)); seed++ {
			without, with := try(p, false, uint64(seed)), try(p, true, uint64(seed))
			assert.True(t, with.began, p.Spec.Name)
			assert.Less(t, with.swingC, 1.5, p.Spec.Name)
			assert.LessOrEqual(t, with.plateC, 0.0, p.Spec.Name)
			plain, tuned := p.Run(judge.Doubting(nil), rig.Usual(), uint64(seed)), p.Run(judge.Doubting(with.tuning), rig.Usual(), uint64(seed))
			h, c := plain[judge.Hold].ShownRMSC, plain[judge.Cold]
			th, tc := tuned[judge.Hold].ShownRMSC, tuned[judge.Cold]
			t.Logf("%-20s %9.0f  %6.2f  %5.1f  %7.3f %7.3f  %6.0f %6.0f  %5.2f %5.2f   %7.3f %7.3f  %5.0f %5.0f  %5.2f %5.2f", p.Spec.Name, with.tookS, with.swingC, with.plateC,
				without.hold.ShownRMSC, with.hold.ShownRMSC, without.cold.IntoS, with.cold.IntoS, without.cold.OverC, with.cold.OverC, h, th, c.IntoS, tc.IntoS, c.OverC, tc.OverC)
			if doubtable(&p.Spec) {
				assert.LessOrEqual(t, th, h+0.005, p.Spec.Name)
				assert.LessOrEqual(t, tc.IntoS, 1.02*c.IntoS, p.Spec.Name)
				assert.LessOrEqual(t, tc.OverC, c.OverC+0.1, p.Spec.Name)
			}
		}
	}
}

package guard

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// What a module reads of shorted leads: its own temperature (common practice, no
// source).
const moduleC = 31.0

// hotPot cools from 168 °C over its plate, heater off, as an evening ends: by 4 °C a
// minute at first (common practice, no source).
func hotPot(s *Sight, t float64) {
	cooled := 20 + 148*math.Exp(-t/2200)
	s.Pots[0] = PotSight{Melt: good(cooled + s.Pots[0].Melt.C - 150), Plate: good(cooled + 5 + s.Pots[0].Plate.C - 180)}
}

// afterHeat is a bench whose first pot is hot, with heat blocked.
func afterHeat() *rig {
	r := newRig(limits)
	r.begin(hotPot)
	r.run(10 * time.Second)
	return r
}

// then goes on with the hot pot, and more.
func (r *rig) then(d time.Duration, more func(*Sight)) {
	r.spoil = func(s *Sight) {
		hotPot(s, float64(r.cycles)*period.Seconds())
		more(s)
	}
	r.run(d)
}

func as(role string) (of func(*Sight) *reading.Temperature, leapt, unusable Code) {
	if role == "melt" {
		return func(s *Sight) *reading.Temperature { return &s.Pots[0].Melt }, MeltImplausible, MeltUnusable
	}
	return func(s *Sight) *reading.Temperature { return &s.Pots[0].Plate }, PlateImplausible, PlateUnusable
}

// TestShortedWhileHeatIsBlocked: no press heats on a hot pot's probe whose leads touch
// after the heat was switched off, at once or after any gap in which nothing was read;
// it is listed, and is no trip before somebody heats.
func TestShortedWhileHeatIsBlocked(t *testing.T) {
	for _, role := range []string{"melt", "plate"} {
		of, leapt, unusable := as(role)
		shorted := func(s *Sight) { *of(s) = good(moduleC + 0.1*float64(int(s.Pots[1].Melt.C*4)%2)) }
		open := func(s *Sight) { of(s).Fault = reading.Open }
		quiet := func(s *Sight) { of(s).Age = time.Minute }
		for name, before := range map[string]func(r *rig){
			"at once":                 func(*rig) {},
			"after 5 s open":          func(r *rig) { r.then(5*time.Second, open) },
			"after 10 min open":       func(r *rig) { r.then(10*time.Minute, open) },
			"after 5 min of silence":  func(r *rig) { r.then(5*time.Minute, quiet) },
			"now and then, then open": func(r *rig) { r.then(time.Second, shorted); r.then(2*time.Second, open) },
		} {
			r := afterHeat()
			before(r)
			r.then(5*time.Second, shorted)
			require.Equal(t, Condition{Code: leapt, Pot: 0, Severity: Trip, Active: true}, r.condition(leapt), "%s, %s", role, name)
			for range 3 {
				assert.Zero(t, r.press()[0], "%s, %s", role, name)
			}
			assert.True(t, r.latched(leapt), "%s, %s", role, name)
			r.then(time.Hour, shorted)
			assert.Zero(t, r.press()[0], "%s, %s: an hour later", role, name)

			// With heat enabled the gap trips first.
			r = afterHeat()
			r.press()
			r.then(5*time.Second, open)
			require.True(t, r.latched(unusable))
			r.then(5*time.Second, shorted)
			for range 3 {
				assert.Zero(t, r.press()[0], role)
			}
		}
	}
}

// TestADoubtWithoutHeatEnds: by the reading's being back from what it read, however far
// the pot has cooled meanwhile, by the pot's being lifted, and when all is cold and can
// be; not by a plug that was pulled, while the leads still touch.
func TestADoubtWithoutHeatEnds(t *testing.T) {
	for _, role := range []string{"melt", "plate"} {
		of, leapt, _ := as(role)
		shorted := func(s *Sight) { of(s).C = moduleC }
		both := func(s *Sight) { s.Pots[0].Melt.C, s.Pots[0].Plate.C = moduleC, moduleC+0.5 }
		lifted := func(s *Sight) { shorted(s); s.Pots[0].Lifted, s.Pots[0].LiftedHere = true, true }
		well := func(*Sight) {}
		for name, c := range map[string]struct {
			lasts  time.Duration
			wrong  func(*Sight)
			mended func(r *rig)
			ends   bool
		}{
			"mended at once":      {10 * time.Second, shorted, func(r *rig) { r.then(time.Second, well) }, true},
			"mended 20 min later": {20 * time.Minute, shorted, func(r *rig) { r.then(time.Second, well) }, true},
			"mended 40 min later": {40 * time.Minute, shorted, func(r *rig) { r.then(time.Second, well) }, true},
			"lifted":              {time.Minute, lifted, func(r *rig) { r.then(time.Second, shorted) }, true},
			"unplugged, shorted again": {time.Minute, shorted, func(r *rig) {
				r.then(5*time.Second, func(s *Sight) { of(s).Fault = reading.Open })
				r.then(time.Second, shorted)
			}, false},
			"unplugged, and well": {time.Minute, shorted, func(r *rig) {
				r.then(5*time.Second, func(s *Sight) { of(s).Fault = reading.Open })
				r.then(time.Second, well)
			}, true},
			"both shorted for a while":   {10 * time.Minute, both, func(*rig) {}, false},
			"both shorted, cold by then": {40 * time.Minute, both, func(*rig) {}, true},
			"all cold":                   {6 * time.Hour, shorted, func(*rig) {}, true},
		} {
			r := afterHeat()
			r.then(c.lasts, c.wrong)
			c.mended(r)
			r.run(10 * time.Second)
			assert.Equal(t, !c.ends, r.condition(leapt).Active, "%s: %s", role, name)
			assert.Equal(t, c.ends, r.press()[0] > 0, "%s: %s", role, name)
		}
	}
}

// TestWhatIsNoLeap: a probe that was unplugged until its pot had cooled, a pot that is
// topped up beside a gap, and one wild value up leave no doubt.
func TestWhatIsNoLeap(t *testing.T) {
	r := afterHeat()
	r.then(40*time.Minute, func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open })
	for range 10 * time.Second / period {
		r.step()
		require.False(t, r.condition(MeltImplausible).Active)
	}
	r = afterHeat()
	r.then(5*time.Second, func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open })
	r.then(10*time.Second, func(s *Sight) { s.Pots[0].Melt.C -= 25 })
	assert.False(t, r.condition(MeltImplausible).Active)
	r = afterHeat()
	r.then(20*time.Second, func(s *Sight) { s.Pots[0].Melt.C += 60 })
	r.then(period, func(*Sight) {})
	assert.False(t, r.condition(MeltImplausible).Active, "it was never that hot")
}

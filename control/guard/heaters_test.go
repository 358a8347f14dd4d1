package guard

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// TestRisesThatAreExcused: a plate may rise with its heater off for other reasons.
func TestRisesThatAreExcused(t *testing.T) {
	for name, spoil := range map[string]func(s *Sight, t float64){
		"afterheat": func(s *Sight, t float64) {
			s.Pots[0].Plate.C += 35 * (1 - math.Exp(-t/12))
		},
		"a hot pot on a cool plate": func(s *Sight, t float64) {
			s.Pots[0].Plate.C = 60 + 40*(1-math.Exp(-t/100))
		},
		"the room and the plate beside it": func(s *Sight, t float64) { s.Pots[0].Plate.C += t / 30 },
		"warmed by a hand": func(s *Sight, t float64) {
			s.Pots[0].Plate.C = 22 + 10*(1-math.Exp(-max(t-100, 0)/5))
			s.Pots[0].Melt.C -= 130
		},
	} {
		r := newRig(limits)
		r.begin(func(s *Sight, t float64) {
			s.Pots[0].Duty = 0
			spoil(s, t)
		})
		for range 10 * time.Minute / period {
			r.step()
			require.False(t, r.latched(RiseWhileOff), name)
		}
	}
}

// TestARelayThatSticksWithHeatBlocked: on a bench without a contactor, or with one
// that is stuck too, nothing but the plug ends it; it has to be said.
func TestARelayThatSticksWithHeatBlocked(t *testing.T) {
	r := newRig(limits)
	cold := func(s *Sight) { coldBench(s); s.Pots[0].Duty = 0 }
	r.spoil = cold
	r.run(2 * time.Minute)
	r.begin(func(s *Sight, t float64) { cold(s); s.Pots[0].Plate.C += 1.2 * min(t, 150) })
	took := r.told(t, RiseWhileOff, time.Minute)
	fmt.Printf("a stuck relay on a cold bench with heat blocked: told after %.1f s, at %.0f °C\n", took.Seconds(), r.s.Pots[0].Plate.C)
	assert.Equal(t, Tripped, r.g.State())
	assert.Less(t, r.s.Pots[0].Plate.C, 70.0)
	r.run(time.Minute)
	r.press()
	assert.True(t, r.latched(RiseWhileOff), "no press resets it while it rises")
}

// TestAStuckRelayBesideAHeaterAtWork: the other pot's heater is no excuse once its
// own plate answers.
func TestAStuckRelayBesideAHeaterAtWork(t *testing.T) {
	r := enabled(limits)
	r.begin(func(s *Sight, t float64) {
		s.Pots[0].Duty, s.Pots[1].Duty = 0, 1
		s.Pots[0].Plate.C += max(0, t-70)
		s.Pots[1].Plate.C += 0.6 * t
	})
	r.told(t, RiseWhileOff, 80*time.Second)
	assert.False(t, r.latched(ProbesCrossed))
}

// TestADeadHeaterStaysTripped: with its heater told zero nothing shows any more that it
// is dead, or that its probe is off a hot plate; no press resets it until somebody has
// seen to the pot, or it has been cold for long.
func TestADeadHeaterStaysTripped(t *testing.T) {
	at := func(meltC, plateC float64, more func(*Sight)) func(*Sight) {
		return func(s *Sight) {
			coldBench(s)
			s.Pots[0].Melt.C += meltC
			s.Pots[0].Plate.C += plateC
			more(s)
		}
	}
	for name, c := range map[string]struct {
		meltC, plateC float64 // above the room
		see           func(*Sight)
		lasts         time.Duration
		resets        bool
	}{
		"nobody came":                          {60, 0, func(*Sight) {}, time.Hour, false},
		"warm melt, cold plate":                {40, 0, func(*Sight) {}, time.Hour, false},
		"the plate's probe is back":            {60, 60, func(*Sight) {}, time.Minute, false},
		"cold for a moment":                    {0, 0, func(*Sight) {}, coldFor - time.Minute, false},
		"cold for long":                        {0, 0, func(*Sight) {}, coldFor + period, true},
		"a silent line":                        {0, 0, func(s *Sight) { s.Pots[0].Plate.Age = 2 * time.Second }, time.Hour, false},
		"the plate's probe was unplugged":      {60, 0, func(s *Sight) { s.Pots[0].Plate.Fault = reading.Open }, 2 * time.Second, true},
		"the melt's probe was, which is other": {60, 0, func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, 2 * time.Second, false},
		"the pot was lifted":                   {60, 0, func(s *Sight) { s.Pots[0].Lifted, s.Pots[0].LiftedHere = true, true }, time.Second, true},
	} {
		r := enabledFrom(limits, coldBench)
		r.begin(heatedInVain)
		r.told(t, HeaterDead, 2*time.Minute)
		r.spoil = at(c.meltC, c.plateC, c.see)
		r.run(c.lasts)
		r.spoil = at(c.meltC, c.plateC, func(*Sight) {})
		r.run(5 * time.Second)
		r.press()
		assert.Equal(t, c.resets, !r.latched(HeaterDead), name)
	}
}

// TestHeaterWeak: half of a heater has burnt out between two heatings.
func TestHeaterWeak(t *testing.T) {
	heats := func(share float64) func(s *Sight, t float64) {
		return func(s *Sight, t float64) {
			coldBench(s)
			s.Pots[0].Duty = 1
			s.Pots[0].Plate.C += min(1.2*share*t, 150)
		}
	}
	for share, told := range map[float64]bool{1: false, 0.7: false, 0.4: true} {
		r := enabledFrom(limits, coldBench)
		r.begin(heats(1))
		r.run(100 * time.Second)
		r.begin(func(s *Sight, t float64) { coldBench(s); s.Pots[0].Plate.C += max(150-t, 0) })
		r.run(3 * time.Minute)
		require.Empty(t, r.codes())
		r.begin(heats(share))
		r.run(50 * time.Second)
		assert.Equal(t, told, r.condition(HeaterWeak).Active, "at %v of its power", share)
		assert.Equal(t, 1.0, r.step()[0], "it only tells")
	}
}

// TestTheCircuitsMinute: the mean of any minute, within the whole seconds in which
// it is counted.
func TestTheCircuitsMinute(t *testing.T) {
	l := limits
	l.CircuitW, l.CircuitMeanW = 2000, 1000
	draw := func(share float64, on, off int) (*rig, time.Duration) {
		r := newRig(l)
		r.spoil = func(s *Sight) { s.Pots[0].RatedW, s.Pots[1].RatedW = 1000, 1000 }
		r.run(time.Second)
		r.press()
		for cycle := range 3 * 300 {
			r.healthy()
			r.cycles++
			r.spoil(&r.s)
			r.g.Look(&r.s)
			duty := []float64{share, share}
			if cycle%(on+off) >= on {
				duty[0], duty[1] = 0, 0
			}
			r.g.Limit(duty)
			if r.g.State() == Tripped {
				return r, time.Duration(cycle) * period
			}
		}
		return r, 0
	}
	for _, ok := range []struct {
		share   float64
		on, off int
	}{{0.5, 1, 0}, {1, 1, 1}, {1, 150, 150}} {
		r, _ := draw(ok.share, ok.on, ok.off)
		assert.Equal(t, Enabled, r.g.State(), "%+v", ok)
	}
	r, took := draw(1, 1, 0)
	assert.True(t, r.latched(CircuitOver))
	fmt.Printf("full power on a circuit for half of it: tripped after %v\n", took)
	assert.InDelta(t, 30, took.Seconds(), 2)
	assert.Equal(t, Tripped, r.g.State())
	duty := []float64{1, 1}
	r.g.Limit(duty)
	assert.Equal(t, off, duty)
}

// TestAWholeHeaterCountsInFull: two that may draw all of their power while they are
// told a half do not fit where two halves do.
func TestAWholeHeaterCountsInFull(t *testing.T) {
	l := limits
	l.CircuitW, l.CircuitMeanW = 1500, 1500
	for whole, want := range map[bool][]float64{false: {0.5, 0.5}, true: off} {
		r := newRig(l)
		r.run(time.Second)
		r.press()
		r.healthy()
		for i := range r.s.Pots {
			r.s.Pots[i].RatedW, r.s.Pots[i].Whole = 1000, whole
		}
		r.g.Look(&r.s)
		duty := []float64{0.5, 0.5}
		r.g.Limit(duty)
		assert.Equal(t, want, duty)
		assert.Equal(t, whole, r.latched(CircuitOver))
	}
}

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

// coldBench is both pots at room temperature, with their heaters off.
func coldBench(s *Sight) {
	for i := range s.Pots {
		s.Pots[i] = PotSight{Melt: good(s.Pots[i].Melt.C - 128), Plate: good(s.Pots[i].Plate.C - 158)}
	}
}

// coolMelt is a melt that is still far from its plate, at rest.
func coolMelt(s *Sight) { s.Pots[0].Melt.C, s.Pots[0].Duty = s.Pots[0].Melt.C-60, 0 }

// alone takes away whoever is at the bench.
func alone(s *Sight) { s.Attended = false }

// small is a circuit that carries one heater of the two.
func small() Limits {
	l := limits
	l.CircuitW, l.CircuitMeanW = 1000, 1000
	return l
}

// happenings make the rows happen whose causes take a course of their own, on the
// first pot where they are about a pot. t is in seconds.
var happenings = []struct {
	code   Code
	limits Limits
	before func(*Sight) // so it is while heat is being enabled
	cause  func(s *Sight, t float64)
	// from and to are when it is told, after the first cycle of its cause.
	from, to time.Duration
	// gone ends the cause so that a reset, or time, ends the finding.
	gone func(s *Sight, t float64)
}{
	{RiseWhileOff, limits, nil, func(s *Sight, t float64) {
		s.Pots[0].Duty = 0
		s.Pots[0].Plate.C += 0.5 * max(0, t-50)
	}, 60 * time.Second, 75 * time.Second, nil},
	{ProbesCrossed, limits, nil, func(s *Sight, t float64) {
		s.Pots[0].Duty, s.Pots[1].Duty = 1, 0
		s.Pots[1].Plate.C += 0.5 * max(0, t-65)
	}, 65 * time.Second, 75 * time.Second, nil},
	{CircuitOver, small(), nil, func(s *Sight, _ float64) {
		s.Pots[0].RatedW, s.Pots[1].RatedW = 600, 600
	}, 0, 0, nil},
	{LeftAlone, limits, nil, func(s *Sight, _ float64) { alone(s) }, 15*time.Minute - period, 15*time.Minute + period, nil},
	{SessionTooLong, limits, nil, func(*Sight, float64) {}, 3*time.Hour - 10*time.Second, 3 * time.Hour, nil},
	{MeltNotFollowing, limits, nil, func(s *Sight, t float64) { // it slides out slowly, then hangs over the melt
		s.Pots[0].Melt.C -= min(0.4*t, 30)
	}, 140 * time.Second, 150 * time.Second, func(s *Sight, t float64) { s.Pots[0].Melt.C -= max(0, 30-t) }},
	{PlateNotFollowing, limits, nil, func(s *Sight, t float64) {
		s.Pots[0].Duty = 1
		s.Pots[0].Plate.C = 25 + (s.Pots[0].Plate.C-25)*math.Exp(-t/50)
	}, 10 * time.Second, 20 * time.Second, func(s *Sight, t float64) { s.Pots[0].Plate.C = min(s.Pots[0].Plate.C, 130+t) }},
	{MeltReversed, limits, coldBench, func(s *Sight, t float64) {
		coldBench(s)
		s.Pots[0].Duty = 1
		s.Pots[0].Plate.C += min(1.2*t, 100)
		s.Pots[0].Melt.C -= min(0.3*t, 35)
	}, 15 * time.Second, 25 * time.Second, coldAgain},
	{PlateReversed, limits, coldBench, func(s *Sight, t float64) {
		coldBench(s)
		s.Pots[0].Duty = 1
		s.Pots[0].Plate.C -= min(1.2*t, 40)
	}, 4 * time.Second, 10 * time.Second, coldAgain},
	{NoRise, limits, coldBench, heatedInVain, 30 * time.Second, 45 * time.Second, coldAgain},
	{HeaterDead, limits, coldBench, heatedInVain, 60 * time.Second, 75 * time.Second, coldAgain},
	{MeltForecast, limits, nil, func(s *Sight, t float64) { s.Pots[0].Melt.C += min(0.8*t, 25) },
		10 * time.Second, 20 * time.Second, func(s *Sight, _ float64) { s.Pots[0].Melt.C += 20 }},
	{FastFall, limits, nil, func(s *Sight, t float64) { s.Pots[0].Melt.C -= 0.8 * t },
		20 * time.Second, 25 * time.Second, func(s *Sight, _ float64) { s.Pots[0].Melt.C -= 20 }},
	{PlateFastFall, limits, coolMelt, func(s *Sight, t float64) {
		coolMelt(s)
		s.Pots[0].Duty = 1
		s.Pots[0].Plate.C -= 2 * t
	}, 20 * time.Second, 30 * time.Second, func(s *Sight, _ float64) {
		coolMelt(s)
		s.Pots[0].Plate.C -= 50
	}},
	{MeltNoisy, limits, nil, func(s *Sight, t float64) { s.Pots[0].Melt.C += alternating(t) },
		10 * time.Second, 25 * time.Second, nil},
	{PlateNoisy, limits, nil, func(s *Sight, t float64) { s.Pots[0].Plate.C += alternating(t) },
		10 * time.Second, 25 * time.Second, nil},
	{NobodyHere, limits, nil, func(s *Sight, _ float64) { alone(s) }, 10*time.Minute - period, 10*time.Minute + period, nil},
	{SessionLong, limits, nil, func(*Sight, float64) {}, 165*time.Minute - 10*time.Second, 165 * time.Minute, nil},
	{PotLifted, limits, nil, func(s *Sight, _ float64) { s.Pots[0].Lifted = true }, 0, 0, nil},
	{LiftNoticed, limits, nil, func(s *Sight, _ float64) { s.Pots[0].Lifted, s.Pots[0].LiftNoticed = true, true }, 0, 0, nil},
	{LiftSuspected, limits, nil, func(s *Sight, _ float64) { s.Pots[0].LiftSuspected = true }, nameLift - period, nameLift, nil},
	{SetpointChanged, limits, nil, func(s *Sight, t float64) {
		held(s)
		s.Pots[0].Controller.Since, s.Pots[0].Controller.Setpoint.C = takesFor, 220
		if t > 1 { // told to rest, it does
			s.Pots[0].Controller.ToldC, s.Pots[0].Controller.Setpoint.C = 5, 5
		}
	}, 0, 0, func(s *Sight, _ float64) { held(s) }},
	{ControllerAstray, limits, nil, func(s *Sight, _ float64) {
		held(s)
		s.Pots[0].Controller.Own.C = 20
	}, astray - period, astray, func(s *Sight, _ float64) { held(s) }},
	{HeldLong, limits, nil, func(s *Sight, t float64) {
		s.Pots[0].HeldFor = 59*time.Minute + time.Duration(t*float64(time.Second))
	}, time.Minute, time.Minute + period, nil},
}

// held is a first pot whose controller does what it is told.
func held(s *Sight) {
	s.Pots[0].Controller = ControllerSight{
		Is: true, ToldC: 180, Since: time.Minute, Setpoint: good(180), Own: good(s.Pots[0].Plate.C - 3),
	}
}

// TestWhatAControllerMayDo without a word: take its time, round, and differ from the plate's
// probe a little, or not say what it reads.
func TestWhatAControllerMayDo(t *testing.T) {
	r := enabled(limits)
	for name, may := range map[string]func(c *ControllerSight){
		"it has just been told":        func(c *ControllerSight) { c.Since, c.ToldC = takesFor-1, 230 },
		"whole degrees of its own":     func(c *ControllerSight) { c.Setpoint.C = 181.1 },
		"another place on the plate":   func(c *ControllerSight) { c.Own.C += 22 },
		"its reading is not asked for": func(c *ControllerSight) { c.Own = reading.Temperature{} },
		"nothing came of it yet":       func(c *ControllerSight) { c.Own.Fault, c.Setpoint.Fault = reading.Missing, reading.Missing },
	} {
		r.begin(func(s *Sight, _ float64) { held(s); may(&s.Pots[0].Controller) })
		r.run(time.Minute)
		assert.Equal(t, full, r.step(), name)
	}
	for name, mayNot := range map[string]func(own *reading.Temperature){
		"it reads nothing":                  func(own *reading.Temperature) { own.Fault = reading.Sentinel },
		"its reading came once and no more": func(own *reading.Temperature) { own.Age = MaxAge + period },
		"its reading is asked for in vain":  func(own *reading.Temperature) { own.Fault = reading.Missing },
	} {
		t.Run(name, func(t *testing.T) {
			r := enabled(limits)
			r.begin(func(s *Sight, _ float64) { held(s); mayNot(&s.Pots[0].Controller.Own) })
			r.told(t, ControllerAstray, 11*time.Second)
		})
	}
}

// coldAgain is a bench that was left to cool: all begins anew.
func coldAgain(s *Sight, _ float64) { coldBench(s) }

// heatedInVain is full power on a heater that is not there.
func heatedInVain(s *Sight, _ float64) {
	coldBench(s)
	s.Pots[0].Duty = 1
}

// alternating is a spread of 2 °C, by the guard's own measure.
func alternating(t float64) float64 { return 1 - 2*float64(int(math.Round(t/period.Seconds()))%2) }

// TestEveryOtherRowIsMadeToHappen: when each is told, what it does to heat, and how
// it ends.
func TestEveryOtherRowIsMadeToHappen(t *testing.T) {
	for _, h := range happenings {
		t.Run(h.code.String(), func(t *testing.T) {
			r := enabledFrom(h.limits, h.before)
			require.Equal(t, full, r.step(), "healthy before")
			r.begin(h.cause)
			took := r.told(t, h.code, 4*time.Hour)
			fmt.Printf("%-24s told %6.1f s after the first cycle of its cause\n", h.code, took.Seconds())
			assert.GreaterOrEqual(t, took, h.from)
			assert.LessOrEqual(t, took, h.to)

			rule := h.code.Rule()
			duty := r.step()
			switch rule.Action {
			case Tell:
				assert.Equal(t, full, duty, "it only tells")
			case AllOff:
				assert.Equal(t, off, duty)
				assert.False(t, r.g.MayHeat())
			default:
				assert.Equal(t, []float64{0, 1}, duty, "the other pot goes on")
			}
			if h.gone != nil {
				r.begin(h.gone)
			} else {
				r.spoil = h.before
			}
			ends(t, r, h.code)
		})
	}
}

// ends lets the cause be gone for a while: what clears by itself has, what latches
// waits for a press.
func ends(t *testing.T, r *rig, c Code) {
	if c.Rule().Clears == ByItself && c != SessionLong && c != NoRise {
		r.run(2 * time.Minute)
		assert.Zero(t, r.condition(c), "over by itself")
		assert.Equal(t, full, r.step())
		return
	}
	r.run(coldFor + time.Minute)
	duty := r.step()
	if c.Rule().Clears == AtTheBench {
		assert.True(t, r.latched(c), "it waits for a person")
		assert.Zero(t, duty[0])
	}
	r.press()
	r.press()
	assert.Zero(t, r.condition(c))
	assert.Equal(t, full, r.step())
}

// enabledFrom returns a rig with heat enabled while everything is as before tells.
func enabledFrom(l Limits, before func(*Sight)) *rig {
	r := newRig(l)
	r.spoil = before
	r.run(time.Second)
	r.press()
	r.run(5 * time.Second)
	return r
}

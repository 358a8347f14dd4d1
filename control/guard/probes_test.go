package guard

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// lost is a rig whose first melt probe has fallen out, hangs in the air, and has
// tripped; the plate cools slowly.
func lost(t *testing.T) *rig {
	r := enabled(limits)
	r.begin(inTheAir)
	r.told(t, MeltNotFollowing, time.Minute)
	return r
}

func inTheAir(s *Sight, t float64) {
	s.Pots[0].Melt.C = 25 + (s.Pots[0].Melt.C-25)*math.Exp(-t/50)
	if s.Pots[0].Plate.C -= t / 20; t > 20 {
		s.Pots[0].Duty = 0
	}
}

// TestALostProbeStaysTripped: no press resets it while the probe still hangs in the
// air, though its cause can not show with the heater off; each way of seeing to it
// lets the next press reset it.
func TestALostProbeStaysTripped(t *testing.T) {
	back := func(s *Sight, t float64) {
		s.Pots[0].Duty, s.Pots[0].Plate.C = 0, 160
		s.Pots[0].Melt.C = 120 - 70*math.Exp(-t/3)
	}
	for name, cure := range map[string]func(r *rig){
		"it is back in the melt": func(r *rig) { r.begin(back); r.run(20 * time.Second) },
		"the pot was lifted": func(r *rig) {
			r.still(func(s *Sight) { s.Pots[0].Lifted, s.Pots[0].LiftedHere = true, true }, time.Second)
		},
		"it was unplugged": func(r *rig) {
			r.still(func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, 2*time.Second)
			r.still(func(*Sight) {}, 5*time.Second)
		},
		"all is cold": func(r *rig) {
			r.still(func(s *Sight) { s.Pots[0].Plate.C = 40 }, coldFor+10*time.Second)
		},
	} {
		r := lost(t)
		r.run(3 * time.Minute)
		require.True(t, r.condition(MeltNotFollowing).Active, name)
		for range 3 {
			r.press()
			require.True(t, r.latched(MeltNotFollowing), name)
			require.Zero(t, r.step()[0], name)
		}
		r.still(func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, 2*period)
		r.still(func(s *Sight) { s.Pots[0].Melt.Age = 2 * time.Second }, 2*time.Second)
		for range 2 { // the computer is busy meanwhile
			r.still(func(s *Sight) { s.Pots[0].Melt.Fault, s.Elapsed = reading.Open, 5*time.Second }, period)
			r.still(func(*Sight) {}, time.Second)
		}
		r.still(func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, period)
		r.still(func(s *Sight) { s.Pots[0].Melt.Fault, s.Elapsed = reading.Open, 5*time.Second }, period)
		r.still(func(*Sight) {}, time.Second)
		r.press() // of the missed cycle
		r.press()
		require.True(t, r.latched(MeltNotFollowing), "%s: a bad frame or a silent line cures nothing", name)
		cure(r)
		r.press()
		assert.False(t, r.latched(MeltNotFollowing), name)
	}
}

// still lets the probe hang in the air, at the air's temperature, and more.
func (r *rig) still(more func(*Sight), d time.Duration) {
	r.spoil = func(s *Sight) {
		s.Pots[0].Duty, s.Pots[0].Plate.C = 0, 160
		s.Pots[0].Melt.C -= 122
		more(s)
	}
	r.run(d)
	r.spoil = func(s *Sight) {
		s.Pots[0].Duty, s.Pots[0].Plate.C = 0, 160
		s.Pots[0].Melt.C -= 122
	}
}

// TestAReversedProbeStaysTripped: as the pot cools, its reading rises; that is no cure.
func TestAReversedProbeStaysTripped(t *testing.T) {
	r := enabledFrom(limits, coldBench)
	wrong := func(s *Sight, true float64) {
		coldBench(s)
		s.Pots[0].Melt.C -= true
		s.Pots[0].Plate.C = 60
	}
	r.begin(func(s *Sight, t float64) {
		wrong(s, min(t/3, 15))
		s.Pots[0].Plate.C, s.Pots[0].Duty = 25+2*t, 1
	})
	r.told(t, MeltReversed, time.Minute)
	r.begin(func(s *Sight, t float64) { wrong(s, max(15-t/10, 0)) })
	r.run(5 * time.Minute)
	r.press()
	assert.True(t, r.latched(MeltReversed))
	r.spoil = func(s *Sight) { wrong(s, 0); s.Pots[0].Melt.Fault = reading.Open }
	r.run(20 * time.Second)
	r.begin(func(s *Sight, _ float64) { wrong(s, 0) })
	r.run(5 * time.Second)
	r.press()
	assert.False(t, r.latched(MeltReversed), "it was unplugged")
}

// TestNumbersOfNoise prints how well the spread is measured: the standard deviation
// of normally distributed values at a steady slope.
func TestNumbersOfNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, sigma := range []float64{0, 0.25, 1, 2, 5} {
		for _, slope := range []float64{0, 3} { // °C a second
			var n noise
			got, sum := 0.0, 0.0
			for i := range 3000 {
				got = n.take(slope*0.2*float64(i)+sigma*random.NormFloat64(), period)
				if i >= 500 {
					sum += got
				}
			}
			fmt.Printf("noise of %.2f °C at %.0f °C a second: measured as %.2f °C on average\n", sigma, slope, sum/2500)
			assert.InDelta(t, sigma, sum/2500, 0.1*sigma+1e-9)
		}
	}
	var n noise
	for range 1000 {
		n.take(20, period)
	}
	n.take(400, period)
	n.take(20, period)
	assert.Less(t, n.take(20, period), noisyC, "one wild value is no noise")
}

// TestExtremeNoiseIsNoReading.
func TestExtremeNoiseIsNoReading(t *testing.T) {
	r := enabled(limits)
	r.begin(func(s *Sight, t float64) { s.Pots[0].Melt.C += 5 * alternating(t) })
	took := r.told(t, MeltUnusable, time.Minute)
	fmt.Printf("a spread of 10 °C: no reading after %.1f s\n", took.Seconds())
	r.run(5 * time.Second)
	assert.True(t, r.latched(MeltUnusable))
	assert.Contains(t, r.codes(), MeltNoisy)
	assert.Equal(t, []float64{0, 1}, r.step())
}

// TestColdProbesAgree (common practice, no source: within 3 °C), before any heat.
func TestColdProbesAgree(t *testing.T) {
	off := func(by float64) func(*Sight) {
		return func(s *Sight) { coldBench(s); s.Pots[1].Plate.C += by }
	}
	for by, told := range map[float64]bool{0: false, 2: false, -2: false, 4.5: true, -6: true} {
		r := newRig(limits)
		r.spoil = off(by)
		r.run(10 * time.Second)
		found := r.condition(ProbesDisagree)
		assert.Equal(t, told, found.Active, "%v °C", by)
		if told {
			assert.Equal(t, 1, found.Pot)
			assert.Equal(t, Warning, found.Severity)
			r.spoil = off(0)
			r.run(time.Minute)
			assert.False(t, r.condition(ProbesDisagree).Active, "it returns by itself")
			r.spoil = off(by)
			r.run(time.Minute)
			r.press()
			r.run(time.Minute)
			assert.False(t, r.condition(ProbesDisagree).Active, "the plates warm up, each at its pace")
		}
	}
	r := newRig(limits)
	r.spoil = func(s *Sight) { coldBench(s); s.Pots[0].Melt.C += 30 }
	r.run(time.Minute)
	assert.Equal(t, []Code{StillHot}, r.codes(), "a warm pot is no cold probe")
}

// TestColdProbesAreWatched before they disagree: a sample after a sleep is one sample.
func TestColdProbesAreWatched(t *testing.T) {
	r := newRig(limits)
	r.spoil = func(s *Sight) { coldBench(s); s.Pots[1].Plate.C += 6; s.Elapsed = time.Hour }
	r.step()
	r.step()
	assert.False(t, r.condition(ProbesDisagree).Active)
}

// TestOneWildValueIsForgiven: one that is just within a step of the true ones before it,
// and just not of the true one after it.
func TestOneWildValueIsForgiven(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.Pots[0].Plate.C = 180 - 29.9 }
	r.step()
	r.spoil = func(s *Sight) { s.Pots[0].Plate.C = 180.5 }
	for range 2 * time.Second / period {
		require.Equal(t, full, r.step())
	}
}

// TestShortedHotProbe: the leads of a hot probe touch, and the module's own
// temperature is read, steadily. No press heats on that, until the reading is back,
// or somebody has seen to the probe.
func TestShortedHotProbe(t *testing.T) {
	for name, probe := range map[string]func(*Sight) *reading.Temperature{
		"melt":  func(s *Sight) *reading.Temperature { return &s.Pots[0].Melt },
		"plate": func(s *Sight) *reading.Temperature { return &s.Pots[0].Plate },
	} {
		code := map[string]Code{"melt": MeltImplausible, "plate": PlateImplausible}[name]
		shorted := func(s *Sight) { probe(s).C -= 119 }
		for what, mended := range map[string]func(*Sight){
			"the reading is back": func(s *Sight) { probe(s).C -= 12 }, // it cooled meanwhile
			"it was unplugged":    func(s *Sight) { shorted(s); probe(s).Fault = reading.Open },
			"the pot was lifted":  func(s *Sight) { shorted(s); s.Pots[0].Lifted, s.Pots[0].LiftedHere = true, true },
		} {
			r := enabled(limits)
			r.spoil = shorted
			r.run(5 * time.Second)
			require.True(t, r.latched(code), name)
			for range 6 {
				r.spoil = func(s *Sight) { shorted(s); probe(s).Fault = reading.Open } // the plug is loose
				r.step()
				r.spoil = shorted
				r.run(30 * time.Second)
				assert.Zero(t, r.press()[0], "%s, shorted", name)
			}
			require.True(t, r.latched(code), name)
			r.spoil = mended
			r.run(2 * time.Second)
			r.spoil = nil
			r.run(8 * time.Second)
			r.press()
			assert.False(t, r.latched(code), "%s: %s", name, what)
			assert.Equal(t, full, r.press(), "%s: %s", name, what)
		}
	}
}

package guard

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// halved is a rig whose first pot has such probes only, which show so much, with heat
// enabled.
func halved(probes reading.Probes, c float64) *rig {
	r := newRig(limits)
	has := func(s *Sight, _ float64) { halve(&s.Pots[0], probes, c) }
	r.begin(has)
	r.run(time.Second)
	r.press()
	r.run(5 * time.Second)
	return r
}

func halve(p *PotSight, probes reading.Probes, c float64) {
	if p.Probes = probes; probes == reading.PlateOnly {
		p.Plate.C += c - 180
		p.Melt, p.PlateTripC, p.HandLasts = reading.Temperature{}, 242, 4*time.Minute
	} else {
		p.Melt.C += c - 150
		p.Plate, p.MostDuty, p.Duty = reading.Temperature{}, 0.15, 0.15
	}
}

// TestAPotWithOneProbeHeats: what is not there is no fault, and what is there still counts.
func TestAPotWithOneProbeHeats(t *testing.T) {
	for _, probes := range []reading.Probes{reading.PlateOnly, reading.MeltOnly} {
		r := halved(probes, 120)
		r.run(time.Minute)
		assert.True(t, r.g.PotMayHeat(0), "%v: %v", probes, r.g.Append(nil))
		melt, plate := r.g.Believes(0)
		assert.Equal(t, probes.HasMelt(), melt)
		assert.Equal(t, probes.HasPlate(), plate)
	}
}

// handAt is what was read in a melt by hand so many seconds ago.
func handAt(c, agoS float64) reading.Temperature {
	return reading.Temperature{C: c, Age: time.Duration(agoS * float64(time.Second)), Fault: reading.None}
}

// TestAHotPlateIsReadOrCools: what is read again in time, or cools without heat, does not trip.
func TestAHotPlateIsReadOrCools(t *testing.T) {
	for name, spoil := range map[string]func(p *PotSight, t float64){
		"read":       func(p *PotSight, t float64) { p.Hand = handAt(150, math.Mod(t, 240)) },
		"not heated": func(p *PotSight, t float64) { p.Hand, p.Duty = handAt(150, t), 0 },
		"cooler":     func(p *PotSight, t float64) { p.Plate.C -= 3 },
	} {
		r := halved(reading.PlateOnly, 196)
		r.begin(func(s *Sight, since float64) {
			halve(&s.Pots[0], reading.PlateOnly, 196)
			spoil(&s.Pots[0], since)
		})
		r.run(20 * time.Minute)
		assert.False(t, r.latched(PlateOverTemperature), name)
	}
}

// happenHalf are what pots with one probe still trip by. t is in seconds.
var happenHalf = []struct {
	name   string
	probes reading.Probes
	fromC  float64
	cause  func(p *PotSight, t float64)
	code   Code
	within time.Duration
}{
	{"its only probe breaks", reading.PlateOnly, 180, func(p *PotSight, _ float64) { p.Plate.Fault = reading.Open }, PotUnseen, 4 * time.Second},
	{"its only probe breaks", reading.MeltOnly, 100, func(p *PotSight, _ float64) { p.Melt.Fault = reading.Open }, PotUnseen, 4 * time.Second},
	{"a hot melt is typed in", reading.PlateOnly, 180, func(p *PotSight, _ float64) { p.Hand = good(191) }, MeltOverTemperature, time.Second},
	{"a warm melt is typed in", reading.PlateOnly, 180, func(p *PotSight, _ float64) { p.Hand = good(179) }, MeltHigh, 3 * time.Second},
	{"its plate goes over its own trip", reading.PlateOnly, 180, func(p *PotSight, t float64) { p.Plate.C = min(180+5*t, 243) }, PlateOverTemperature, 20 * time.Second},
	{"nobody reads its melt over a hot plate", reading.PlateOnly, 196, func(p *PotSight, t float64) { p.Hand = handAt(150, t) }, PlateOverTemperature, 6 * time.Minute},
	{"its plate's probe comes off", reading.PlateOnly, 180, func(p *PotSight, t float64) { p.Plate.C = max(180-4*t, 90) }, PlateNotFollowing, 20 * time.Second},
	{"its heater is dead", reading.PlateOnly, 60, func(p *PotSight, _ float64) { p.Duty = 0.9 }, HeaterDead, 100 * time.Second},
	{"a relay sticks", reading.PlateOnly, 180, func(p *PotSight, t float64) { p.Plate.C, p.Duty = 180+0.3*t, 0 }, RiseWhileOff, 2 * time.Minute},
	{"a relay sticks", reading.MeltOnly, 100, func(p *PotSight, t float64) { p.Melt.C, p.Duty = 100+0.08*t, 0 }, RiseWhileOff, 12 * time.Minute},
	{"its probe is not in the melt", reading.MeltOnly, 30, func(*PotSight, float64) {}, MeltNotFollowing, 6 * time.Minute},
	{"its probe falls out", reading.MeltOnly, 150, func(p *PotSight, t float64) { p.Melt.C = max(150-3*t, 30) }, MeltNotFollowing, 30 * time.Second},
	{"its melt is on its way over", reading.MeltOnly, 150, func(p *PotSight, t float64) { p.Melt.C = min(150+0.4*t, 189) }, MeltForecast, time.Minute},
}

func TestWhatPotsWithOneProbeTripBy(t *testing.T) {
	for _, h := range happenHalf {
		t.Run(h.code.String()+", "+h.name, func(t *testing.T) {
			r := halved(h.probes, h.fromC)
			r.begin(func(s *Sight, since float64) {
				halve(&s.Pots[0], h.probes, h.fromC)
				h.cause(&s.Pots[0], since)
			})
			t.Logf("after %v", r.told(t, h.code, h.within))
			assert.False(t, slices.Contains(Unwatched(h.probes), h.code), "it is watched after all")
		})
	}
}

// TestALowTripOfAPlateOnly: the bench's own is higher.
func TestALowTripOfAPlateOnly(t *testing.T) {
	r := halved(reading.PlateOnly, 180)
	r.begin(func(s *Sight, since float64) {
		halve(&s.Pots[0], reading.PlateOnly, 180)
		s.Pots[0].Plate.C, s.Pots[1].Plate.C = 180+min(5*since, 61), 180+min(5*since, 68)
	})
	r.run(time.Minute)
	require.False(t, r.latched(PlateOverTemperature))
}

// TestTheMostPowerIsKept whatever is asked for: no mean over minutes is above it by more
// than the burst.
func TestTheMostPowerIsKept(t *testing.T) {
	for _, asked := range []float64{0.15, 0.3, 1} {
		r := halved(reading.MeltOnly, 85)
		sum, n := 0.0, 0.0
		told := 0.0
		r.begin(func(s *Sight, since float64) {
			halve(&s.Pots[0], reading.MeltOnly, 85)
			s.Pots[0].Melt.C, s.Pots[0].Duty = 85+0.02*since+float64(int(since*5)%2)/4, told
		})
		for range 20 * time.Minute / period {
			r.healthy()
			r.cycles++
			r.spoil(&r.s)
			r.g.Look(&r.s)
			duty := []float64{asked, 0}
			r.g.Limit(duty)
			told = duty[0]
			require.True(t, told == 0 || told == asked, "it lowers to zero or not at all")
			sum, n = sum+told, n+1
		}
		assert.LessOrEqual(t, sum/n, 0.15+burstS/1200+0.001, "asked for %v", asked)
		assert.Greater(t, sum/n, 0.1, "and it is not taken away")
	}
}

// TestWithoutAMostNothingIsGiven: a plate that nobody sees gets no heat where nobody says how
// much it may have, and any other gets all that it is asked for.
func TestWithoutAMostNothingIsGiven(t *testing.T) {
	for _, most := range []float64{0.15, 0, -1, math.NaN()} {
		for _, probes := range []reading.Probes{reading.PlateOnly, reading.MeltOnly} {
			r := halved(probes, 120)
			r.spoil = func(s *Sight) {
				halve(&s.Pots[0], probes, 120)
				s.Pots[0].MostDuty = most
			}
			duty := r.step()[0]
			require.True(t, r.g.PotMayHeat(0))
			assert.Equal(t, probes.HasPlate() || most > 0, duty > 0, "%v of a pot with probes %v", most, probes)
		}
	}
}

// TestAPotThatIsPutBackWarmsItsPlate, marked as lifted or soon after, and that is no stuck
// relay; one that is shows all the same, in a second lift as in the first.
func TestAPotThatIsPutBackWarmsItsPlate(t *testing.T) {
	r := halved(reading.PlateOnly, 180)
	plateC, lifted, rises := 180.0, true, 0.0
	r.begin(func(s *Sight, _ float64) {
		halve(&s.Pots[0], reading.PlateOnly, 180)
		plateC += rises * period.Seconds()
		s.Pots[0].Plate.C, s.Pots[0].Duty, s.Pots[0].Lifted = plateC, 0, lifted
	})
	for range 2 {
		lifted, rises = true, -0.5
		r.run(4 * time.Minute)
		require.Less(t, plateC, 65.0)
		rises = 0.5
		r.run(2 * time.Minute)
		lifted = false
		r.run(2 * time.Minute)
		require.Greater(t, plateC, 160.0)
		require.False(t, r.latched(RiseWhileOff))
	}
	for lifted = true; !r.latched(RiseWhileOff); {
		r.step()
		require.Less(t, plateC, limits.MeltTripC+5)
	}
}

// TestHotByOneProbe: the place that is not seen may be warmer.
func TestHotByOneProbe(t *testing.T) {
	r := newRig(limits)
	at := 45.0
	r.begin(func(s *Sight, _ float64) {
		halve(&s.Pots[0], reading.PlateOnly, 180)
		s.Pots[0].Plate, s.Pots[1].Melt, s.Pots[1].Plate = good(at), good(20), good(20)
	})
	r.run(5 * time.Second)
	assert.True(t, r.condition(StillHot).Active)
	at = 39
	r.run(10 * time.Second)
	assert.False(t, r.condition(StillHot).Active)
}

package guard

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control/reading"
)

var off, full = []float64{0, 0}, []float64{1, 1}

// Rule: nothing turns heat on by itself.
func TestNothingButThePressEnables(t *testing.T) {
	unknown, old := reading.Contact{Fault: reading.Missing}, reading.Contact{Closed: true, Fault: reading.None, Age: MaxAge + 1}
	future, unwired := reading.Contact{Closed: true, Fault: reading.None, Age: -1}, reading.Contact{Closed: true}
	open, closed := contact(false), contact(true)
	type span struct {
		c     reading.Contact
		lasts time.Duration
	}
	for _, c := range []struct {
		name  string
		spans []span // again and again
	}{
		{"never pressed", []span{{open, time.Minute}}},
		{"held since before the start", []span{{closed, time.Minute}}},
		{"held since before the start, then let go, but for knocks", []span{{closed, time.Second}, {open, time.Minute}, {closed, pressMin}, {open, time.Second}}},
		{"unknown, then held, then let go", []span{{unknown, time.Second}, {closed, time.Second}, {open, period}}},
		{"open, unknown, closed: nobody saw it being pressed", []span{{open, 2 * time.Second}, {unknown, period}, {closed, time.Second}, {open, period}}},
		{"closed, unknown, open: nobody saw it being let go", []span{{open, 2 * time.Second}, {closed, time.Second}, {unknown, period}}},
		{"open, too old, closed", []span{{open, 2 * time.Second}, {old, period}, {closed, time.Second}, {open, period}}},
		{"open, then closed by answers that are too old", []span{{open, 2 * time.Second}, {old, time.Second}}},
		{"open, then closed by answers from the future", []span{{open, 2 * time.Second}, {future, time.Second}}},
		{"not wired", []span{{unwired, time.Second}, {reading.Contact{}, 2 * time.Second}}},
		{"taped down", []span{{open, 2 * time.Second}, {closed, time.Minute}}},
		{"a knock now and then", []span{{open, 2 * time.Second}, {closed, pressMin}}},
	} {
		r := newRig(limits)
		for range 10 {
			for _, span := range c.spans {
				assert.Equal(t, off, r.button(span.c, span.lasts), c.name)
			}
		}
		assert.Equal(t, Blocked, r.g.State(), c.name)
	}
}

func TestPressEnables(t *testing.T) {
	r := newRig(limits)
	assert.Equal(t, off, r.step())
	assert.Equal(t, full, r.press())
	r.run(time.Hour)
	assert.Equal(t, full, r.step(), "for as long as all is well")
}

// Rule: e-stop, cut-out, fan and the link to the heaters must be known to be closed.
func TestInterlocks(t *testing.T) {
	interlocks := map[string]func(*Sight) *reading.Contact{
		"e-stop":  func(s *Sight) *reading.Contact { return &s.EStop },
		"cut-out": func(s *Sight) *reading.Contact { return &s.CutOut },
		"fan":     func(s *Sight) *reading.Contact { return &s.Fan },
		"link":    func(s *Sight) *reading.Contact { return &s.Link },
	}
	bad := map[string]reading.Contact{
		"open":                 contact(false),
		"not wired, yet asked": {},
		"missing":              {Fault: reading.Missing},
		"closed with a fault":  {Closed: true, Fault: reading.Refused},
		"closed, too old":      {Closed: true, Fault: reading.None, Age: MaxAge + 1},
		"closed in the future": {Closed: true, Fault: reading.None, Age: -1},
		"open, long ago":       {Fault: reading.None, Age: time.Hour},
	}
	for name, of := range interlocks {
		for what, c := range bad {
			spoil := func(s *Sight) { *of(s) = c }
			r := enabled(limits)
			r.spoil = spoil
			assert.Equal(t, off, r.step(), "%s %s: off in the same cycle", name, what)
			r.run(time.Minute)
			assert.Equal(t, Tripped, r.g.State(), "%s %s: latched", name, what)

			r = newRig(limits)
			r.spoil = spoil
			r.step()
			assert.Equal(t, off, r.press(), "%s %s: can not be enabled", name, what)
			r.spoil = nil
			assert.Equal(t, off, r.step(), "%s %s: and is not enabled by its cure", name, what)
		}
	}
}

// Rule: fresh, plausible, a finite number. Each of them takes the pot's heat in
// the very cycle that shows it, and the other pot's is left alone.
func TestBadReadings(t *testing.T) {
	bad := map[string]reading.Temperature{
		"nothing filled in": {C: 150},
		"too old":           {C: 150, Fault: reading.None, Age: MaxAge + 1},
		"from the future":   {C: 150, Fault: reading.None, Age: -1},
		"below plausible":   good(plausibleMinC - 0.25),
		"dead zero":         good(0), // a step of 150 °C
		"a jump":            good(100),
	}
	for f := reading.Missing; f <= reading.OutsideTable+1; f++ {
		bad["fault "+f.String()] = reading.Temperature{C: 150, Fault: f}
	}
	bad["NaN"], bad["-Inf"] = good(math.NaN()), good(math.Inf(-1))
	for what, bad := range bad {
		r := enabled(limits)
		r.spoil = func(s *Sight) { s.Pots[0].Melt = bad }
		assert.Equal(t, []float64{0, 1}, r.step(), "melt %s", what)
		r = enabled(limits)
		r.spoil = func(s *Sight) { s.Pots[0].Plate = bad }
		assert.Equal(t, []float64{0, 1}, r.step(), "plate %s", what)
	}
}

// TestInfinityIsTooHot: what reads as endlessly hot is believed to be too hot.
func TestInfinityIsTooHot(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.Pots[0].Plate.C = math.Inf(1) }
	assert.Equal(t, off, r.step())
	r.run(time.Second)
	assert.Equal(t, Tripped, r.g.State())
}

// TestOldTooHotIsStillTooHot: the age of a reading never makes a pot cooler.
func TestOldTooHotIsStillTooHot(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) {
		s.Pots[0].Melt = reading.Temperature{C: 190, Fault: reading.None, Age: time.Hour}
	}
	assert.Equal(t, off, r.step())
}

// TestLimitsThatAreNoNumbers: a limit nobody can be under is one that trips.
func TestLimitsThatAreNoNumbers(t *testing.T) {
	for _, spoil := range []func(*Limits){
		func(l *Limits) { l.MeltTripC = math.NaN() },
		func(l *Limits) { l.PlateTripC = math.NaN() },
		func(l *Limits) { l.MeltTripC = 0 },
	} {
		l := limits
		spoil(&l)
		assert.Equal(t, off, enabled(l).step())
	}
}

// Rule: NaN, infinity, a zero time step, a missed cycle: heat off.
func TestTimeStepsThatAreNone(t *testing.T) {
	for _, elapsed := range []time.Duration{0, -1, -time.Hour, 3*period + 1, time.Hour, math.MaxInt64, math.MinInt64} {
		r := enabled(limits)
		r.spoil = func(s *Sight) { s.Elapsed = elapsed }
		assert.Equal(t, off, r.step(), "%v", elapsed)
		r = newRig(limits)
		r.step()
		r.hold()
		r.spoil = func(s *Sight) { s.Elapsed = elapsed }
		assert.Equal(t, off, r.step(), "%v: nor is heat enabled in such a cycle", elapsed)
		r.spoil = nil
		assert.Equal(t, off, r.step(), "%v: nor after it", elapsed)
	}
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.Elapsed = 3 * period }
	assert.Equal(t, full, r.step(), "three periods are late, not missed")
	r.spoil = func(s *Sight) { s.Period = 0 }
	assert.Equal(t, off, r.step(), "without a period every cycle is a missed one")
}

// TestTheFirstCycleHasNoTimeStep: a start alone is no trip.
func TestTheFirstCycleHasNoTimeStep(t *testing.T) {
	r := newRig(limits)
	r.spoil = func(s *Sight) { s.Elapsed = 0 }
	assert.Equal(t, off, r.step())
	assert.False(t, r.condition(MissedCycle).Active)
}

// TestOneLateCycleIsForgiven and 1.5 s of them are not.
func TestOneLateCycleIsForgiven(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.Elapsed = time.Second }
	assert.Equal(t, off, r.step(), "off while it lasts")
	r.spoil = nil
	assert.Equal(t, full, r.step())
	r.spoil = func(s *Sight) { s.Elapsed = 1500 * time.Millisecond }
	r.step()
	assert.True(t, r.latched(MissedCycle))
}

// TestNothingLastsUnwatched: while the computer slept, or its clock was set forward,
// nobody saw whether a plate rose, a melt followed or a reading moved. A pot is not
// tripped by what would have had to last so long.
func TestNothingLastsUnwatched(t *testing.T) {
	for name, c := range map[string]struct {
		before func(*Sight)
		cause  func(*Sight, float64)
	}{
		"a plate that has only begun to warm": {coldBench, heatedInVain},
		"a melt that has only begun to":       {nil, func(s *Sight, _ float64) { s.Pots[0].Plate.C, s.Pots[0].Duty = s.Pots[0].Plate.C+15, 1 }},
		"a reading that came twice":           {nil, func(s *Sight, _ float64) { s.Pots[0].Melt.C = 150 }},
	} {
		for _, gap := range []time.Duration{2 * time.Second, 2 * time.Minute, 8 * time.Hour} {
			r := enabledFrom(limits, c.before)
			r.begin(c.cause)
			r.run(10 * time.Second)
			require.Empty(t, r.g.Append(nil), name)
			r.spoil = func(s *Sight) { c.cause(s, 10); s.Elapsed = gap }
			r.step()
			assert.True(t, r.latched(MissedCycle))
			for _, found := range r.g.Append(nil) {
				assert.False(t, found.Pot >= 0 && found.Latched, "%s, %v: %s", name, gap, found.Code)
			}
		}
	}
}

// TestWhatASleepIsToAHeater: it was off meanwhile, so that a plate which rises after it
// rises by no afterheat, however little of the sleep was watched.
func TestWhatASleepIsToAHeater(t *testing.T) {
	for gap, within := range map[time.Duration]time.Duration{period: 75 * time.Second, 2 * time.Minute: 20 * time.Second} {
		r := enabled(limits)
		r.spoil = func(s *Sight) { s.Pots[0].Duty = 1 }
		r.run(20 * time.Second)
		r.spoil = func(s *Sight) { s.Pots[0].Duty, s.Elapsed = 0, gap }
		r.step()
		r.begin(func(s *Sight, t float64) { s.Pots[0].Duty, s.Pots[0].Plate.C = 0, s.Pots[0].Plate.C+0.5*t })
		assert.Less(t, r.told(t, RiseWhileOff, 3*time.Minute), within, "%v", gap)
	}
}

// TestProbeThatJumps: a real change is accepted once it has had the time it needs.
func TestProbeThatJumps(t *testing.T) {
	r := newRig(limits)
	r.spoil = coldBench
	r.run(time.Second)
	r.spoil = func(s *Sight) { coldBench(s); s.Pots[0].Plate.C += 100 } // somebody put a hot pot there
	cycles := cyclesFor(tellAfter)                                      // it is told when it lasts
	for range cycles {
		r.step()
	}
	assert.True(t, r.condition(PlateImplausible).Active)
	for ; r.condition(PlateImplausible).Active; cycles++ {
		r.step()
		require.Less(t, cycles, 50)
	}
	// 30 °C a second: 100 °C need 3.4 s.
	assert.Equal(t, 17, cycles)
}

// TestFrozenNeedsAReasonToMove: a bench at rest reads the same for hours.
func TestFrozenNeedsAReasonToMove(t *testing.T) {
	still := func(duty, plate float64) func(*Sight) {
		return func(s *Sight) {
			s.Pots[0] = PotSight{Melt: good(150), Plate: good(plate), Duty: duty}
		}
	}
	r := enabled(limits)
	r.spoil = still(0, 180)
	r.run(time.Hour)
	assert.Empty(t, r.g.Append(nil), "no duty")
	r = enabled(limits)
	r.spoil = still(realDuty-0.01, 150+meltMovesAtGapC-1)
	r.run(time.Hour)
	assert.Empty(t, r.g.Append(nil), "a small duty and a small gap")
}

// TestFallenProbe: a melt probe that hangs in the air falls with about 50 s
// (estimate: a bare bead in still air) under full power.
func TestFallenProbe(t *testing.T) {
	r := enabled(limits)
	seconds := 0.0
	r.spoil = func(s *Sight) {
		s.Pots[0].Melt = good(25 + 125*math.Exp(-seconds/50))
		s.Pots[0].Plate = good(165 + 1.3*seconds)
		s.Pots[0].Duty = 1
	}
	for !r.latched(MeltNotFollowing) {
		require.Less(t, seconds, 60.0)
		seconds += period.Seconds()
		r.step()
	}
	fmt.Printf("melt probe in the air: tripped %.1f s after it fell out\n", seconds)
	assert.Less(t, seconds, 20.0)
}

// TestColdAddition: 20 mL of cold colour in a small pot is no fallen probe: the
// heater is off while the reading falls, and back when it holds; nobody is told.
func TestColdAddition(t *testing.T) {
	r := enabled(limits)
	r.begin(func(s *Sight, seconds float64) {
		dip := 18 * (1 - math.Exp(-seconds/5)) * math.Exp(-seconds/90)
		s.Pots[0].Melt = good(165 - dip + s.Pots[0].Melt.C - 150)
		s.Pots[0].Plate = good(math.Min(180+1.3*seconds, 229) + s.Pots[0].Plate.C - 180)
		if s.Pots[0].Duty = 1; seconds > 35 {
			s.Pots[0].Duty = 0.6 // it holds the plate at its limit
		}
	})
	inhibited := time.Duration(0)
	for range 3 * time.Minute / period {
		if r.step()[0] == 0 {
			inhibited += period
		}
		require.Empty(t, r.g.Append(nil))
	}
	fmt.Printf("18 °C of cold addition: the heater is off for %.1f s\n", inhibited.Seconds())
	assert.InDelta(t, 15, inhibited.Seconds(), 5)
	assert.Equal(t, full, r.step())
}

// TestLiftedPotMayCool: with its heater off a pot may cool over a hot plate's reading.
func TestLiftedPotMayCool(t *testing.T) {
	r := enabled(limits)
	seconds := 0.0
	r.spoil = func(s *Sight) {
		s.Pots[0] = PotSight{Melt: good(150 - seconds/4), Plate: good(180 - seconds/10)}
	}
	for seconds < 300 {
		seconds += period.Seconds()
		r.step()
	}
	assert.Empty(t, r.g.Append(nil))
}

func TestAllOffBlocksAndWinsOverThePress(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.AllOff = true }
	assert.Equal(t, off, r.step())
	r.spoil = nil
	assert.Equal(t, off, r.step(), "it stays off")
	assert.Equal(t, full, r.press())
	r.spoil = func(s *Sight) { s.AllOff = true }
	assert.Equal(t, off, r.press(), "both in one cycle: off")
	assert.Equal(t, Blocked, r.g.State())
}

// TestPotTripLeavesTheOthers: one press resets it, and a second one brings the pot
// back, so that a press that only says "I am here" heats nothing.
func TestPotTripLeavesTheOthers(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }
	r.run(time.Minute)
	assert.Equal(t, []float64{0, 1}, r.step())
	assert.True(t, r.g.PotTripped(0))
	assert.False(t, r.g.PotTripped(1))
	r.spoil = nil
	assert.Equal(t, []float64{0, 1}, r.step())
	assert.Equal(t, []float64{0, 1}, r.press())
	assert.False(t, r.g.PotTripped(0))
	r.run(time.Minute)
	assert.Equal(t, []float64{0, 1}, r.step(), "no time brings it back")
	assert.Equal(t, []bool{true, false}, []bool{r.g.PotWaits(0), r.g.PotWaits(1)})
	assert.Equal(t, full, r.press())
	assert.False(t, r.g.PotWaits(0))
}

// TestEachTripOfAPotTakesItsPress: with two of them, of which one goes first, none of
// the presses both resets and heats; nor does one that enables heat for the others.
func TestEachTripOfAPotTakesItsPress(t *testing.T) {
	broken := func(melt, plate bool) func(*Sight) {
		return func(s *Sight) {
			for r, bad := range map[*reading.Temperature]bool{&s.Pots[0].Melt: melt, &s.Pots[0].Plate: plate} {
				if bad {
					r.Fault = reading.Open
				}
			}
		}
	}
	r := enabled(limits)
	r.spoil = broken(true, false)
	r.run(5 * time.Second)
	r.spoil = broken(false, true)
	r.run(5 * time.Second)
	assert.Equal(t, []float64{0, 1}, r.press())
	assert.True(t, r.latched(PlateUnusable))
	r.spoil = func(s *Sight) { s.AllOff = true }
	r.step()
	r.spoil = nil
	assert.Equal(t, []float64{0, 1}, r.press(), "it enables heat and resets the other trip")
	assert.Equal(t, full, r.press())
}

// TestResetLiftsOnlyWhatLostItsCause.
func TestResetLiftsOnlyWhatLostItsCause(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.EStop, s.CutOut = contact(false), contact(false) }
	r.step()
	r.spoil = func(s *Sight) { s.CutOut = contact(false) }
	r.press()
	assert.False(t, r.latched(EStopOpen))
	assert.True(t, r.latched(CutOutOpen))
	assert.Equal(t, Tripped, r.g.State())
	assert.True(t, r.g.PotTripped(1), "a bench trip is every pot's")
}

func TestLimitOnlyLowers(t *testing.T) {
	left := map[float64]float64{ // by what is asked
		0: 0, 0.25: 0.25, 1: 1, -1: 0, math.SmallestNonzeroFloat64: math.SmallestNonzeroFloat64,
		math.Nextafter(1, 2): 1, 1 + dutyExcess: 1, // rounding
		1 + 2*dutyExcess: 0, 1.5: 0, math.MaxFloat64: 0, // a broken loop
	}
	r := enabled(limits)
	for asked, left := range left {
		duty := []float64{asked, asked}
		r.g.Limit(duty)
		assert.Equal(t, []float64{left, left}, duty, asked)
		New(limits, len(duty)).Limit(duty)
		assert.Equal(t, off, duty, "nothing was ever looked at")
	}
	for _, nan := range notNumbers {
		duty := []float64{nan, 0.5}
		r.g.Limit(duty)
		assert.Equal(t, []float64{0, 0.5}, duty)
	}
	long := []float64{1, 1, 1, 1}
	r.g.Limit(long)
	assert.Equal(t, []float64{1, 1, 0, 0}, long, "a pot the guard does not know gets nothing")
}

// TestLimitIsZeroOrWhatWasAsked, for any float there is.
func TestLimitIsZeroOrWhatWasAsked(t *testing.T) {
	r := enabled(limits)
	rapid.Check(t, func(t *rapid.T) {
		asked := rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 1), rapid.Float64Range(1, 1+2*dutyExcess)).Draw(t, "asked")
		duty := []float64{asked, 0.5}
		r.g.Limit(duty)
		want := 0.0
		if asked > 0 && asked <= 1 {
			want = asked
		} else if asked > 1 && asked-1 <= dutyExcess {
			want = 1
		}
		assert.Equal(t, []float64{want, 0.5}, duty)
	})
}

// TestASightWithoutThePot: what is not seen is not heated.
func TestASightWithoutThePot(t *testing.T) {
	for _, pots := range [][]PotSight{nil, {}, make([]PotSight, 1), make([]PotSight, 9)} {
		r := enabled(limits)
		r.spoil = func(s *Sight) { s.Pots = pots }
		assert.Equal(t, off, r.step())
	}
}

func TestWorstFirst(t *testing.T) {
	r := enabled(limits)
	r.begin(func(s *Sight, t float64) {
		s.EStop = contact(t < 15)
		s.Pots[0].Melt.C = min(177, 150+t*3)
		s.Pots[1].Plate.Fault = reading.Open
	})
	r.run(25 * time.Second)
	found := r.g.Append(nil)
	codes, pots := []Code{}, []int{}
	for _, c := range found {
		codes, pots = append(codes, c.Code), append(pots, c.Pot)
	}
	assert.Equal(t, []Code{EStopOpen, PlateUnusable, MeltHigh, StillHot}, codes)
	assert.Equal(t, []int{-1, 1, 0, -1}, pots)
}

func TestBelieves(t *testing.T) {
	r := enabled(limits)
	for _, c := range []struct {
		spoil       func(*Sight)
		melt, plate bool
	}{
		{func(*Sight) {}, true, true},
		{func(s *Sight) { s.Pots[0].Melt.Age = MaxAge + 1 }, false, true},
		{func(s *Sight) { s.Pots[0].Plate = good(399) }, true, false},
		{func(s *Sight) { s.EStop = contact(false) }, true, true},
	} {
		r.spoil = c.spoil
		r.step()
		melt, plate := r.g.Believes(0)
		assert.Equal(t, []bool{c.melt, c.plate}, []bool{melt, plate})
	}
}

// anySight draws a sight that is mostly healthy, so that heat is reached at all.
func anySight(t *rapid.T, cycle int) Sight {
	odd := func(name string) bool { return rapid.IntRange(0, 400).Draw(t, name) == 400 }
	anyContact := func(name string) reading.Contact {
		if !odd(name) {
			return contact(true)
		}
		return reading.Contact{
			Closed: rapid.Bool().Draw(t, "closed"),
			Age:    rapid.SampledFrom([]time.Duration{0, MaxAge, MaxAge + 1, -1, time.Hour}).Draw(t, "age"),
			Fault:  reading.Fault(rapid.IntRange(0, 10).Draw(t, "fault")),
		}
	}
	anyTemperature := func(name string, usual float64) reading.Temperature {
		if !odd(name) {
			return good(usual + 0.25*float64(cycle%3))
		}
		return reading.Temperature{
			C: rapid.OneOf(rapid.Float64Range(-50, 420),
				rapid.SampledFrom([]float64{0, 190, 250, math.NaN(), math.Inf(1), math.Inf(-1)})).Draw(t, "c"),
			Age:   rapid.SampledFrom([]time.Duration{0, MaxAge, MaxAge + 1, -1, time.Hour}).Draw(t, "age"),
			Fault: reading.Fault(rapid.IntRange(0, 10).Draw(t, "fault")),
		}
	}
	s := Sight{
		Elapsed: period, First: cycle == 0, Period: period,
		EStop: anyContact("e-stop"), CutOut: anyContact("cut-out"), Fan: anyContact("fan"), Link: anyContact("link"),
		AllOff: odd("all off"),
	}
	if odd("elapsed") {
		s.Elapsed = rapid.SampledFrom([]time.Duration{0, -1, 3 * period, 3*period + 1, time.Minute}).Draw(t, "elapsed")
	}
	for range 2 {
		s.Pots = append(s.Pots, PotSight{
			Melt: anyTemperature("melt", 150), Plate: anyTemperature("plate", 180),
			Duty: rapid.Float64Range(0, 1).Draw(t, "duty"),
		})
	}
	return s
}

// TestHeatIsEarnedEveryCycle is the first rule of safety: no sequence of sights
// and presses reaches heat with anything in the way. It says so without the
// guard's own words for what it found.
func TestHeatIsEarnedEveryCycle(t *testing.T) {
	heated, latchedEver := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l := limits
		l.HeatersProven = rapid.IntRange(0, 9).Draw(t, "proven") > 0
		l.EStop = rapid.IntRange(0, 9).Draw(t, "e-stop wired") > 0
		g := New(l, 2)
		var record []sighting
		var before []Condition
		button := hand{t: t}
		pressed := false // since the last thing that blocks
		tripped, resets := [2]bool{}, [2]bool{}
		for cycle := range rapid.IntRange(1, 300).Draw(t, "cycles") {
			s := anySight(t, cycle)
			s.Enable = button.next()
			g.Look(&s)
			duty := []float64{1, 1}
			g.Limit(duty)
			missed := cycle > 0 && (s.Elapsed <= 0 || s.Elapsed > 3*s.Period)
			latched, fresh := map[int]bool{}, false
			found := g.AppendFolded(g.Append(nil))
			for _, c := range found {
				if c.Latched {
					latchedEver++
					latched[c.Pot] = true
					fresh = fresh || !slices.ContainsFunc(before, func(b Condition) bool { return b.Code == c.Code && b.Pot == c.Pot && b.Latched })
					if c.Code.Rule().Action == AllOff {
						latched[-1] = true
					}
				}
			}
			before = found
			record = append(record, sighting{s.Enable, s.Elapsed, missed, fresh})
			press := pressEnds(record)
			pressed = (pressed || press) && !s.AllOff
			for i := range duty {
				// A press after the one that has reset its trip.
				resets[i] = tripped[i] && !latched[i] || resets[i] && !press
				tripped[i] = latched[i]
				if duty[i] == 0 {
					continue
				}
				heated++
				refuse := func(why string) { t.Fatalf("cycle %d heats pot %d with %s: %+v", cycle, i, why, s) }
				if !pressed {
					refuse("nobody having pressed the button")
				}
				if latched[i] || latched[-1] {
					refuse("a latched trip")
				}
				if resets[i] {
					refuse("the press that has reset its trip")
				}
				if !l.HeatersProven {
					refuse("unproven heaters")
				}
				if !s.First && (s.Elapsed <= 0 || s.Elapsed > 3*s.Period) {
					refuse("a missed cycle")
				}
				for _, r := range []reading.Temperature{s.Pots[i].Melt, s.Pots[i].Plate} {
					if r.Fault != reading.None || r.Age > time.Second || r.Age < 0 || !(r.C >= -20 && r.C <= 400) {
						refuse("a bad reading")
					}
				}
				for p := range s.Pots {
					melt, plate := s.Pots[p].Melt, s.Pots[p].Plate
					if melt.Fault == reading.None && melt.C >= l.MeltTripC || plate.Fault == reading.None && plate.C >= l.PlateTripC {
						refuse("a pot over its limits")
					}
				}
				for _, c := range []struct {
					wired   bool
					contact reading.Contact
				}{{l.EStop, s.EStop}, {l.CutOut, s.CutOut}, {l.Fan, s.Fan}, {true, s.Link}} {
					if c.wired && (c.contact.Fault != reading.None || !c.contact.Closed || c.contact.Age > time.Second || c.contact.Age < 0) {
						refuse("an interlock that is not known to be closed")
					}
				}
			}
		}
	})
	fmt.Printf("heat was earned in %d pot-cycles, %d latched findings were seen\n", heated, latchedEver)
	assert.Positive(t, heated, "the sights never reached heat: this shows nothing")
	assert.Positive(t, latchedEver, "nothing ever latched: this shows nothing")
}

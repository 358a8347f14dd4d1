package guard

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// rows makes every row of the table happen, on the first pot where it is about a
// pot. The times are the promise; the table in table.go has to keep it.
var rows = []struct {
	code  Code
	rule  string // of safety, that the row serves
	cause func(*Sight)
	// within is how long the cause lasts, from the first cycle that shows it,
	// until it latches.
	within time.Duration
	// blocked: it latches with heat blocked as well.
	blocked bool
}{
	{MissedCycle, "a zero time step is a failure", func(s *Sight) { s.Elapsed = 0 }, 1500 * time.Millisecond, false},
	{EStopOpen, "an open interlock ends with the heat off", func(s *Sight) { s.EStop = contact(false) }, 0, false},
	{CutOutOpen, "an open interlock ends with the heat off", func(s *Sight) { s.CutOut = contact(false) }, 0, false},
	{FanOff, "an open interlock ends with the heat off", func(s *Sight) { s.Fan = contact(false) }, time.Second, false},
	{InterlockUnknown, "unknown never heats, and a replug turns nothing on", func(s *Sight) { s.EStop.Age = MaxAge + 1 }, 500 * time.Millisecond, false},
	{HeaterUnheard, "unknown never heats, and a replug turns nothing on", func(s *Sight) { s.Link.Age = MaxAge + 1 }, 0, false},
	{HeaterForgot, "the power coming back turns nothing on", func(s *Sight) { s.Link.Closed = false }, 0, false},
	{MeltOverTemperature, "inside limits", func(s *Sight) { s.Pots[0].Melt = good(190) }, 500 * time.Millisecond, true},
	{PlateOverTemperature, "inside limits", func(s *Sight) { s.Pots[0].Plate = good(250) }, 500 * time.Millisecond, true},
	{PotUnseen, "unknown is a state of its own: a welded relay heats on unseen", blind(0), 3 * time.Second, false},
	{MeltUnusable, "a missing reading ends with the heat off", func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, 3 * time.Second, false},
	{PlateUnusable, "fresh: younger than a second", func(s *Sight) { s.Pots[0].Plate.Age = MaxAge + 1 }, 3 * time.Second, false},
	{MeltImplausible, "plausible", func(s *Sight) { s.Pots[0].Melt = good(-25) }, time.Second, false},
	{PlateImplausible, "plausible", func(s *Sight) { s.Pots[0].Plate = good(-25) }, time.Second, false},
	{MeltFrozen, "a dead sensor can read a good number", func(s *Sight) { s.Pots[0].Melt, s.Pots[0].Plate = good(150), good(185+s.Pots[0].Plate.C-180) }, time.Minute, false},
	{PlateFrozen, "a dead sensor can read a good number", func(s *Sight) { s.Pots[0].Plate = good(180) }, time.Minute, false},
}

// blind takes both probes of a pot away.
func blind(pot int) func(*Sight) {
	return func(s *Sight) { s.Pots[pot].Melt.Fault, s.Pots[pot].Plate.Fault = reading.Open, reading.Open }
}

// cyclesFor is how many cycles a cause takes to latch: the first one counts.
func cyclesFor(d time.Duration) int { return max(1, int((d+period-1)/period)) }

func TestEveryRowIsMadeToHappen(t *testing.T) {
	made := map[Code]bool{HeaterUnproven: true, MeltHigh: true, HistoryUnwritten: true, ProbesDisagree: true, HeaterWeak: true, StillHot: true} // by tests of their own
	for _, row := range rows {
		made[row.code] = true
	}
	for _, h := range happenings {
		made[h.code] = true
	}
	for _, c := range Codes() {
		assert.True(t, made[c], "no test makes %s happen", c)
	}
}

func TestHeatIsOffFromTheFirstCycle(t *testing.T) {
	for _, row := range rows {
		t.Run(row.code.String(), func(t *testing.T) {
			r := enabled(limits)
			require.Equal(t, []float64{1, 1}, r.step(), "healthy before")
			r.spoil = row.cause
			cycles := 0
			for !r.condition(row.code).Active {
				require.Less(t, cycles, 700, "it never happened")
				r.step()
				cycles++
			}
			duty := []float64{1, 1}
			r.g.Limit(duty)
			if row.code.Rule().Action == AllOff {
				assert.Equal(t, []float64{0, 0}, duty, row.rule)
				assert.False(t, r.g.MayHeat())
			} else {
				assert.Equal(t, []float64{0, 1}, duty, row.rule+": the other pot goes on")
				assert.True(t, r.g.MayHeat())
			}
		})
	}
}

func TestLatchesInItsTime(t *testing.T) {
	for _, row := range rows {
		t.Run(row.code.String(), func(t *testing.T) {
			r := enabled(limits)
			r.spoil = row.cause
			want := cyclesFor(row.within)
			for range want - 1 {
				r.step()
				require.False(t, r.latched(row.code), "too early")
			}
			r.step()
			found := r.condition(row.code)
			assert.True(t, found.Latched, "not after %v", row.within)
			assert.Equal(t, Trip, found.Severity)
			fmt.Printf("%-24s latches in cycle %3d, %6.1f s after the first that shows it\n", row.code, want, (time.Duration(want-1) * period).Seconds())
		})
	}
}

// TestDoesNotLatchBefore: the cause goes away one cycle early; the heat comes
// back by itself, since nobody has to find out anything.
func TestDoesNotLatchBefore(t *testing.T) {
	for _, row := range rows {
		if cyclesFor(row.within) == 1 {
			continue
		}
		t.Run(row.code.String(), func(t *testing.T) {
			r := enabled(limits)
			r.spoil = row.cause
			for range cyclesFor(row.within) - 1 {
				r.step()
			}
			r.spoil = func(s *Sight) { s.Pots[0].Melt.C++; s.Pots[0].Plate.C++ } // a frozen one moves
			r.step()
			assert.True(t, r.g.PotMayHeat(1))
			r.run(3 * time.Second) // what else a reading's return looks like, as a rise or a fall
			assert.Equal(t, []float64{1, 1}, r.step())
			assert.Equal(t, Enabled, r.g.State())
		})
	}
}

func TestLatchedUntilResetAtTheBenchWithTheCauseGone(t *testing.T) {
	for _, row := range rows {
		t.Run(row.code.String(), func(t *testing.T) {
			r := enabled(limits)
			r.spoil = row.cause
			for range cyclesFor(row.within) {
				r.step()
			}
			require.True(t, r.latched(row.code))

			// A probe's cause needs the heater on to show; a trip takes that away. What
			// must stay is the latch, whatever is pressed while the cause is there.
			if r.condition(row.code).Active {
				r.press()
				assert.True(t, r.latched(row.code), "a press does not reset what is still there")
				r.press()
				assert.Zero(t, r.step()[0], "nor does a second one")
			}

			r.spoil = func(s *Sight) { s.Pots[0].Duty, s.Pots[1].Duty = 0, 0 }
			r.run(50 * time.Second)
			assert.True(t, r.latched(row.code), "it stays when the cause goes")
			assert.Zero(t, r.step()[0])

			bench := r.g.State() == Tripped
			duty := r.press()
			assert.False(t, r.latched(row.code), "a press with the cause gone resets it")
			if bench {
				assert.Equal(t, off, duty, "the first press after a bench trip only resets")
				assert.Equal(t, Blocked, r.g.State())
			} else {
				assert.Equal(t, []float64{0, 1}, duty, "the first press after a pot's trip only resets")
			}
			assert.Equal(t, full, r.press())
			assert.Equal(t, Enabled, r.g.State())
		})
	}
}

// TestWithHeatBlocked: with nobody heating, only what shows a runaway latches.
func TestWithHeatBlocked(t *testing.T) {
	for _, row := range rows {
		t.Run(row.code.String(), func(t *testing.T) {
			r := newRig(limits)
			r.run(time.Second)
			r.spoil = row.cause
			for range 10 * cyclesFor(row.within) {
				assert.Equal(t, []float64{0, 0}, r.step())
			}
			want := Blocked
			if row.blocked {
				want = Tripped
			}
			assert.Equal(t, want, r.g.State())
		})
	}
}

// TestFlappingDoesNotPostpone: a cause that is there every other cycle still
// trips, a little later than one that stays.
func TestFlappingDoesNotPostpone(t *testing.T) {
	for _, row := range rows {
		if row.within == 0 || row.code == MeltFrozen || row.code == PlateFrozen {
			continue // these latch at once, or are about a reading that does not change
		}
		t.Run(row.code.String(), func(t *testing.T) {
			r := enabled(limits)
			cycles := 0
			for ; !r.latched(row.code); cycles++ {
				r.spoil = nil
				if cycles%2 == 0 {
					r.spoil = row.cause
				}
				r.step()
				require.Less(t, cycles, 200)
			}
			// Fills by one and drains by a quarter: 8/3 of the time at most, and a cycle or two.
			assert.LessOrEqual(t, cycles, cyclesFor(row.within)*8/3+2)
			fmt.Printf("%-24s flapping every other cycle: latches in cycle %d instead of %d\n", row.code, cycles, cyclesFor(row.within))
		})
	}
}

// TestTheHourBeforeDoesNotCount: a probe that was unplugged for an hour while
// nobody heated must not make one bad frame an hour later trip.
func TestTheHourBeforeDoesNotCount(t *testing.T) {
	for _, row := range rows {
		if row.blocked || row.within < time.Second || row.within >= time.Minute {
			continue
		}
		t.Run(row.code.String(), func(t *testing.T) {
			r := newRig(limits)
			r.run(time.Second)
			r.spoil = row.cause
			r.run(time.Hour)
			r.spoil = nil
			r.run(4 * row.within)
			r.press()
			require.Equal(t, []float64{1, 1}, r.step())
			r.spoil = row.cause
			r.step()
			assert.False(t, r.latched(row.code))
		})
	}
}

// TestMeltHigh is the one warning: told after two seconds, with a deadband, and
// the heat is left alone.
func TestMeltHigh(t *testing.T) {
	r := enabled(limits)
	at := func(c float64) func(*Sight) {
		return func(s *Sight) { s.Pots[0].Melt = good(c + s.Pots[0].Melt.C - 150) }
	}
	for c := 150.0; c < 176.5; c += 0.01 { // no faster than a melt is
		r.spoil = at(c)
		r.step()
	}
	r.spoil = at(177)
	for range cyclesFor(2*time.Second) - 1 {
		assert.Equal(t, []float64{1, 1}, r.step())
		require.False(t, r.condition(MeltHigh).Active, "too early")
	}
	r.step()
	assert.Equal(t, Condition{Code: MeltHigh, Pot: 0, Severity: Warning, Active: true}, r.condition(MeltHigh))
	r.spoil = at(175) // within the deadband of 2 °C
	r.run(time.Minute)
	assert.True(t, r.condition(MeltHigh).Active)
	r.spoil = at(174)
	r.step()
	assert.False(t, r.condition(MeltHigh).Active, "it returns by itself")
}

// TestUnprovenHeaters: without the proof on record nothing is ever enabled.
func TestUnprovenHeaters(t *testing.T) {
	l := limits
	l.HeatersProven = false
	r := enabled(l)
	assert.Equal(t, []float64{0, 0}, r.press())
	assert.Equal(t, []float64{0, 0}, r.press())
	assert.Equal(t, Blocked, r.g.State())
	assert.Equal(t, Condition{Code: HeaterUnproven, Pot: -1, Severity: Note, Active: true}, r.condition(HeaterUnproven))
}

// TestEveryRowCanBeActedOn: a stable name, a title, one instruction; and a row
// that takes heat away says so.
func TestEveryRowCanBeActedOn(t *testing.T) {
	names := map[string]bool{}
	for _, c := range Codes() {
		r := c.Rule()
		assert.Regexp(t, `^[a-z]+(_[a-z]+)*$`, c.String())
		assert.False(t, names[c.String()], "twice: %s", c)
		names[c.String()] = true
		assert.NotEmpty(t, c.Title())
		assert.True(t, strings.HasSuffix(c.Instruction(), "."), c)
		assert.True(t, strings.HasSuffix(r.Detection, "."), "%s: how is it found?", c)
		assert.True(t, strings.HasSuffix(r.Cause, "."), "%s: what is behind it?", c)
		switch r.Action {
		case AllOff:
			assert.Regexp(t, `^(Heaters are told zero[.;] |HEAT MAY STILL BE ON\. |PRESS THE EMERGENCY STOP|Heat stays off: )`, c.Instruction())
		case HeaterOff:
			assert.Regexp(t, `^This heater is told zero\. `, c.Instruction())
		case Inhibit:
			assert.Regexp(t, `^(Its heater is told zero|Face shield and gauntlets on\.)`, c.Instruction())
			assert.Equal(t, ByItself, r.Clears, "%s: heat is held off only while it lasts", c)
		}
		assert.Equal(t, r.Severity == Trip, r.Clears == AtTheBench, "%s: trips latch, and nothing else does", c)
		assert.False(t, r.Severity == Trip && r.Quiet != 0, "%s: no phase quiets a trip", c)
		if r.Severity == Trip && r.Action == HeaterOff {
			assert.True(t, r.onlyWithHeat, "%s: a probe that is unplugged while nobody heats is no trip", c)
		}
	}
	assert.Equal(t, "unknown", Code(250).String())
	assert.Equal(t, "trip", Trip.String())
}

// longestFirstSentence is what can be read from across a bench where it is shown
// large (estimate: two lines of a page).
const longestFirstSentence = 90

// TestTheFirstSentenceIsShort: it is shown large, so it says the act or the state and
// nothing of why; and nothing claims that heat is off, which nobody knows.
func TestTheFirstSentenceIsShort(t *testing.T) {
	for _, c := range Codes() {
		first, _, _ := strings.Cut(strings.ReplaceAll(c.Instruction(), "? ", ". "), ". ")
		assert.LessOrEqual(t, utf8.RuneCountInString(first), longestFirstSentence, "%s: %s", c, first)
		assert.NotContains(t, first, "because", c)
		assert.NotRegexp(t, `[Hh]eat(ers?)? (is|are) off`, c.Instruction(), c)
	}
}

// TestWhatMayHeatOnBeginsWithTheEmergencyStop: where heat may flow though zero is told,
// the stop comes before any search for the cause.
func TestWhatMayHeatOnBeginsWithTheEmergencyStop(t *testing.T) {
	for _, c := range []Code{HeaterUnheard, RiseWhileOff, PlateOverTemperature, PotUnseen, ProbesCrossed, MeltForecast, MeltHigh} {
		text := strings.ToLower(c.Instruction())
		stop := strings.Index(text, "press the emergency stop")
		require.GreaterOrEqual(t, stop, 0, c)
		for _, later := range []string{"check", "reset", "mains", "changed", "put the probes"} {
			if at := strings.Index(text, later); at >= 0 {
				assert.Less(t, stop, at, "%s: the stop comes before %q", c, later)
			}
		}
	}
}

// TestUnwrittenHistoryIsToldAndHeatsOn: it warns after two seconds, and takes
// nothing away.
func TestUnwrittenHistoryIsToldAndHeatsOn(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.HistoryFailing = true }
	for range 20 {
		require.Equal(t, []float64{1, 1}, r.step())
	}
	found := r.g.Append(nil)
	require.Len(t, found, 1)
	assert.Equal(t, HistoryUnwritten, found[0].Code)
	r.spoil = nil
	r.step()
	assert.Empty(t, r.g.Append(nil))
}

// TestAPotNobodySees: its own heater is off in the first cycle; after three
// seconds the contactor opens, because its relay may be welded.
func TestAPotNobodySees(t *testing.T) {
	r := enabled(limits)
	r.spoil = blind(0)
	for range cyclesFor(3*time.Second) - 1 {
		require.Equal(t, []float64{0, 1}, r.step())
		require.True(t, r.g.MayHeat(), "the contactor stays for a lost frame or two")
	}
	assert.Equal(t, off, r.step())
	assert.False(t, r.g.MayHeat())
	assert.Equal(t, Tripped, r.g.State())
	assert.Equal(t, Condition{Code: PotUnseen, Pot: 0, Severity: Trip, Active: true, Latched: true}, r.condition(PotUnseen))
}

// TestEveryWayNotToSeeAPot: whatever is wrong with the one probe and with the
// other; one that is right is enough for the others to go on.
func TestEveryWayNotToSeeAPot(t *testing.T) {
	wrong := map[string]reading.Temperature{
		"open": {Fault: reading.Open}, "too old": {C: 150, Fault: reading.None, Age: MaxAge + 1},
		"NaN": good(math.NaN()), "dead zero": good(0), "below plausible": good(-25),
	}
	for melt, m := range wrong {
		for plate, p := range wrong {
			r := enabled(limits)
			r.spoil = func(s *Sight) { s.Pots[1].Melt, s.Pots[1].Plate = m, p }
			for range cyclesFor(3 * time.Second) {
				r.step()
			}
			assert.True(t, r.latched(PotUnseen), "melt %s, plate %s", melt, plate)
		}
		r := enabled(limits)
		r.spoil = func(s *Sight) { s.Pots[1].Melt = m }
		r.run(time.Minute)
		assert.Equal(t, []float64{1, 0}, r.step(), "melt %s, the plate seen", melt)
		r = enabled(limits)
		r.spoil = func(s *Sight) { s.Pots[0].Melt, s.Pots[1].Plate = m, m }
		r.run(time.Minute)
		assert.Equal(t, off, r.step(), "one probe of each pot")
		assert.True(t, r.g.MayHeat(), "one probe of each pot: seen, and no trip of the bench")
	}
}

// TestAFrozenProbeSeesNothing: what stands still says nothing of its pot either.
func TestAFrozenProbeSeesNothing(t *testing.T) {
	r := enabled(limits)
	r.spoil = func(s *Sight) { s.Pots[0].Plate = good(180.25) }
	r.run(61 * time.Second)
	require.True(t, r.condition(PlateFrozen).Active)
	assert.True(t, r.g.MayHeat())
	r.spoil = func(s *Sight) { s.Pots[0].Plate, s.Pots[0].Melt.Fault = good(180.25), reading.Open }
	r.run(3 * time.Second)
	assert.True(t, r.latched(PotUnseen))
}

// TestAPotNobodySeesIsNotEnabled; and once it has tripped, a gap in the cause lets
// no press reset it.
func TestAPotNobodySeesIsNotEnabled(t *testing.T) {
	r := newRig(limits)
	r.spoil = blind(0)
	r.run(5 * time.Second)
	assert.Equal(t, off, r.press())
	assert.Equal(t, Blocked, r.g.State())
	assert.True(t, r.condition(PotUnseen).Active, "and it says why")

	r = enabled(limits)
	r.spoil = blind(0)
	r.run(5 * time.Second)
	r.spoil = nil
	r.hold()
	r.spoil = blind(0)
	r.step()
	assert.True(t, r.latched(PotUnseen), "its cause is back in the very cycle of the press")
}

// TestWhatIsOverIsNotSaid: a module that confirms zero again once stood for minutes under
// "heat may still be on".
func TestWhatIsOverIsNotSaid(t *testing.T) {
	c := Condition{Code: HeaterUnheard, Active: true, Latched: true}
	assert.Regexp(t, `^HEAT MAY STILL BE ON\. `, c.Instruction())
	c.Active = false
	assert.Regexp(t, `^Heaters are told zero, and confirm it again\. .* reset\.$`, c.Instruction())
	assert.Equal(t, EStopOpen.Instruction(), Condition{Code: EStopOpen, Latched: true}.Instruction(), "most say the same")
}

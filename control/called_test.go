package control_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control"
	"meltwarden/control/call"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// TestAWorseTripInPlaceOfAnotherSounds: one probe of a pot, silenced, and then the
// other one too: still one finding, and a worse one.
func TestAWorseTripInPlaceOfAnotherSounds(t *testing.T) {
	r := readyRig()
	r.script = func(in *control.Input) { in.Pots[0].Melt.Fault = reading.Open }
	r.run(5 * time.Second)
	require.True(t, latchedIn(&r.f, guard.MeltUnusable))
	r.step(control.Command{Kind: control.Silence})
	r.run(5 * time.Second)
	require.True(t, r.f.Call.Silenced)
	before := r.f.Call.Seq
	r.script = func(in *control.Input) {
		in.Pots[0].Melt.Fault, in.Pots[0].Plate.Fault = reading.Open, reading.Open
	}
	for range 4 * time.Second / period {
		if r.step(); latchedIn(&r.f, guard.PotUnseen) {
			break
		}
	}
	assert.False(t, latchedIn(&r.f, guard.MeltUnusable), "one finding took the other's place")
	assert.Equal(t, control.HeatTripped, r.f.Heat)
	assert.False(t, r.f.Call.Silenced)
	assert.Greater(t, r.f.Call.Seq, before)
}

// TestSetAsideIsNotCalled: a warning that a person at the bench has set aside is off
// lamp and buzzer for that long, and no other is (ISA-18.2: a shelved alarm does not
// annunciate). No trip can be, nor a warning that comes before somebody is hurt.
func TestSetAsideIsNotCalled(t *testing.T) {
	aside := func(c guard.Code, pot int, d time.Duration) control.Command {
		return control.Command{Kind: control.SetAside, Code: c, Pot: pot, For: d}
	}
	noisy := func(in *control.Input) { in.HistoryFailing = true }
	r := readyRig()
	r.script = noisy
	r.run(5 * time.Second)
	require.Equal(t, call.Act, r.f.Call.Sound)
	away := aside(guard.HistoryUnwritten, -1, time.Minute)
	away.Afar = true
	assert.Equal(t, call.Act, r.step(away).Call.Sound, "not from afar")
	assert.Equal(t, call.Act, r.step(aside(guard.HistoryUnwritten, 0, time.Minute)).Call.Sound, "not another's")
	assert.NotEqual(t, call.Act, r.step(aside(guard.HistoryUnwritten, -1, time.Minute)).Call.Sound)
	assert.NotEqual(t, call.Act, r.run(59*time.Second).Call.Sound)
	seq := r.f.Call.Seq
	require.Equal(t, call.Act, r.run(2*time.Second).Call.Sound, "its time is over")
	assert.Greater(t, r.f.Call.Seq, seq, "a new call")
	r.step(aside(guard.HistoryUnwritten, -1, 24*time.Hour))
	r.evening(control.MostSetAside+time.Second, nil)
	assert.Equal(t, call.Act, r.f.Call.Sound, "half an hour at most")
	for _, none := range []time.Duration{0, -time.Minute} {
		assert.Equal(t, call.Act, r.step(aside(guard.HistoryUnwritten, -1, none)).Call.Sound, "no time is no time")
	}
	require.Zero(t, r.f.Aside)
	out := control.Command{Kind: control.TakeOut, Code: guard.HistoryUnwritten, Pot: -1}
	r.step(out)
	r.evening(time.Hour, nil)
	assert.NotEqual(t, call.Act, r.f.Call.Sound, "out of service")
	assert.Equal(t, 1, r.f.Aside)
	r.step(control.Command{Kind: control.AllOff})
	require.NotEqual(t, call.Act, r.run(time.Second).Call.Sound)
	assert.Equal(t, call.Act, r.press().Call.Sound, "a new session begins with everything in service")
	assert.Zero(t, r.f.Aside)
	r.step(out)
	r.in.Elapsed, r.in.Commands = control.MostOutOfService, nil
	r.bench.Step(&r.in, &r.f)
	assert.Zero(t, r.f.Aside, "after twelve hours")
	r = readyRig()
	r.script = noisy
	r.run(5 * time.Second)
	r.step(out)
	r.step(control.Command{Kind: control.TakeUp, Code: guard.HistoryUnwritten, Pot: -1})
	assert.Equal(t, call.Act, r.f.Call.Sound, "taken up")

	for _, c := range guard.Codes() {
		for pot := -2; pot < 4; pot++ {
			if !c.MaySetAside() {
				r.step(aside(c, pot, time.Minute))
			}
			if !c.MayTakeOut() {
				r.step(control.Command{Kind: control.TakeOut, Code: c, Pot: pot})
			}
		}
		assert.True(t, !c.MaySetAside() || c.Rule().Severity < guard.Trip)
	}
	for _, pot := range []int{-2, 3, 1 << 62, math.MaxInt, math.MinInt} { // none there is
		r.step(aside(guard.MeltNoisy, pot, time.Minute), aside(255, 2, time.Minute))
	}
	assert.Zero(t, r.f.Aside)
	r.script = func(in *control.Input) { in.Pots[2].Melt.C += 9 }
	assert.Equal(t, call.Act, r.run(5*time.Second).Call.Sound, "melt_high is needed")
	r.script = func(in *control.Input) { in.Contacts.EStop.Closed = false }
	assert.Equal(t, call.Danger, r.run(5*time.Second).Call.Sound)
}

// mishaps spoil inputs, so that findings come, go, and hide one another.
var mishaps = []func(*control.Input){
	func(*control.Input) {},
	func(in *control.Input) { in.Pots[0].Melt.Fault = reading.Open },
	func(in *control.Input) { in.Pots[0].Plate.Fault = reading.Open },
	func(in *control.Input) { in.Pots[0].Melt.Fault, in.Pots[0].Plate.Fault = reading.Open, reading.Open },
	func(in *control.Input) { in.Pots[1].Melt.Fault = reading.Open },
	func(in *control.Input) { in.Pots[2].Melt.Age, in.Pots[2].Plate.Age = time.Minute, time.Minute },
	func(in *control.Input) { in.Pots[2].Melt.C += 15 },
	func(in *control.Input) { in.Pots[0].Plate.C = 260 },
	func(in *control.Input) { in.Contacts.EStop.Closed = false },
	func(in *control.Input) { in.Contacts.Fan.Closed = false },
	func(in *control.Input) { in.Contacts.Link.Age = time.Minute },
	func(in *control.Input) { in.HistoryFailing = true },
}

// heard is what a person at the bench is to be called for, by a frame.
type heard struct {
	trips, warnings map[finding]bool
	tripped         bool
}

type finding struct {
	code guard.Code
	pot  int
}

// hearing tells it of a frame. What would trip and can not latch, because the bench has
// tripped already, counts as well: "heat may still be on" is one of these.
func hearing(f *control.Frame) heard {
	h := heard{map[finding]bool{}, map[finding]bool{}, f.Heat == control.HeatTripped}
	for _, c := range f.Conditions {
		switch {
		case c.Latched, h.tripped && c.Severity == guard.Trip:
			h.trips[finding{c.Code, c.Pot}] = true
		case c.Severity == guard.Warning:
			h.warnings[finding{c.Code, c.Pot}] = true
		}
	}
	return h
}

// others counts what is in now and was not before.
func others(now, before map[finding]bool) (n int) {
	for k := range now {
		if !before[k] {
			n++
		}
	}
	return n
}

// TestNothingNewIsSilent: whatever happens, in any order, and however often silence is
// asked for, a finding that was not listed in the cycle before is a new call that nobody
// has silenced; so is the trip of the whole bench.
func TestNothingNewIsSilent(t *testing.T) {
	calls, replaced := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r := newRig(demoSettings(), 165)
		r.step(all(control.ArrivedCured, 3)...)
		r.press()
		before, last := hearing(&r.f), r.f.Call
		r.seen = func(f *control.Frame) {
			now := hearing(f)
			fresh := others(now.trips, before.trips)
			sound := call.Danger
			if now.tripped && !before.tripped {
				fresh++
			} else if len(now.trips) == 0 && !now.tripped {
				fresh, sound = others(now.warnings, before.warnings), call.Act
			}
			if fresh > 0 {
				calls++
				if len(now.trips) == len(before.trips) && len(now.warnings) == len(before.warnings) {
					replaced++
				}
				require.Equal(t, sound, f.Call.Sound, "%+v", f.Conditions)
				require.Equal(t, last.Seq+1, f.Call.Seq, "%+v", f.Conditions)
				require.False(t, f.Call.Silenced, "%+v", f.Conditions)
			}
			if fresh == 0 && f.Call.Sound == last.Sound && f.Call.Sound >= call.Act {
				require.Equal(t, last.Seq, f.Call.Seq, "nothing is new")
			}
			require.True(t, !now.tripped || f.Call.Sound == call.Danger, "a tripped bench calls")
			before, last = now, f.Call
		}
		for range rapid.IntRange(1, 12).Draw(t, "mishaps") {
			one, other := rapid.SampledFrom(mishaps).Draw(t, "one"), rapid.SampledFrom(mishaps).Draw(t, "other")
			r.script = func(in *control.Input) { one(in); other(in) }
			if rapid.IntRange(0, 3).Draw(t, "press") == 0 {
				r.press()
			}
			for range rapid.IntRange(1, 40).Draw(t, "cycles") {
				if rapid.IntRange(0, 2).Draw(t, "silence") == 0 {
					r.step(control.Command{Kind: control.Silence})
				} else {
					r.step()
				}
			}
		}
	})
	fmt.Printf("%d times something new was called, %d of them in place of something else\n", calls, replaced)
	assert.Positive(t, replaced, "nothing ever took another's place: this shows nothing")
}

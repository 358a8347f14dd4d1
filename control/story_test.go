package control_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

// older makes a bench's answers those of a while ago: the line keeps the last
// good ones and they age.
func older(in, last *control.Input, by time.Duration) {
	copy(in.Pots, last.Pots)
	in.Contacts = last.Contacts
	for i := range in.Pots {
		in.Pots[i].Melt.Age += by
		in.Pots[i].Plate.Age += by
	}
	for _, c := range []*reading.Contact{&in.Contacts.EStop, &in.Contacts.CutOut, &in.Contacts.Fan, &in.Contacts.Pedal, &in.Contacts.Enable, &in.Contacts.Link} {
		c.Age += by
	}
}

// stories happen to a bench that holds three pots ready to pour. since is how
// long the trouble has lasted in the cycle at hand.
var stories = []struct {
	name   string
	script func(in, last *control.Input, since time.Duration)
	all    bool          // the whole bench goes off, not the first pot alone
	within time.Duration // from the trouble to the heat off
	code   guard.Code    // what latches, sooner or later
	rule   string
}{
	{
		"the e-stop is pressed",
		func(in, _ *control.Input, _ time.Duration) { in.Contacts.EStop = contact(false) },
		true, period, guard.EStopOpen, "an open interlock ends with the heat off within two seconds",
	},
	{
		"the independent cut-out opens",
		func(in, _ *control.Input, _ time.Duration) { in.Contacts.CutOut = contact(false) },
		true, period, guard.CutOutOpen, "an open interlock ends with the heat off within two seconds",
	},
	{
		"the fan stops",
		func(in, _ *control.Input, _ time.Duration) { in.Contacts.Fan = contact(false) },
		true, period, guard.FanOff, "an open interlock ends with the heat off within two seconds",
	},
	{
		"the heaters' module stops answering",
		func(in, _ *control.Input, since time.Duration) { in.Contacts.Link.Age += since },
		true, 2 * time.Second, guard.HeaterUnheard, "a dead line ends with the heat off within two seconds",
	},
	{
		"the heaters' module loses its supply for a moment",
		func(in, _ *control.Input, _ time.Duration) { in.Contacts.Link.Closed = false },
		true, period, guard.HeaterForgot, "the power coming back turns no heat on",
	},
	{
		"the line dies",
		func(in, last *control.Input, since time.Duration) { older(in, last, since) },
		true, 2 * time.Second, guard.HeaterUnheard, "a dead line ends with the heat off within two seconds",
	},
	{
		"the thermocouple module alone dies",
		func(in, last *control.Input, since time.Duration) {
			contacts := in.Contacts
			older(in, last, since)
			in.Contacts = contacts
		},
		true, 2 * time.Second, guard.PotUnseen, "a missing reading ends with the heat off within two seconds",
	},
	{
		"a melt probe breaks",
		func(in, _ *control.Input, _ time.Duration) { in.Pots[0].Melt.Fault = reading.Open },
		false, period, guard.MeltUnusable, "a missing reading ends with the heat off within two seconds",
	},
	{
		"a plate probe reads NaN",
		func(in, _ *control.Input, _ time.Duration) { in.Pots[0].Plate.C = math.NaN() },
		false, period, guard.PlateUnusable, "NaN: heat off, and say so",
	},
	{
		"both probes of a pot are torn off",
		func(in, _ *control.Input, _ time.Duration) {
			in.Pots[0].Melt.Fault, in.Pots[0].Plate.Fault = reading.Open, reading.Open
		},
		true, 3 * time.Second, guard.PotUnseen, "a relay that is stuck is ended while nobody sees its pot",
	},
	{
		"a dead amplifier reads zero",
		func(in, _ *control.Input, _ time.Duration) { in.Pots[0].Melt.C = 0 },
		false, period, guard.MeltImplausible, "an impossible reading ends with the heat off",
	},
	{
		// A bare bead in still air: about 50 s (estimate).
		"a melt probe falls out and hangs in the air",
		func(in, last *control.Input, since time.Duration) {
			noise := in.Pots[0].Melt.C - math.Round(in.Pots[0].Melt.C)
			in.Pots[0].Melt.C = 25 + (last.Pots[0].Melt.C-25)*math.Exp(-since.Seconds()/50) + noise
		},
		false, 20 * time.Second, guard.MeltNotFollowing, "no full power for a reading that does not follow",
	},
	{
		"the daemon is held up, every cycle late",
		func(in, _ *control.Input, _ time.Duration) { in.Elapsed = 3*period + time.Millisecond },
		true, 3*period + time.Millisecond, guard.MissedCycle, "a missed cycle ends with the heat off",
	},
}

// TestStories tells what goes wrong, when the heat is off, what latches, and how
// far the melt itself still went.
func TestStories(t *testing.T) {
	for _, story := range stories {
		t.Run(story.name, func(t *testing.T) {
			r := readyRig()
			require.True(t, r.f.Ready)
			last := r.in
			last.Pots = append([]control.PotReadings(nil), r.in.Pots...)
			started := r.f.Time
			before := r.script
			r.script = func(in *control.Input) { story.script(in, &last, r.f.Time+in.Elapsed-started) }

			held := r.bodies[0].melt
			off, latched, peak := -time.Second, -time.Second, held
			for range 5 * time.Minute / period {
				f := r.step()
				peak = math.Max(peak, r.bodies[0].melt)
				since := f.Time - started
				if heat := heatOf(f, story.all); heat == 0 && off < 0 {
					off = since
				} else if heat > 0 {
					require.Less(t, since, story.within, "%s", story.rule)
					off = -time.Second // off at last, not in passing
				}
				if latched < 0 && latchedIn(f, story.code) {
					latched = since
				}
			}
			fmt.Printf("%-46s heat off for good after %5.1f s, latched after %5.1f s (%v), the melt peaked %.1f °C higher\n",
				story.name+":", off.Seconds(), latched.Seconds(), story.code, peak-held)
			assert.LessOrEqual(t, off, story.within, story.rule)
			assert.GreaterOrEqual(t, latched, time.Duration(0), "%v never latched", story.code)
			assert.False(t, r.f.Ready)

			// The trouble over, nothing heats by itself what had latched.
			r.script = before
			r.run(time.Minute)
			assert.Zero(t, heatOf(&r.f, story.all), "it waits for a person at the bench")
		})
	}
}

// heatOf is the power of the pots that a story is about.
func heatOf(f *control.Frame, all bool) float64 {
	if all {
		return f.PowerW
	}
	return f.Outputs.Duty[0]
}

func latchedIn(f *control.Frame, code guard.Code) bool {
	for _, c := range f.Conditions {
		if c.Code == code && c.Latched {
			return true
		}
	}
	return false
}

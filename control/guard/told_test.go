package guard

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// codes lists what is told now.
func (r *rig) codes() (codes []Code) {
	for _, c := range r.g.Append(nil) {
		codes = append(codes, c.Code)
	}
	return codes
}

// deadLine is a line on which nothing has answered for two seconds.
func deadLine(s *Sight) {
	for _, c := range []*reading.Contact{&s.EStop, &s.CutOut, &s.Fan, &s.Link, &s.Enable, &s.Pedal} {
		c.Age = 2 * time.Second
	}
	for i := range s.Pots {
		s.Pots[i].Melt.Age, s.Pots[i].Plate.Age = 2*time.Second, 2*time.Second
	}
}

// TestADeadLineIsOneFinding: what a dead line brings about is not listed beside it;
// what a device reports of a probe is.
func TestADeadLineIsOneFinding(t *testing.T) {
	r := enabled(limits)
	r.spoil = deadLine
	r.run(10 * time.Second)
	assert.Equal(t, []Code{HeaterUnheard, StillHot}, r.codes())
	assert.True(t, r.g.pots[1].found[PlateUnusable].active)
	r.spoil = nil
	r.run(10 * time.Second)
	assert.Equal(t, []Code{HeaterUnheard, StillHot}, r.codes(), "and when it is back")
	r.press()
	r.press()
	assert.Empty(t, r.codes(), "one press resets all of it")

	r = enabled(limits)
	r.spoil = func(s *Sight) {
		deadLine(s)
		s.Pots[1].Melt.Fault = reading.Open
	}
	r.run(10 * time.Second)
	assert.Contains(t, r.codes(), HeaterUnheard)
	assert.Contains(t, r.codes(), PotUnseen, "a broken probe is no child of the line")

	r = enabled(limits)
	r.spoil = func(s *Sight) { s.EStop.Age, s.CutOut.Age, s.Fan.Age = 2*time.Second, 2*time.Second, 2*time.Second }
	r.run(10 * time.Second)
	assert.Equal(t, []Code{InterlockUnknown, StillHot}, r.codes(), "with the parent well, the child speaks")
}

// TestBlindPotIsOneFinding for the pot, whatever its two probes report.
func TestBlindPotIsOneFinding(t *testing.T) {
	r := enabled(limits)
	r.spoil = blind(0)
	r.run(10 * time.Second)
	assert.Equal(t, []Code{PotUnseen, StillHot}, r.codes())
}

// TestARefusedPressShowsItsReason: what keeps heat away is listed while heat is
// only blocked, whether it has a delay or not.
func TestARefusedPressShowsItsReason(t *testing.T) {
	for _, row := range rows {
		if row.code.Rule().Action != AllOff || row.code == MissedCycle {
			continue
		}
		r := newRig(limits)
		r.run(time.Second)
		r.spoil = row.cause
		r.run(5 * time.Second)
		require.Equal(t, off, r.press())
		assert.Contains(t, r.codes(), row.code)
		r.spoil = nil
		r.run(5 * time.Second)
		assert.Equal(t, row.blocked, r.latched(row.code), row.code.String())
	}
}

// TestTheFirstMomentIsNoNews: before the first answers everything is unknown.
func TestTheFirstMomentIsNoNews(t *testing.T) {
	r := newRig(limits)
	r.spoil = func(s *Sight) {
		*s = Sight{Elapsed: s.Elapsed, First: s.First, Period: s.Period, Pots: make([]PotSight, 2)}
	}
	r.step()
	r.step()
	assert.Empty(t, r.codes())
	r.run(time.Second)
	assert.Contains(t, r.codes(), HeaterUnheard)
}

// TestAwaitedIsNotTold: after a colour mark, and with the pot lifted, a fast fall is
// no news; the heater is off all the same, and no phase quiets a trip.
func TestAwaitedIsNotTold(t *testing.T) {
	falls := func(s *Sight, t float64) { s.Pots[0].Melt.C -= min(0.7*t, 25) }
	for name, phase := range map[string]func(*Sight){
		"coloured": func(s *Sight) { s.Pots[0].Coloured = true },
		"lifted":   func(s *Sight) { s.Pots[0].Lifted = true },
	} {
		r := enabled(limits)
		r.begin(func(s *Sight, t float64) { falls(s, t); phase(s) })
		for range 30 * time.Second / period {
			r.step()
			require.NotContains(t, r.codes(), FastFall, name)
		}
		assert.Equal(t, []float64{0, 1}, r.step(), name)
	}
}

// TestNoChildOfIsWithoutEffect: for every row that has one, its parent's cause brings it
// about, and it is folded while the parent is told.
func TestNoChildOfIsWithoutEffect(t *testing.T) {
	probeOut := func(s *Sight, t float64) { s.Pots[0].Melt.C -= min(3*t, 100) }
	tested := map[Code]bool{}
	plateProbeOff := func(s *Sight, t float64) { s.Pots[0].Plate.C, s.Pots[0].Duty = 180-min(2*t, 100), 1 }
	for c, cause := range map[Code]func(*Sight, float64){
		InterlockUnknown: func(s *Sight, _ float64) { deadLine(s) },
		PotUnseen:        func(s *Sight, _ float64) { deadLine(s) },
		MeltUnusable:     func(s *Sight, _ float64) { blind(0)(s) },
		PlateUnusable:    func(s *Sight, _ float64) { blind(0)(s) },
		FastFall:         probeOut,
		PlateFastFall:    plateProbeOff,
		NoRise:           heatedInVain,
		NobodyHere:       func(s *Sight, _ float64) { alone(s) },
		SessionLong:      func(*Sight, float64) {},
	} {
		before := func(*Sight) {}
		if c == NoRise {
			before = coldBench
		}
		r := enabledFrom(limits, before)
		r.begin(cause)
		r.told(t, c.Rule().ChildOf, 4*time.Hour)
		assert.NotContains(t, r.codes(), c)
		var folded []Code
		for range 2 * time.Minute / period {
			for _, f := range r.g.AppendFolded(nil) {
				folded = append(folded, f.Code)
			}
			r.step()
		}
		assert.Contains(t, folded, c)
		tested[c] = true
	}
	for _, c := range Codes() {
		assert.Equal(t, c.Rule().ChildOf != 0, tested[c], c)
	}
}

// TestATripStaysADevicesWord: what tripped by a device's report is told when the line
// dies after it; what came of silence is told once a device reports it.
func TestATripStaysADevicesWord(t *testing.T) {
	open := func(s *Sight) { s.Pots[1].Melt.Fault = reading.Open }
	noAnswer := func(s *Sight) { s.EStop.Fault = reading.Refused }
	for c, reported := range map[Code]func(*Sight){MeltUnusable: open, InterlockUnknown: noAnswer, PotUnseen: blind(1)} {
		r := enabled(limits)
		r.spoil = reported
		r.run(5 * time.Second)
		require.True(t, r.latched(c), c)
		r.spoil = deadLine
		r.run(5 * time.Second)
		assert.Contains(t, r.codes(), HeaterUnheard)
		assert.Contains(t, r.codes(), c, "its line died later")

		r = enabled(limits)
		r.spoil = deadLine
		r.run(5 * time.Second)
		require.NotContains(t, r.codes(), c)
		r.spoil = func(s *Sight) { deadLine(s); reported(s) }
		r.run(5 * time.Second)
		if c == MeltUnusable { // its pot is not seen at all, and that comes first
			c = PotUnseen
		}
		assert.Contains(t, r.codes(), c)
	}
}

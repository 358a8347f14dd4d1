package guard

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// The events that can befall a guard, each of them a few seconds at most.
type event struct {
	name string
	do   func(*rig) []float64
}

func during(spoil func(*Sight), do func(*rig) []float64) func(*rig) []float64 {
	return func(r *rig) []float64 {
		before := r.spoil
		r.spoil = func(s *Sight) {
			if before != nil {
				before(s)
			}
			spoil(s)
		}
		defer func() { r.spoil = before }()
		return do(r)
	}
}

func openEStop(s *Sight) { s.EStop = contact(false) }

// events are in the order of the columns below.
var events = []event{
	{"a quiet cycle", (*rig).step},
	{"press", (*rig).press},
	{"all off", during(func(s *Sight) { s.AllOff = true }, (*rig).step)},
	{"press and all off at once", during(func(s *Sight) { s.AllOff = true }, (*rig).press)},
	{"a trip of the bench", during(openEStop, (*rig).step)},
	{"press while it lasts", during(openEStop, (*rig).press)},
	{"a cycle too late", during(func(s *Sight) { s.Elapsed = 4 * period }, (*rig).step)},
	{"a melt over its trip", func(r *rig) []float64 {
		return during(func(s *Sight) { s.Pots[0].Melt = good(195) }, func(r *rig) []float64 { r.run(time.Second); return r.step() })(r)
	}},
	{"a probe that stays broken", func(r *rig) []float64 {
		return during(func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, func(r *rig) []float64 { r.run(5 * time.Second); return r.step() })(r)
	}},
	{"the button found held down after a gap", func(r *rig) []float64 {
		r.button(contact(false), 2*time.Second)
		r.button(reading.Contact{Fault: reading.Missing}, period)
		r.button(contact(true), time.Second)
		return r.step()
	}},
	{"a press with a fault", func(r *rig) []float64 {
		r.button(contact(false), 2*time.Second)
		r.button(reading.Contact{Closed: true, Fault: reading.Refused}, time.Second)
		return r.step()
	}},
	{"the button held for too long", func(r *rig) []float64 {
		r.button(contact(false), 2*time.Second)
		r.button(contact(true), pressMax+2*period)
		return r.step()
	}},
	{"a press that a trip comes into", func(r *rig) []float64 {
		r.hold()
		r.run(2 * period)
		during(openEStop, (*rig).step)(r)
		r.run(time.Second)
		return r.step()
	}},
	{"the button chatters", func(r *rig) []float64 {
		for range 50 {
			r.button(contact(true), pressMin) // its first and last sight are a cycle less apart
			r.button(contact(false), openBefore)
		}
		return r.step()
	}},
}

// TestEveryStateAndEvent lists what every event makes of every state, and the
// rule of safety it serves.
func TestEveryStateAndEvent(t *testing.T) {
	const (
		byHand   = "nothing turns heat on by itself"
		lastWord = "all off, and a trip, win over a press"
		earned   = "heat is earned every cycle"
		latches  = "trips latch until a person resets them with the cause gone"
		two      = "a press resets or enables, never both"
		perPot   = "what befalls one pot takes that pot's heat"
		seen     = "a press counts only when it was seen to be one"
	)
	type cell struct {
		then State
		heat []float64 // in the last cycle of the event
		rule string
	}
	potOff := []float64{0, 1}
	starts := []struct {
		name string
		rig  func() *rig
		want []cell // by event
	}{
		{"blocked", func() *rig { r := newRig(limits); r.run(time.Second); return r }, []cell{
			{Blocked, off, byHand},
			{Enabled, full, byHand},
			{Blocked, off, byHand},
			{Blocked, off, lastWord},
			{Blocked, off, earned},
			{Blocked, off, lastWord},
			{Blocked, off, earned},
			{Tripped, off, latches},
			{Blocked, off, byHand},
			{Blocked, off, seen},
			{Blocked, off, seen},
			{Blocked, off, seen},
			{Enabled, full, byHand},
			{Blocked, off, seen},
		}},
		{"enabled", func() *rig { return enabled(limits) }, []cell{
			{Enabled, full, earned},
			{Enabled, full, earned},
			{Blocked, off, byHand},
			{Blocked, off, lastWord},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Enabled, off, earned},
			{Tripped, off, latches},
			{Enabled, potOff, perPot},
			{Enabled, full, seen},
			{Enabled, full, seen},
			{Enabled, full, seen},
			{Tripped, off, lastWord},
			{Enabled, full, seen},
		}},
		{"enabled, a pot tripped", func() *rig {
			r := enabled(limits)
			during(func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, func(r *rig) []float64 { r.run(5 * time.Second); return nil })(r)
			require.True(t, r.latched(MeltUnusable))
			return r
		}, []cell{
			{Enabled, potOff, latches},
			{Enabled, potOff, two},
			{Blocked, off, byHand},
			{Blocked, off, lastWord},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Enabled, off, earned},
			{Tripped, off, latches},
			{Enabled, potOff, perPot},
			{Enabled, potOff, seen},
			{Enabled, potOff, seen},
			{Enabled, potOff, seen},
			{Tripped, off, lastWord},
			{Enabled, potOff, seen},
		}},
		{"enabled, a pot's trip reset", func() *rig {
			r := enabled(limits)
			during(func(s *Sight) { s.Pots[0].Melt.Fault = reading.Open }, func(r *rig) []float64 { r.run(5 * time.Second); return nil })(r)
			r.press()
			require.False(t, r.latched(MeltUnusable))
			return r
		}, []cell{
			{Enabled, potOff, two},
			{Enabled, full, perPot},
			{Blocked, off, byHand},
			{Blocked, off, lastWord},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Enabled, off, earned},
			{Tripped, off, latches},
			{Enabled, potOff, perPot},
			{Enabled, potOff, seen},
			{Enabled, potOff, seen},
			{Enabled, potOff, seen},
			{Tripped, off, lastWord},
			{Enabled, potOff, seen},
		}},
		{"tripped, the cause there", func() *rig {
			r := enabled(limits)
			r.spoil = openEStop
			r.run(time.Second)
			return r
		}, []cell{
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
		}},
		{"tripped, the cause gone", func() *rig {
			r := enabled(limits)
			during(openEStop, (*rig).step)(r)
			return r
		}, []cell{
			{Tripped, off, latches},
			{Blocked, off, two},
			{Tripped, off, latches},
			{Blocked, off, two},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, latches},
			{Tripped, off, seen},
			{Tripped, off, seen},
			{Tripped, off, seen},
			{Blocked, off, two},
			{Tripped, off, seen},
		}},
	}
	for _, start := range starts {
		require.Len(t, start.want, len(events))
		for i, e := range events {
			r := start.rig()
			want := start.want[i]
			assert.Equal(t, want.heat, e.do(r), "%s, %s: %s", start.name, e.name, want.rule)
			assert.Equal(t, want.then, r.g.State(), "%s, %s: %s", start.name, e.name, want.rule)
		}
	}
}

package config

import (
	"cmp"
	"fmt"
	"time"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/control/circuit"
)

// Relay is what a bench file says of a mechanical relay before a heater. One operation is
// one closing and the opening after it (IEC 61810-1 calls that a cycle; from memory). The
// zero value is nothing said: a solid-state relay, which does not wear by switching.
type Relay struct {
	// Life is how many operations its maker rates the contacts for, at the load they carry.
	Life int64
	// Used is how many it had, as its owner says, before any were counted.
	Used int64
	// Fitted is the day it was fitted, as typed; another day is another relay. "" is not said.
	Fitted string
}

// Wears reports whether the relay is a mechanical one.
func (r Relay) Wears() bool { return r.Life > 0 }

func readRelay(m *strict.Map) Relay {
	defer m.Done()
	r := Relay{
		Life:   strict.Required(m, "life", whole("100000", minRelayLife, maxRelayLife)),
		Used:   strict.Optional(m, "used", whole("0", 0, maxRelayLife), 0),
		Fitted: strict.Optional(m, "fitted", kind(parseDay, "2026-03-14"), ""),
	}
	return r
}

// parseDay is a day of the calendar.
func parseDay(typed string) (string, error) {
	if _, err := time.Parse(time.DateOnly, typed); err != nil {
		return "", &quantity.Fault{Wrong: "not a day", Fix: "write year, month and day, such as 2026-03-14"}
	}
	return typed, nil
}

// checkSwitching settles how a heater is switched whose channel is a bit.
func (b *Bench) checkSwitching(p *Pot, path string) {
	p.Output = circuit.Switched
	if p.Relay.Wears() {
		p.Window = cmp.Or(p.Window, defaultRelayWindow)
		p.LeastOff = cmp.Or(p.LeastOff, p.Window/2)
	}
	p.Window = cmp.Or(p.Window, defaultWindow)
	for _, least := range []struct {
		key string
		of  time.Duration
	}{{"least-on", p.LeastOn}, {"least-off", p.LeastOff}} {
		if least.of > p.Window/2 {
			b.src.Complain(path+"."+least.key, "longer than half of the window of "+quantity.FormatDuration(p.Window),
				fmt.Sprintf("write at most %s, or a longer window", quantity.FormatDuration(p.Window/2)))
		}
	}
}

// checkNotSwitched complains about what only a heater has that is switched here: why it is
// not, and what to do.
func (b *Bench) checkNotSwitched(p *Pot, path, why, fix string) {
	for _, k := range []struct {
		key  string
		said bool
	}{{"window", p.Window > 0}, {"least-on", p.LeastOn > 0}, {"least-off", p.LeastOff > 0}, {"relay", p.Relay.Wears()}} {
		if k.said {
			b.src.Complain(path+"."+k.key, why, fix)
		}
	}
}

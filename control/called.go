package control

import (
	"time"

	"meltwarden/control/call"
	"meltwarden/control/guard"
)

// called remembers which findings lamp and buzzer speak of: one that takes another's
// place is news, although there are no more of them than before.
type called struct {
	pots    int
	spoken  []uint64        // by pot and code: the cycle in which it is no news
	aside   []time.Duration // by pot and code: until when nothing is said of it
	out     []bool          // by pot and code: that ends when heat is enabled anew
	enabled bool            // heat was, in the last cycle
	tripped bool            // the whole bench was, in the last cycle
}

// codes is how many places the codes of one pot, or of the bench, take.
var codes = len(guard.Codes()) + 1

func newCalled(pots int) called {
	places := codes * (pots + 1)
	return called{pots: pots, spoken: make([]uint64, places), aside: make([]time.Duration, places), out: make([]bool, places)}
}

// place is where a finding stands in the lists.
func place(c guard.Code, pot int) int { return (pot+1)*codes + int(c) }

// mark takes in what a person says of a warning. Lamp and buzzer stay with whoever
// is at the bench, so nobody elsewhere takes anything from them.
func (c *called) mark(m Command, now time.Duration) {
	if m.Afar || m.Pot < -1 || m.Pot >= c.pots || int(m.Code) >= codes {
		return
	}
	i := place(m.Code, m.Pot)
	switch {
	case m.Kind == TakeUp:
		c.aside[i], c.out[i] = 0, false
	case m.Kind == SetAside && m.Code.MaySetAside() && m.For > 0:
		c.aside[i], c.out[i] = now+min(m.For, MostSetAside), false
	case m.Kind == TakeOut && m.Code.MayTakeOut():
		c.aside[i], c.out[i] = now+MostOutOfService, true
	}
}

// What a person sets aside comes back by itself (C).
const (
	// MostSetAside is the longest time for which a warning can be set aside.
	MostSetAside = 30 * time.Minute
	// MostOutOfService is the longest for which one can be out of service: it is back
	// on the next evening.
	MostOutOfService = 12 * time.Hour
)

// putBack takes up what was out of service once heat is enabled anew, and counts what
// is still set aside.
func (c *called) putBack(out *Frame) {
	enabled := out.Heat == HeatEnabled
	out.Aside = 0
	for i := range c.aside {
		if enabled && !c.enabled && c.out[i] {
			c.aside[i], c.out[i] = 0, false
		}
		if c.aside[i] > out.Time {
			out.Aside++
		}
	}
	c.enabled = enabled
}

// count adds what the frame lists to what is to be said.
func (c *called) count(out *Frame, w *call.Wanted) {
	c.putBack(out)
	tripped := out.Heat == HeatTripped
	for _, found := range out.Conditions {
		switch {
		case found.Latched || tripped && found.Severity == guard.Trip:
			w.Trips++
			w.FreshTrips += c.news(out.Cycle, found)
		case found.Severity == guard.Warning && c.aside[place(found.Code, found.Pot)] <= out.Time:
			w.Warnings++
			w.FreshWarnings += c.news(out.Cycle, found)
		}
	}
	if tripped {
		// What tripped it may not be listed for a moment, beside what brings it about.
		w.Trips = max(w.Trips, 1)
		if !c.tripped {
			w.FreshTrips++
		}
	}
	c.tripped = tripped
}

// news returns 1 for a finding that was not spoken of in the last cycle, 0 for others.
func (c *called) news(cycle uint64, found guard.Condition) int {
	spoken := &c.spoken[place(found.Code, found.Pot)]
	fresh := *spoken != cycle
	*spoken = cycle + 1
	if fresh {
		return 1
	}
	return 0
}

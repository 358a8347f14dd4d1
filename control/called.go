package control

import (
	"math"
	"time"

	"meltwarden/control/call"
	"meltwarden/control/guard"
)

// called remembers which findings lamp and buzzer speak of: one that takes another's
// place is news, although there are no more of them than before.
type called struct {
	spoken  []uint64        // by pot and code: the cycle in which it is no news
	aside   []time.Duration // by pot and code: until when nothing is said of it
	tripped bool            // the whole bench was, in the last cycle
}

// codes is how many places the codes of one pot, or of the bench, take.
var codes = len(guard.Codes()) + 1

func newCalled(pots int) called {
	return called{spoken: make([]uint64, codes*(pots+1)), aside: make([]time.Duration, codes*(pots+1))}
}

// place is where a finding stands in the lists.
func place(c guard.Code, pot int) int { return (pot+1)*codes + int(c) }

// mark takes in what a person says of a warning. Lamp and buzzer stay with whoever
// is at the bench, so nobody elsewhere takes anything from them.
func (c *called) mark(m Command, now time.Duration) {
	i := place(m.Code, m.Pot)
	if m.Afar || m.Pot < -1 || int(m.Code) >= codes || i < 0 || i >= len(c.aside) {
		return
	}
	switch {
	case m.Kind == TakeUp:
		c.aside[i] = 0
	case m.Kind != SetAside || !m.Code.MaySetAside():
	case m.For == 0:
		c.aside[i] = math.MaxInt64
	case m.For > 0:
		c.aside[i] = now + min(m.For, MostSetAside)
	}
}

// MostSetAside is the longest time for which a warning can be set aside (C); taking
// it out of service is another thing.
const MostSetAside = 30 * time.Minute

// count adds what the frame lists to what is to be said.
func (c *called) count(out *Frame, w *call.Wanted) {
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

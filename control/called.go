package control

import (
	"meltwarden/control/call"
	"meltwarden/control/guard"
)

// called remembers which findings lamp and buzzer speak of: one that takes another's
// place is news, although there are no more of them than before.
type called struct {
	spoken  []uint64 // by pot and code: the cycle in which it is no news
	tripped bool     // the whole bench was, in the last cycle
}

// codes is how many places the codes of one pot, or of the bench, take.
var codes = len(guard.Codes()) + 1

func newCalled(pots int) called { return called{spoken: make([]uint64, codes*(pots+1))} }

// count adds what the frame lists to what is to be said.
func (c *called) count(out *Frame, w *call.Wanted) {
	tripped := out.Heat == HeatTripped
	for _, found := range out.Conditions {
		switch {
		case found.Latched || tripped && found.Severity == guard.Trip:
			w.Trips++
			w.FreshTrips += c.news(out.Cycle, found)
		case found.Severity == guard.Warning:
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
	spoken := &c.spoken[(found.Pot+1)*codes+int(found.Code)]
	fresh := *spoken != cycle
	*spoken = cycle + 1
	if fresh {
		return 1
	}
	return 0
}

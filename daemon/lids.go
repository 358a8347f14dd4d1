package daemon

import (
	"slices"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
	"meltwarden/devices"
)

// lidSteady is for how long a lid's contact has to say the same before it counts (E): one
// that is shut bounces.
const lidSteady = 600 * time.Millisecond

// lids follows the lids of a bench. They decide nothing about heat.
type lids struct{ all []lid }

// lid is one of them, with the state it is in and one that it may be coming to.
type lid struct {
	state, next shot.LidState
	since       time.Duration // bench time from which on it has been next
}

// see takes in a cycle's contacts and returns what has changed, and how each was seen first.
// One that can not be read is as it was last seen, for history; a card says that it is not
// known.
func (l *lids) see(contacts []devices.Lid, now time.Duration) (changed []history.Event) {
	l.all = append(l.all, slices.Repeat([]lid{{}}, max(0, len(contacts)-len(l.all)))...)
	for i, c := range contacts {
		k := &l.all[i]
		next := lidState(c)
		if next != k.next {
			k.next, k.since = next, now
		}
		if next == shot.LidNotRead || next == k.state || now-k.since < lidSteady {
			continue
		}
		k.state = next
		kind := history.LidClosed
		if next == shot.LidOpen {
			kind = history.LidOpen
		}
		changed = append(changed, history.Event{Kind: kind, Pot: c.Pot})
	}
	return changed
}

func lidState(c devices.Lid) shot.LidState {
	switch {
	case !c.Contact.Known(guard.MaxAge):
		return shot.LidNotRead
	case c.Contact.Closed:
		return shot.LidClosed
	}
	return shot.LidOpen
}

// onCard is how the lids are, for the card of a shot.
func onCard(contacts []devices.Lid) (all []shot.Lid) {
	for _, c := range contacts {
		all = append(all, shot.Lid{Pot: c.Pot + 1, State: lidState(c)})
	}
	return all
}

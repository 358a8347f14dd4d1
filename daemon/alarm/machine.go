// Package alarm turns what the guard finds into alarms that a person works
// through: each is unacknowledged until somebody has seen it, stays listed until
// its cause is gone, and can be set aside for a while, but not forgotten. States
// and words are those of ANSI/ISA-18.2 and IEC 62682.
//
// It decides nothing about heat: the guard has acted before an alarm is listed.
package alarm

// State is where an alarm stands.
type State uint8

// The states.
const (
	Normal State = iota
	Unacknowledged
	Acknowledged
	Returned // to normal, unacknowledged
	LatchedUnacknowledged
	LatchedAcknowledged
	Shelved      // set aside by a person, for a time
	Suppressed   // by design: its cause is another alarm's
	OutOfService // taken out by a person, until put back
)

var stateNames = [...]string{
	"normal", "unacknowledged", "acknowledged", "returned to normal, unacknowledged",
	"latched, unacknowledged", "latched, acknowledged", "shelved", "suppressed by design", "out of service",
}

// String returns the state in the standard's words.
func (s State) String() string { return stateNames[s] }

// Aside reports whether the alarm is set aside: it is evaluated and listed, and waits
// for nobody.
func (s State) Aside() bool { return s >= Shelved }

// Waits reports whether the alarm waits for somebody to acknowledge it.
func (s State) Waits() bool {
	return s == Unacknowledged || s == Returned || s == LatchedUnacknowledged
}

// event is what moves an alarm from state to state.
type event uint8

const (
	occurs event = iota
	clears
	acknowledged
	reset
	setAside // to the state that goes with it
	takenUp  // again
)

// next is the state after an event. latching says whether the alarm latches,
// present whether its cause is there; to is where an alarm is set aside to.
func (s State) next(e event, latching, present bool, to State) State {
	switch e {
	case occurs:
		return s.occurred()
	case clears:
		return s.cleared(latching)
	case acknowledged:
		return s.seen()
	case reset:
		if s == LatchedAcknowledged {
			return Normal
		}
	case setAside:
		return to
	case takenUp:
		if !s.Aside() {
			return s
		}
		switch {
		case present:
			return Unacknowledged
		case latching:
			return LatchedUnacknowledged
		}
		return Normal
	}
	return s
}

func (s State) occurred() State {
	switch s {
	case Normal, Returned, LatchedUnacknowledged, LatchedAcknowledged:
		return Unacknowledged
	}
	return s
}

func (s State) cleared(latching bool) State {
	switch {
	case s == Unacknowledged && latching:
		return LatchedUnacknowledged
	case s == Acknowledged && latching:
		return LatchedAcknowledged
	case s == Unacknowledged:
		return Returned
	case s == Acknowledged:
		return Normal
	}
	return s
}

func (s State) seen() State {
	switch s {
	case Unacknowledged:
		return Acknowledged
	case Returned:
		return Normal
	case LatchedUnacknowledged:
		return LatchedAcknowledged
	}
	return s
}

package guess

import (
	"slices"

	"meltwarden/devices/registers"
)

// Step is what a session wants of the maker.
type Step uint8

// The steps of a session.
const (
	Rest Step = iota // leave every probe alone
	Hold             // hold Probe in the hand, and keep it there
	Cool             // lay all down: a slow change tells which halves of numbers go together
	Over             // nothing more
)

// Session leads a maker: first every probe rests, then one after another is held in a hand
// until something has moved, or for a minute. Where two ways to put halves together fit,
// they cool.
type Session struct {
	*Watch
	probes []string // in the order in which they are held; none for any, until nothing moves
	step   Step
	at     int // of the probes
	since  int // the round at which the step began
	seen   int // the round at which something was first seen to move, or 0
}

// How long, in rounds, things take. All are estimates, without a source.
const (
	restRounds  = 12
	mostRounds  = 60 // a probe in a hand that has not moved by then does not
	afterRounds = 8  // beyond the first sight of a move, so that its rivals show as well
	coolRounds  = 45
)

// NewSession begins one in a room of a temperature, with the names of the probes in the
// order in which they are to be held, or none.
func NewSession(room Range, probes []string) *Session {
	return &Session{Watch: NewWatch(room), probes: probes}
}

// Step returns what is wanted now, and which probe of how many, counted from 0; its name is
// empty where the maker chooses.
func (s *Session) Step() (step Step, at int, probe string) {
	if s.step == Hold && s.at < len(s.probes) {
		probe = s.probes[s.at]
	}
	return s.step, s.at, probe
}

// Take takes in a round and goes on to the next step when it is time.
func (s *Session) Take(read map[Register]uint16) {
	s.Watch.Take(read)
	spent := s.rounds - s.since
	switch {
	case s.step == Rest && spent >= restRounds:
		s.hold()
	case s.step == Hold:
		if s.seen == 0 && len(s.Moved()) > 0 {
			s.seen = s.rounds
		}
		if s.seen > 0 && s.rounds >= s.seen+afterRounds || spent >= mostRounds {
			s.letGo()
		}
	case s.step == Cool && (spent >= coolRounds || !s.halvesInDoubt()):
		s.step = Over
	}
}

// halvesInDoubt reports whether numbers might be put together otherwise.
func (s *Session) halvesInDoubt() bool {
	r := s.Result()
	return slices.ContainsFunc(r.Rivals, func(o Rival) bool {
		return r.Layout.Type == registers.Float32 && o.Layout.Type == registers.Float32 && o.Layout.Words != r.Layout.Words
	})
}

func (s *Session) hold() {
	s.step, s.since, s.seen = Hold, s.rounds, 0
	_, _, probe := s.Step()
	s.Warm(probe)
}

// letGo ends a warming. Where the maker chooses, one in which nothing moved is the last.
func (s *Session) letGo() {
	s.LayDown()
	nothing := s.seen == 0
	s.at++
	if s.at == len(s.probes) || len(s.probes) == 0 && nothing {
		s.step, s.since = Over, s.rounds
		if len(s.probes) == 0 {
			s.warmings = s.warmings[:len(s.warmings)-1]
		}
		if s.halvesInDoubt() {
			s.step = Cool
		}
		return
	}
	s.hold()
}

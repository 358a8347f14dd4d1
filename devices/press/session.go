package press

import (
	"slices"
	"time"

	"meltwarden/devices/guess"
)

// Step is what a session wants of the maker.
type Step uint8

// The steps of a session.
const (
	Rest  Step = iota // leave all alone: nothing pressed, nothing stopped, nothing open
	Press             // press the contact three times
	Over              // nothing more
)

// Session leads a maker: first all is left alone, then one contact after another is
// pressed, then all is left alone once more.
type Session struct {
	*Watch
	contacts []string
	step     Step
	at       int // of the contacts
	tries    int // of this one, those that failed
	since    time.Duration
	settled  bool // and the rest counts
}

// How long steps take. All are estimates, without a source.
const (
	settleFor = 2 * time.Second  // hands are on their way yet
	restFor   = 10 * time.Second // counted from then
	againFor  = 8 * time.Second  // the rest at the end
	quietFor  = 3 * time.Second  // after the last press
	slowFor   = 8 * time.Second  // one that has begun may still go on
	idleFor   = 60 * time.Second // without a move there is nobody, or no wire
	mostFor   = 4 * time.Minute
	mostTries = 2
)

// NewSession begins one, with the contacts by role and pot, as "stir-button left", in the
// order in which they are to be pressed.
func NewSession(contacts []string) *Session {
	return &Session{Watch: NewWatch(), contacts: contacts}
}

// Step returns what is wanted now: which contact of how many, counted from 0, and whether
// it is asked for once more.
func (s *Session) Step() (step Step, at int, contact string, again bool) {
	if s.step == Press {
		contact = s.contacts[s.at]
	}
	return s.step, s.at, contact, s.tries > 0
}

// Take takes in a round and goes on to the next step when it is time.
func (s *Session) Take(at time.Duration, read map[guess.Register]uint16) {
	if s.rounds == 0 {
		s.since = at
	}
	s.Watch.Take(at, read)
	switch s.step {
	case Rest:
		s.rest()
	case Press:
		if s.pressed() {
			s.letGo()
		}
	}
}

// rest lets hands settle, then counts what moves by itself.
func (s *Session) rest() {
	long := restFor
	if s.at == len(s.contacts) {
		long = againFor
	}
	switch spent := s.now - s.since; {
	case !s.settled && spent >= settleFor:
		s.settled = true
		s.open(-1)
	case s.settled && spent >= settleFor+long:
		s.close()
		s.settled = false
		if s.at == len(s.contacts) {
			s.step = Over
			return
		}
		s.press()
	}
}

func (s *Session) press() {
	s.step, s.since = Press, s.now
	s.open(s.at)
}

// pressed reports whether a contact's presses are over: one followed and all are quiet, or
// nobody presses.
func (s *Session) pressed() bool {
	last, followed := s.since, false
	for _, m := range s.moves(s.windows[len(s.windows)-1]) {
		last = max(last, m.at)
		followed = followed || m.followed() && s.now-m.at >= quietFor
		if m.Times < Presses && s.now-m.at < slowFor {
			return s.now-s.since >= mostFor
		}
	}
	return followed || s.now-last >= idleFor || s.now-s.since >= mostFor
}

// letGo goes on to the next contact, or asks once more for one that something moved for,
// and nothing rightly.
func (s *Session) letGo() {
	s.close()
	now := s.windows[len(s.windows)-1]
	if s.tries++; s.tries < mostTries && s.missed(now) {
		s.press()
		return
	}
	s.at, s.tries = s.at+1, 0
	if s.at < len(s.contacts) {
		s.press()
		return
	}
	s.step, s.since = Rest, s.now
}

// missed reports whether pressing once more may tell what this did not.
func (s *Session) missed(of window) bool {
	moves := s.moves(of)
	followed := slices.DeleteFunc(slices.Clone(moves), func(m Move) bool { return !m.followed() })
	if len(followed) == 0 {
		return len(moves) > 0
	}
	return slices.ContainsFunc(followed[1:], func(m Move) bool { return !m.together(followed[0]) })
}

// Moves are what the bits have done for the contact that is pressed now.
func (s *Session) Moves() []Move {
	if s.step != Press {
		return nil
	}
	return s.moves(s.windows[len(s.windows)-1])
}

package guard

import "time"

// Grades as in the table.
const (
	nobodyAfter  = 10 * time.Minute // M: a bench is not left alone while it is hot
	leftAlone    = 15 * time.Minute // M: five minutes after the call
	sessionWarns = 165 * time.Minute
	sessionLasts = 3 * time.Hour // C
)

// presence counts how long nobody has done anything at the bench while it is hot
// and heat is enabled, and how long heat has been enabled.
type presence struct {
	alone   time.Duration
	session time.Duration
	enable  Button // as the guard's, and no trip voids it: whoever presses is there
	pedal   Button
}

// lookForPeople takes in one cycle: the enable button, the pedal, and a mark made
// at the bench's own computer tell of a person there. The pedal has to be pressed
// as deliberately as the button, or a loose contact would be taken for somebody.
func (g *Guard) lookForPeople(s *Sight) {
	p, took := &g.presence, s.took()
	enable := p.enable.Released(s.Enable, took, s.missed())
	pedal := p.pedal.Released(s.Pedal, took, s.missed())
	if s.Attended || pedal || enable || g.state != Enabled || !g.hot() {
		p.alone = 0
	} else {
		p.alone += took
	}
	if g.pressed || g.state != Enabled {
		p.session = 0
	} else {
		p.session += took
	}
	g.note(g.bench, NobodyHere, p.alone >= nobodyAfter, took)
	g.note(g.bench, LeftAlone, p.alone >= leftAlone, took)
	g.note(g.bench, SessionLong, p.session >= sessionWarns, took)
	g.note(g.bench, SessionTooLong, p.session >= sessionLasts, took)
}

// hot reports whether anything is, or may be, too hot to touch.
func (g *Guard) hot() bool {
	for i := range g.pots {
		for _, p := range g.pots[i].wired() {
			if !p.seen || p.last >= g.pots[i].touchC() {
				return true
			}
		}
	}
	return false
}

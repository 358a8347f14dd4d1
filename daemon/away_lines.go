package daemon

import (
	"fmt"
	"slices"
	"time"

	"meltwarden/daemon/view"
	"meltwarden/devices"
)

const (
	// backAfter is for how long a line that was lost has to be there until that is told (E);
	// it doubles with each time, up to backAtMost (E), so that a loose plug calls nobody all
	// evening, and begins anew once the line was there for calmFor (E).
	backAfter  = 10 * time.Second
	backAtMost = 10 * time.Minute
	calmFor    = time.Hour
)

// awayLines turns how the lines do into messages: one when a line is lost, one when it is
// back. What happens in between is counted, and told with the second.
type awayLines struct {
	title string
	tell  func(string)
	all   []*awayLine
}

// awayLine is what was seen and told of one line.
type awayLine struct {
	where string // it is, in words
	told  bool   // that it is lost
	gone  bool   // it is lost
	since time.Time
	back  time.Time // when it was there again; of no meaning while it is lost
	times int       // it was lost since then
	wait  time.Duration
}

// note takes in how all lines do at a time.
func (a *awayLines) note(at time.Time, s devices.Stats) {
	lost := view.LinesLost(s)
	for _, c := range lost {
		a.lost(a.of(c.Where), at, c)
	}
	for _, l := range a.all {
		if !slices.ContainsFunc(lost, func(c view.Condition) bool { return c.Where == l.where }) {
			a.there(l, at)
		}
	}
}

func (a *awayLines) of(where string) *awayLine {
	for _, l := range a.all {
		if l.where == where {
			return l
		}
	}
	l := &awayLine{where: where, wait: backAfter}
	a.all = append(a.all, l)
	return l
}

func (a *awayLines) lost(l *awayLine, at time.Time, c view.Condition) {
	if !l.told {
		l.told, l.since, l.times = true, at, 0
		a.tell(fmt.Sprintf("%s, %s: %s. %s", a.title, l.where, c.Title, c.Instruction))
	}
	if !l.gone {
		l.gone = true
		l.times++
	}
}

func (a *awayLines) there(l *awayLine, at time.Time) {
	if l.gone {
		l.gone, l.back = false, at
	}
	switch well := at.Sub(l.back); {
	case l.told && well >= l.wait:
		l.told, l.wait = false, min(2*l.wait, backAtMost)
		a.tell(fmt.Sprintf("%s, %s: %s", a.title, l.where, view.LineBack(l.since, l.back, l.times)))
	case !l.told && well >= calmFor:
		l.wait = backAfter
	}
}

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

	// silentFor is for how long a device has been silent when that is told (E): those of a line
	// that lost its supply fall silent one after another, and that is one trouble.
	silentFor = 2 * time.Second
)

// awayLines turns how the lines do into messages: one when a line is lost, one when it is
// back, and likewise of devices that are silent while others answer. What happens in between is
// counted, and told with the second.
type awayLines struct {
	title string
	tell  func(string)
	all   []*awayLine
}

// awayLine is what was seen and told of one line: that it is lost, and apart from that, that
// devices of it are silent, since a lamp's module that was switched off must not hide a loss.
type awayLine struct {
	where        string // it is, in words
	lost, silent spell
	named        []string  // those silent devices that were told
	unsaid       time.Time // when others were silent first; zero if none was
}

// note takes in how all lines do at a time.
func (a *awayLines) note(at time.Time, s devices.Stats) {
	troubled := view.TroubledLines(s)
	for _, t := range troubled {
		a.of(t.Where)
	}
	for _, l := range a.all {
		switch i := slices.IndexFunc(troubled, func(t view.TroubledLine) bool { return t.Where == l.where }); {
		case i < 0:
			a.there(l, at)
			a.answers(l, at)
		case len(troubled[i].Silent) == 0:
			a.lost(l, at, troubled[i])
		default:
			a.there(l, at)
			a.silent(l, at, troubled[i])
		}
	}
}

func (a *awayLines) of(where string) *awayLine {
	for _, l := range a.all {
		if l.where == where {
			return l
		}
	}
	l := &awayLine{where: where, lost: spell{wait: backAfter}, silent: spell{wait: backAfter}}
	a.all = append(a.all, l)
	return l
}

func (a *awayLines) say(l *awayLine, what string) {
	a.tell(fmt.Sprintf("%s, %s: %s", a.title, l.where, what))
}

func (a *awayLines) lost(l *awayLine, at time.Time, t view.TroubledLine) {
	if l.lost.on(at) {
		a.say(l, t.Title+". "+t.Instruction)
	}
	// Nobody knows now how its devices do: none counts as well, and those that fell silent
	// just before went with it.
	l.silent.gone, l.unsaid = true, time.Time{}
}

func (a *awayLines) there(l *awayLine, at time.Time) {
	if l.lost.off(at) {
		a.say(l, view.LineBack(l.lost.since, l.lost.back, l.lost.times))
	}
}

func (a *awayLines) silent(l *awayLine, at time.Time, t view.TroubledLine) {
	others := slices.ContainsFunc(t.Silent, func(name string) bool { return !slices.Contains(l.named, name) })
	switch {
	case !others:
		l.unsaid = time.Time{}
	case l.unsaid.IsZero():
		l.unsaid = at
	}
	news := others && at.Sub(l.unsaid) >= silentFor
	if news {
		l.named = append(l.named, t.Silent...)
		a.say(l, t.Title+". "+t.Instruction)
	}
	if news || l.silent.told {
		l.silent.on(l.unsaid)
	}
}

func (a *awayLines) answers(l *awayLine, at time.Time) {
	// Until then it counts from the first time: one that is silent for a moment, again and
	// again, is told as well.
	if at.Sub(l.unsaid) >= calmFor {
		l.unsaid = time.Time{}
	}
	if l.silent.off(at) {
		l.named = nil
		a.say(l, view.DevicesBack(l.silent.since, l.silent.back, l.silent.times))
	}
}

// spell is a trouble that comes and goes, from when it was told until its end was.
type spell struct {
	told  bool
	gone  bool // what it is about is gone
	since time.Time
	back  time.Time // when it was there again; of no meaning while it is gone
	times int       // it was gone since then
	wait  time.Duration
}

// on takes in that the trouble is there at a time, and says whether that was not told yet.
func (s *spell) on(at time.Time) (news bool) {
	if news = !s.told; news {
		s.since, s.times = at, 0
	}
	if news || !s.gone {
		s.times++
	}
	s.told, s.gone = true, true
	return news
}

// off takes in that it is not there, and says whether that is for good and has to be told.
func (s *spell) off(at time.Time) (news bool) {
	if s.gone {
		s.gone, s.back = false, at
	}
	switch well := at.Sub(s.back); {
	case s.told && well >= s.wait:
		s.told, s.wait = false, min(2*s.wait, backAtMost)
		return true
	case !s.told && well >= calmFor:
		s.wait = backAfter
	}
	return false
}

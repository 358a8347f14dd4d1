package console

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
)

// Plain writes a bench to a file or a pipe: a line now and then and one for every
// change. It is not safe for use by several goroutines.
type Plain struct {
	out  io.Writer
	unit Unit

	said   string
	found  []view.Condition // as they were last told
	saidAt float64          // bench time, in seconds
}

// NewPlain returns one that has said nothing yet.
func NewPlain(out io.Writer, u Unit) *Plain { return &Plain{out: out, unit: u} }

// sayEvery is how often a plain console speaks when nothing has changed.
const sayEvery = time.Minute

// Show writes one line when something has changed, or a minute of bench time has
// passed.
func (c *Plain) Show(b view.Bench) error {
	if states := standing(b); states != c.said || b.BenchTimeS-c.saidAt >= sayEvery.Seconds() {
		c.said, c.saidAt = states, b.BenchTimeS
		return c.say(b)
	}
	return nil
}

// standing is all whose change is news.
func standing(b view.Bench) string {
	s := b.Heat
	for _, p := range b.Pots {
		s += "|" + p.State + p.Shown.Wait
		if p.Pour.Over {
			s += "|over"
		}
	}
	for _, cond := range b.Conditions {
		s += "|" + cond.Code + cond.Where + cond.Status
	}
	return s
}

func (c *Plain) say(b view.Bench) error {
	out := lines.To(c.out)
	pots := make([]string, 0, len(b.Pots))
	for _, p := range b.Pots {
		pots = append(pots, fmt.Sprintf("%s %s %s %s", name(p), c.unit.of(p.Shown.Melt), c.unit.symbol(), p.State))
	}
	at := clockTime(b.BenchTimeS)
	out.Line("%s  %s%s | %s | %s", at, simulated(b), strings.Join(pots, ", "), b.Heat, c.unit.of(b.Shown.Answer))
	if b.Live { // of a bench that is not, nothing is known to be over
		c.sayFound(out, at, b.Conditions)
	}
	return out.Err()
}

// sayFound writes what is newly found, or has another status, and what is over.
func (c *Plain) sayFound(out *lines.Writer, at string, now []view.Condition) {
	for _, cond := range now {
		if !slices.Contains(c.found, cond) {
			out.Line("%s  ! %s", at, conditionText(cond))
		}
	}
	for _, was := range c.found {
		if !slices.ContainsFunc(now, func(cond view.Condition) bool { return cond.Code == was.Code && cond.Where == was.Where }) {
			out.Line("%s  – %s: %s (no longer)", at, was.Where, was.Title)
		}
	}
	c.found = now
}

// clockTime writes bench time as h:mm:ss.
func clockTime(seconds float64) string {
	s := int(seconds)
	return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
}

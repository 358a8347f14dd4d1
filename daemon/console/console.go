// Package console shows the bench in a terminal: a block of lines that is drawn
// over itself where there is a screen, and one plain line now and then where
// the output goes to a file or a pipe. The words are the page's.
package console

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/view"
)

// Console writes frames to a terminal or a file. It is not safe for use by
// several goroutines.
type Console struct {
	out    io.Writer
	screen bool
	set    control.Settings
	title  string

	drawn  int // lines of the block on the screen
	called uint64
	said   string
	found  []view.Condition // as they were last told
	saidAt float64          // bench time, in seconds
}

// New returns a console. screen says that out understands cursor movements and
// rings a bell.
func New(out io.Writer, screen bool, title string, s control.Settings) *Console {
	return &Console{out: out, screen: screen, set: s, title: title}
}

// Show writes what is new in a frame; nil stands for none yet.
func (c *Console) Show(f *frames.Frame) {
	b := view.Of(f, c.set, time.Now())
	if c.screen {
		c.draw(b)
		return
	}
	c.tell(b)
}

// draw writes the block over the one before, and rings the bell for a new call.
func (c *Console) draw(b view.Bench) {
	lines := c.block(b)
	var s strings.Builder
	if c.drawn > 0 {
		fmt.Fprintf(&s, "\x1b[%dA", c.drawn)
	}
	for _, l := range lines {
		s.WriteString(l + "\x1b[K\n")
	}
	s.WriteString("\x1b[J")
	s.WriteString(c.ring(b))
	c.drawn = len(lines)
	io.WriteString(c.out, s.String())
}

// ring returns the bells of a call that was not heard yet. A frame that is too
// old tells of none, and is no reason to ring again after it.
func (c *Console) ring(b view.Bench) string {
	if !b.Live || b.Call.Seq == c.called {
		return ""
	}
	c.called = b.Call.Seq
	if b.Call.Silenced {
		return ""
	}
	return bell(b.Call.Sound)
}

// bell rings once for news, twice for ready, three times for danger.
func bell(sound string) string {
	rings := map[string]int{"tick": 1, "act": 1, "ready": 2, "danger": 3}
	return strings.Repeat("\a", rings[sound])
}

// The block fits a terminal of 80 by 24: a longer line would wrap and a higher
// block scroll, and either would break the redrawing.
const (
	lineWidth   = 79
	blockHeight = 23
	nameWidth   = 14
	meltWidth   = 8
	setWidth    = 20
)

// block is the whole bench in a few lines.
func (c *Console) block(b view.Bench) []string {
	lines := []string{
		fmt.Sprintf("%s   %s", c.title, clockTime(b.BenchTimeS)),
		strings.ToUpper(b.Heat) + "   " + b.Shown.Power,
		"",
		b.Shown.Answer.C + detail(b.Shown.Detail),
		"",
	}
	for _, p := range b.Pots {
		lines = append(lines, potLines(p)...)
	}
	lines = clip(append(lines, ""))
	var last []string
	if b.Hot {
		last = caution
	}
	lines = append(lines, found(b.Conditions, blockHeight-len(lines)-len(last))...)
	return append(lines, last...)
}

// found lists conditions, the worst first, in at most so many lines, and says how
// many are left out.
func found(conditions []view.Condition, most int) []string {
	var lines []string
	for i, cond := range conditions {
		more := clip([]string{"! " + conditionText(cond)})
		rest := 0
		if i+1 < len(conditions) {
			rest = 1 // for the line below
		}
		if len(lines)+len(more)+rest > most {
			return append(lines, fmt.Sprintf("! and %d more, on the page", len(conditions)-i))
		}
		lines = append(lines, more...)
	}
	return lines
}

func conditionText(c view.Condition) string {
	return fmt.Sprintf("%s: %s (%s). %s", c.Where, c.Title, c.Status, c.Instruction)
}

var caution = []string{
	"HOT. Vinyl at 170 °C sticks and burns. This program is not the protection:",
	"the independent cut-out, the fuse, the earth and the emergency stop are.",
}

// clip folds every line that is too long.
func clip(lines []string) []string {
	var out []string
	for _, l := range lines {
		out = append(out, fold(strings.TrimRight(l, " "), lineWidth)...)
	}
	return out
}

// fold breaks a line at spaces.
func fold(line string, width int) []string {
	var out []string
	for runes := []rune(line); ; {
		if len(runes) <= width {
			return append(out, string(runes))
		}
		cut := width
		for i := width; i > width/2; i-- {
			if runes[i] == ' ' {
				cut = i
				break
			}
		}
		out = append(out, string(runes[:cut]))
		runes = append([]rune("  "), []rune(strings.TrimLeft(string(runes[cut:]), " "))...)
	}
}

func detail(d string) string {
	if d == "" {
		return ""
	}
	return " – " + d
}

// potLines are always two, so that nothing jumps when a wait ends.
func potLines(p view.Pot) []string {
	waits := strings.Join(slices.DeleteFunc([]string{p.Shown.Pour, p.Shown.Wait, p.Shown.Left}, func(s string) bool { return s == "" }), ", ")
	return []string{
		fmt.Sprintf("%d %s %s   %s %s", p.Number, pad(name(p), nameWidth),
			padLeft(p.Shown.Melt.C+" °C", meltWidth), pad(p.Shown.Against.C, setWidth), p.State),
		strings.Repeat(" ", nameWidth+3) + waits,
	}
}

// name is what people call a pot: its colour, or else its name on the bench.
func name(p view.Pot) string {
	if p.Colour != "" {
		return p.Colour
	}
	return p.Name
}

// pad fills to a width in characters, not bytes.
func pad(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-len([]rune(s))))
}

func padLeft(s string, width int) string {
	return strings.Repeat(" ", max(0, width-len([]rune(s)))) + s
}

// sayEvery is how often a plain console speaks when nothing has changed.
const sayEvery = time.Minute

// tell writes one line when something has changed, or a minute of bench time
// has passed.
func (c *Console) tell(b view.Bench) {
	if states := standing(b); states != c.said || b.BenchTimeS-c.saidAt >= sayEvery.Seconds() {
		c.said, c.saidAt = states, b.BenchTimeS
		c.say(b)
	}
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

func (c *Console) say(b view.Bench) {
	pots := make([]string, 0, len(b.Pots))
	for _, p := range b.Pots {
		pots = append(pots, fmt.Sprintf("%s %s °C %s", name(p), p.Shown.Melt.C, p.State))
	}
	at := clockTime(b.BenchTimeS)
	fmt.Fprintf(c.out, "%s  %s | %s | %s\n", at, strings.Join(pots, ", "), b.Heat, b.Shown.Answer.C)
	if b.Live { // of a bench that is not, nothing is known to be over
		c.sayFound(at, b.Conditions)
	}
}

// sayFound writes what is newly found, or has another status, and what is over.
func (c *Console) sayFound(at string, now []view.Condition) {
	for _, cond := range now {
		if !slices.Contains(c.found, cond) {
			fmt.Fprintf(c.out, "%s  ! %s\n", at, conditionText(cond))
		}
	}
	for _, was := range c.found {
		if !slices.ContainsFunc(now, func(cond view.Condition) bool { return cond.Code == was.Code && cond.Pot == was.Pot }) {
			fmt.Fprintf(c.out, "%s  – %s: %s (no longer)\n", at, was.Where, was.Title)
		}
	}
	c.found = now
}

// clockTime writes bench time as h:mm:ss.
func clockTime(seconds float64) string {
	s := int(seconds)
	return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
}

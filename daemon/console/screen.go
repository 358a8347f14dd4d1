package console

import (
	"fmt"
	"io"
	"strings"

	"meltwarden/daemon/view"
)

// Screen draws lines on a terminal, and only those again that have changed: a bench that
// stands beside others is watched over a slow line. It uses what every terminal
// understands. It is not safe for use by several goroutines.
type Screen struct {
	out     io.Writer
	colours bool

	size   Size
	shown  []string
	called uint64
}

// NewScreen returns one that has drawn nothing.
func NewScreen(out io.Writer, colours bool) *Screen { return &Screen{out: out, colours: colours} }

// Draw shows lines from the top; those for which the size has no room are left out.
func (s *Screen) Draw(size Size, lines []Line) error {
	var w strings.Builder
	if size != s.size {
		w.WriteString("\x1b[0m\x1b[2J")
		s.size, s.shown = size, make([]string, size.Height)
	}
	for i := range s.shown {
		row := ""
		if i < len(lines) {
			row = s.styled(Line{clip(lines[i].Text, size.Width), lines[i].Tone})
		}
		if row != s.shown[i] {
			fmt.Fprintf(&w, "\x1b[%d;1H\x1b[K%s", i+1, row)
			s.shown[i] = row
		}
	}
	_, err := io.WriteString(s.out, w.String())
	return err
}

// Forget has everything drawn again: something else wrote on the screen.
func (s *Screen) Forget() { s.size = Size{} }

// styled is a line with what sets it off. The words say the same without it.
func (s *Screen) styled(l Line) string {
	style := bare[l.Tone]
	if s.colours {
		style = coloured[l.Tone]
	}
	if style == "" || l.Text == "" {
		return l.Text
	}
	return style + l.Text + "\x1b[0m"
}

// What a tone looks like, by IEC 60073: red is danger, yellow abnormal, blue something
// that has to be done, green that all is well. Letters and ground are both set, so that
// they can be read on light and dark screens.
var (
	coloured = map[view.Tone]string{
		view.Danger: "\x1b[1;37;41m", view.Warn: "\x1b[30;43m", view.Attend: "\x1b[1;37;44m", view.Shoot: "\x1b[30;42m", view.Lost: "\x1b[1;7m",
	}
	bare = map[view.Tone]string{
		view.Danger: "\x1b[1;7m", view.Warn: "\x1b[1m", view.Attend: "\x1b[1m", view.Shoot: "\x1b[7m", view.Lost: "\x1b[1;7m",
	}
)

// Ring rings the bells of a call that was not heard yet. A bench that is not live tells
// of none, and is no reason to ring again after it.
func (s *Screen) Ring(b view.Bench) {
	if !b.Live || b.Call.Seq == s.called {
		return
	}
	s.called = b.Call.Seq
	if !b.Call.Silenced {
		s.Bell(b.Call.Sound)
	}
}

// Bell rings once for news, twice for ready, three times for danger.
func (s *Screen) Bell(sound string) {
	rings := map[string]int{"tick": 1, "act": 1, "ready": 2, "danger": 3}
	_, _ = io.WriteString(s.out, strings.Repeat("\a", rings[sound])) // what can not be drawn on is found out by Draw
}

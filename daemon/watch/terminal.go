package watch

import (
	"fmt"
	"os"

	"golang.org/x/term"
)

// terminal is one that is drawn on and typed at, until it is restored.
type terminal struct {
	in, out *os.File
	before  *term.State // nil where nothing can be typed
	keys    <-chan Key  // nil likewise
}

// What is written to a terminal (ECMA-48, and the private modes that xterm, tmux and the
// console of Linux know or pass over): another screen, no cursor, and what is pasted said
// to be so. At the end all of it is taken back, on a cleared screen for those that have
// only one.
const (
	enters = "\x1b[?1049h\x1b[?25l\x1b[?2004h"
	leaves = "\x1b[0m\x1b[?2004l\x1b[H\x1b[2J\x1b[?1049l\x1b[?25h"
)

func open(in, out *os.File) (*terminal, error) {
	t := &terminal{in: in, out: out}
	if term.IsTerminal(int(in.Fd())) {
		var err error
		if t.before, err = term.MakeRaw(int(in.Fd())); err != nil {
			return nil, fmt.Errorf("the terminal can not be typed at key by key: %w", err)
		}
		keys := make(chan Key)
		go readKeys(in, keys)
		t.keys = keys
	}
	if _, err := out.WriteString(enters); err != nil {
		t.restore()
		return nil, err
	}
	return t, nil
}

// restore leaves the terminal as it was. One that is gone needs nothing.
func (t *terminal) restore() {
	_, _ = t.out.WriteString(leaves)
	if t.before != nil {
		_ = term.Restore(int(t.in.Fd()), t.before)
	}
}

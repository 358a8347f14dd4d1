package watch

import (
	"bufio"
	"io"
	"unicode"

	"meltwarden/control"
	"meltwarden/daemon/view"
)

// Key is what was typed: a letter, or one of many that were pasted, which are no keys.
type Key struct {
	Rune   rune
	Pasted bool
}

// What some keys send in ASCII.
const (
	ctrlC, ctrlD, ctrlH, enter, lineFeed, ctrlL, ctrlU, escape, deletes = 3, 4, 8, '\r', '\n', 12, 21, 27, 127
)

// readKeys hands on what is typed until nothing more can be. What arrows and other keys
// send (ECMA-48, 5.4: escape and a bracket, up to a letter or a tilde) is passed over, so
// that none of its letters is taken for a mark.
func readKeys(in io.Reader, keys chan<- Key) {
	defer close(keys)
	typed := bufio.NewReader(in)
	pasting := false
	for {
		r, _, err := typed.ReadRune()
		if err != nil {
			return
		}
		// Escape alone is a key; what comes with it in one piece is a sequence.
		if r == escape && typed.Buffered() > 0 {
			switch sequence(typed) {
			case "200~":
				pasting = true
			case "201~":
				pasting = false
			}
			continue
		}
		keys <- Key{r, pasting}
	}
}

// sequence reads the rest of what a key has sent.
func sequence(typed *bufio.Reader) string {
	next := func() rune { r, _, _ := typed.ReadRune(); return r }
	switch next() {
	case 'O': // one letter more
		return string(next())
	case '[':
	default:
		return ""
	}
	s := ""
	for {
		r := next()
		s += string(r)
		switch {
		case s == "[": // a function key of the console: one letter more
		case r == 0 || r >= 0x40 && r <= 0x7e:
			return s
		}
	}
}

// mark is a key that marks something on the chosen pot.
type mark struct {
	key   rune
	kind  control.CommandKind
	label string
}

// marks are those of the page, by the page's keys; the first few are told of on every
// screen. What moves the heat of a pot is left to the page.
func marks() (all []mark) {
	for _, k := range view.PotKeys() {
		if kind, ok := control.CommandNamed(k.Do); ok && !k.Go && kind != control.TryOut {
			all = append(all, mark{rune(k.Key[0]), kind, k.Words})
		}
	}
	return all
}

// toldOf is how many marks are told of on every screen.
const toldOf = 6

// The other keys. Off is the only capital one: it needs two fingers.
const (
	keyShot, keyVerdict, keyNote, keyBack, keySilence = 'p', 'j', 'n', 'u', 'm'
	keyOff, keyUnit, keyHelp, keyLeave                = 'O', 'f', '?', 'q'
)

// entry is a line of text that is being typed.
type entry struct{ text []rune }

// mostTyped is how many letters the API takes.
const mostTyped = 200

// put takes a key, and reports whether the line is done, and whether it is to be kept.
func (e *entry) put(k Key) (done, keep bool) {
	switch {
	case k.Rune == escape, k.Rune == ctrlC:
		return true, false
	case k.Rune == enter && !k.Pasted:
		return true, true
	case k.Rune == ctrlU:
		e.text = nil
	case k.Rune == ctrlH, k.Rune == deletes:
		e.text = e.text[:max(0, len(e.text)-1)]
	default:
		e.add(k.Rune)
	}
	return false, false
}

// add adds a letter; what breaks a line becomes a blank, and what is none is left out.
func (e *entry) add(r rune) {
	if unicode.IsSpace(r) {
		r = ' '
	}
	if unicode.IsPrint(r) && len(e.text) < mostTyped {
		e.text = append(e.text, r)
	}
}

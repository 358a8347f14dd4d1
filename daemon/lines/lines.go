// Package lines writes text for a terminal, a line at a time: it breaks lines between
// words, and remembers the first error of its writer, so that who writes many lines asks
// once.
package lines

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// Wide is how many letters a line may have: the narrowest terminal has 80 columns, and some
// wrap at the last one.
const Wide = 79

// Writer remembers the first error of what it writes to.
type Writer struct {
	to  io.Writer
	err error
}

// To returns a writer to another one.
func To(w io.Writer) *Writer { return &Writer{to: w} }

// Write implements io.Writer. After an error it writes nothing more.
func (w *Writer) Write(p []byte) (n int, err error) {
	if w.err == nil {
		n, w.err = w.to.Write(p)
	}
	return n, w.err
}

// Line writes a line as it is.
func (w *Writer) Line(form string, args ...any) { fmt.Fprintf(w, form+"\n", args...) }

// Err is the first error.
func (w *Writer) Err() error { return w.err }

// Wrap breaks words into lines that a terminal has room for, each behind an indent. Those
// of an item that begins with a dash stand in further.
func Wrap(indent, words string) string {
	next := indent
	if strings.HasPrefix(words, "- ") {
		next += "  "
	}
	return Hang(indent, next, words)
}

// Hint is a command and what it is for, beside it or below.
func Hint(command, what string) string {
	if line := fmt.Sprintf("  %-45s  %s", command, what); utf8.RuneCountInString(line) <= Wide {
		return line
	}
	return "  " + command + "\n" + Wrap("      ", what)
}

// Hang breaks words likewise, the first line behind one indent, or a mark, and all others
// behind another.
func Hang(first, next, words string) string { return HangIn(Wide, first, next, words) }

// HangIn is Hang in lines of a width.
func HangIn(wide int, first, next, words string) string {
	return strings.Join(fold(wide, first, next, strings.Fields(words)), "\n")
}

// Fitted is a text whose lines are broken where a terminal has no room for them, each behind
// its own indent.
func Fitted(text string) string {
	all := strings.Split(text, "\n")
	for i, line := range all {
		if utf8.RuneCountInString(line) > Wide {
			indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
			all[i] = Hang(indent, indent, line)
		}
	}
	return strings.Join(all, "\n")
}

// fold puts words into lines of a width, the first behind one indent, or a mark, and all
// others behind another. One that is wider has a line of its own.
func fold(wide int, first, next string, words []string) (all []string) {
	line, empty := first, true
	for _, word := range words {
		switch {
		case empty && line != next && utf8.RuneCountInString(line)+utf8.RuneCountInString(word) > wide:
			all = append(all, strings.TrimRight(line, " "))
			line = next
		case empty:
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= wide:
			line += " "
		default:
			all = append(all, line)
			line = next
		}
		line, empty = line+word, false
	}
	return append(all, line)
}

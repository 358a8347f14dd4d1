package lines

import (
	"context"
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
)

// TestWrap: no line is longer than a terminal, none ends in a blank, no word is lost.
func TestWrap(t *testing.T) {
	words := strings.Repeat("wärmer als sonst ", 40)
	for _, text := range []string{Wrap("", words), Wrap("    ", "- "+words), Hang("  pot  ", "       ", words)} {
		for _, line := range strings.Split(text, "\n") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), Wide)
			assert.Equal(t, strings.TrimRight(line, " "), line)
		}
		assert.Equal(t, 120, strings.Count(text, "ä")+strings.Count(text, "als")+strings.Count(text, "sonst"))
	}
	assert.Equal(t, []string{"- a", "  b"}, []string{Wrap("", "- a"), strings.Split(Wrap("", "- "+strings.Repeat("x", Wide-2)+" b"), "\n")[1]})
	assert.Equal(t, "  ", Wrap("  ", ""))
	assert.Equal(t, strings.Repeat("x", 75)+"\n  bled", Hang(strings.Repeat("x", 75)+"  ", "  ", "bled"), "a first word that has no room behind its mark")
}

// TestFitted: what has room stays as it stands, and what has none keeps its indent.
func TestFitted(t *testing.T) {
	x := strings.Repeat("x", Wide-3)
	assert.Equal(t, "  0:15  left\n\n  "+x+"\n  bled\n", Fitted("  0:15  left\n\n  "+x+" bled\n"))
}

// TestHint: what a command is for stands beside it while there is room.
func TestHint(t *testing.T) {
	assert.Equal(t, "  runs"+strings.Repeat(" ", 43)+"all of them", Hint("runs", "all of them"))
	assert.Equal(t, "  "+strings.Repeat("x", 70)+"\n      all of them", Hint(strings.Repeat("x", 70), "all of them"))
}

type full struct{ left int }

func (f *full) Write(p []byte) (int, error) {
	if f.left--; f.left < 0 {
		return 0, errors.New("full")
	}
	return len(p), nil
}

// TestTheFirstErrorIsKept, and nothing is written after it.
func TestTheFirstErrorIsKept(t *testing.T) {
	to := &full{1}
	w := To(to)
	w.Line("one")
	assert.NoError(t, w.Err())
	w.Line("two")
	w.Line("three")
	assert.EqualError(t, w.Err(), "full")
	assert.Equal(t, -1, to.left)
}

// TestTypedAhead: what is typed is handed on line by line, some before it is asked for, and
// the end of it closes the channel; so does the context's.
func TestTypedAhead(t *testing.T) {
	all := Typed(t.Context(), strings.NewReader("ice\naccept"), 2)
	assert.Equal(t, "ice", <-all)
	assert.Equal(t, "accept", <-all)
	_, open := <-all
	assert.False(t, open)
	ctx, end := context.WithCancel(t.Context())
	end()
	for range Typed(ctx, strings.NewReader(strings.Repeat("ice\n", 3)), 0) {
	}
}

package strict_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config/strict"
)

var anything = strict.Kind[string]{Parse: func(s string) (string, error) { return s, nil }, Example: "x"}

func TestProblemsComeInTheOrderOfLines(t *testing.T) {
	src, top := strict.Read("a.yaml", []byte("b: [1]\na: 1\nc: {d: 1}\n"))
	strict.Required(top, "a", anything)
	strict.Required(top, "c", anything)
	strict.Required(top, "b", anything)
	src.Add(strict.Problem{File: "elsewhere", Wrong: "wrong", Fix: "fix"})
	src.Complain("a", "wrong", "fix")
	src.Complain("a", "wrong again", "a second is a consequence")
	require.EqualError(t, src.Err(), `a.yaml:1: b: one value wanted here, not a list or a section; write it like "x"
a.yaml:2: a: "1": wrong; fix
a.yaml:3: c: one value wanted here, not a list or a section; write it like "x"
elsewhere: wrong; fix`)
}

func TestOddKeysAreQuoted(t *testing.T) {
	src, top := strict.Read("a.yaml", []byte("\"a.b\\nc\": 1\n? [k]\n: 2\n"))
	top.Done()
	require.EqualError(t, src.Err(), `a.yaml:1: "a.b\nc": unknown key; leave it out; known here: 
a.yaml:2: a key that is no word; write "key: value"`)
}

func TestLongValuesAreShortened(t *testing.T) {
	src, _ := strict.Read("a.yaml", []byte("a: "+strings.Repeat("é", 100)))
	src.Complain("a", "wrong", "fix")
	require.EqualError(t, src.Err(), `a.yaml:1: a: "`+strings.Repeat("é", 60)+`…": wrong; fix`)
}

func TestWhatIsTooLargeIsNotRead(t *testing.T) {
	src, _ := strict.Read("a.yaml", []byte("a: "+strings.Repeat("x", 1<<20)))
	require.EqualError(t, src.Err(), "a.yaml: larger than a megabyte; give a file of this program's own format")
}

func TestAgainForgetsTheProblems(t *testing.T) {
	src, _ := strict.Read("a.yaml", []byte("a: 1"))
	src.Complain("a", "wrong", "fix")
	require.NoError(t, src.Again().Err())
	var none *strict.Source
	again := none.Again()
	again.Complain("a", "wrong", "fix")
	require.EqualError(t, again.Err(), "recipe: a: wrong; fix")
}

func TestNearest(t *testing.T) {
	known := []string{"melt-trip", "plate-limit", "plate-trip", "name"}
	for typed, want := range map[string]string{
		"Melt_Trip": "melt-trip", "melttrip": "melt-trip", "mlet-trip": "melt-trip", "plate limits": "plate-limit",
		"nmae": "name", "watchdog": "", "": "", "plate": "",
	} {
		got, ok := strict.Nearest(typed, known)
		assert.Equal(t, want, got, typed)
		assert.Equal(t, want != "", ok, typed)
	}
	// The textbook pair is three letters apart, more than a word of six may be
	// (Wagner and Fischer, J. ACM 21 (1974) 168–173; the pair from memory).
	_, ok := strict.Nearest("sitting", []string{"kitten"})
	assert.False(t, ok)
	_, ok = strict.Nearest("siting", []string{"sitting"})
	assert.True(t, ok)
}

package main

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestHelpFitsATerminal of 80 columns, says in one line what a command is for, how it is
// written and what its end means.
func TestHelpFitsATerminal(t *testing.T) {
	said, err := run(t.Context(), "--help")
	require.NoError(t, err)
	assertNarrow(t, "meltwarden", said)
	for name, c := range runnable() {
		said, err := run(t.Context(), append(strings.Fields(name), "--help")...)
		require.NoError(t, err, name)
		assertNarrow(t, name, said)
		for _, part := range []string{"Usage:\n", "Examples:\n", "Flags:\n", "Exit status:\n"} {
			assert.Contains(t, said, part, name)
		}
		if !strings.HasPrefix(name, "estimate ") { // whose questions are sentences
			assert.LessOrEqual(t, utf8.RuneCountInString(c.Short), 65, name)
			assert.NotRegexp(t, `\.$`, c.Short, name)
		}
	}
	for name := range guides {
		assert.Contains(t, runnable(), name, "a guide to nothing")
	}
}

func assertNarrow(t *testing.T, name, said string) {
	t.Helper()
	for line := range strings.Lines(said) {
		assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), 79, "%s: %s", name, line)
	}
}

// TestExamplesAreWritten as their commands want it.
func TestExamplesAreWritten(t *testing.T) {
	for name, g := range guides {
		for _, e := range g.examples {
			e, _, _ = strings.Cut(e, " > ")
			if name == "completion" {
				e = regexp.MustCompile(`completion \w+`).FindString(e)
			}
			assert.NoError(t, parses(shellWords(e), true), e)
		}
	}
}

// TestTheReadmesCommandsAreWritten as the program wants them: in its blocks, its tables and
// its sentences.
func TestTheReadmesCommandsAreWritten(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	tried := 0
	try := func(words []string, whole bool) {
		if c, _, err := root().Find(words); err != nil || !c.HasParent() {
			return // something else
		}
		tried++
		assert.NoError(t, parses(words, whole), strings.Join(words, " "))
	}
	ours := regexp.MustCompile(`^(?:\./|go run \./cmd/)?meltwarden `)
	for line := range strings.Lines(string(readme)) {
		if block, is := strings.CutPrefix(line, "    "); is {
			block, _, _ = strings.Cut(block, " #")
			if ours.MatchString(block) {
				try(shellWords(ours.ReplaceAllString(block, "")), true)
			}
			continue
		}
		var last []string // the command that a flag goes with
		for _, span := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(line, -1) {
			words := shellWords(strings.TrimPrefix(span[1], "meltwarden "))
			if c, _, err := root().Find(last); isFlag(words[0]) && len(words) == 1 && err == nil && c.HasParent() {
				tried++
				assert.NotNil(t, c.Flags().Lookup(words[0][2:]), "%s %s", c.Name(), words[0])
				continue
			}
			if isFlag(words[0]) {
				try(append(append([]string{}, last...), words...), false)
				continue
			}
			try(words, len(words) > 1)
			last = words[:slices.IndexFunc(append(words, "--"), isFlag)]
		}
	}
	assert.Greater(t, tried, 40)
	t.Logf("%d commands of the README are written as the program wants them", tried)
}

func isFlag(word string) bool { return strings.HasPrefix(word, "--") }

// parses reports what is wrong with a command line; whole says that nothing is left out of
// it.
func parses(words []string, whole bool) error {
	c, rest, err := root().Find(words)
	if err != nil {
		return err
	}
	if err := c.ParseFlags(rest); err != nil {
		return err
	}
	if !whole {
		return nil
	}
	if err := c.ValidateArgs(c.Flags().Args()); err != nil {
		return err
	}
	if c.PreRunE != nil {
		if err := c.PreRunE(c, c.Flags().Args()); err != nil {
			return err
		}
	}
	return c.ValidateRequiredFlags()
}

// shellWords parts a command line where a shell would.
func shellWords(line string) (words []string) {
	for _, m := range regexp.MustCompile(`(?:[^\s"']|"[^"]*"|'[^']*')+`).FindAllString(line, -1) {
		words = append(words, regexp.MustCompile(`["']`).ReplaceAllString(m, ""))
	}
	return words
}

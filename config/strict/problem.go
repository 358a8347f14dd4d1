package strict

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"meltwarden/config/quantity"
)

// Problem is one thing wrong with a file: where, what and what to do about it.
type Problem struct {
	File  string
	Line  int    // from 1; zero when the problem has no line
	Key   string // the way to the value, such as pots[2].heater.power; lists count from 1
	Value string // as typed; "" when there is none to show
	Wrong string
	Fix   string
}

// String returns the problem in one line.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	b.WriteString(": ")
	if p.Key != "" {
		b.WriteString(p.Key + ": ")
	}
	if p.Value != "" {
		fmt.Fprintf(&b, "%q: ", shortened(p.Value))
	}
	b.WriteString(p.Wrong + "; " + p.Fix)
	return b.String()
}

// shortened keeps a message in one line of a terminal.
func shortened(value string) string {
	const most = 60
	if r := []rune(value); len(r) > most {
		return string(r[:most]) + "…"
	}
	return value
}

// Error is every problem of a file, in the order of its lines.
type Error struct{ Problems []Problem }

// Error returns one line for each problem.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// Complain notes that the value at a key path is wrong. A path that already has
// a problem gets no second one, since that would be its consequence.
func (s *Source) Complain(path, wrong, fix string) {
	if s.failed[path] {
		return
	}
	s.failed[path] = true
	p := s.at(path)
	p.Wrong, p.Fix = wrong, fix
	s.problems = append(s.problems, p)
}

// complainOf notes an error of a parser, which knows the fix itself.
func (s *Source) complainOf(path string, err error, example string) {
	var f *quantity.Fault
	if errors.As(err, &f) {
		s.Complain(path, f.Wrong, f.Fix)
		return
	}
	s.Complain(path, err.Error(), "write it like "+example)
}

// Add notes a problem that lies outside the file, such as one of the environment.
func (s *Source) Add(p Problem) { s.problems = append(s.problems, p) }

// at returns a problem that points to a path, or to what would contain it.
func (s *Source) at(path string) Problem {
	p := Problem{File: s.file, Key: path, Value: s.places[path].value}
	for ; path != ""; path = parent(path) {
		if place, ok := s.places[path]; ok {
			p.Line = place.line
			return p
		}
	}
	p.Line = s.places[""].line
	return p
}

// parent cuts the last step off a path: pots[2].name, pots[2], pots, "".
func parent(path string) string {
	return path[:max(0, strings.LastIndexAny(path, ".["))]
}

// Again returns the same file without its problems, for a second look at values
// that were right by themselves. Of no source it makes one without places, for
// values that came from no file.
func (s *Source) Again() *Source {
	if s == nil {
		s = &Source{file: "recipe"}
	}
	return &Source{file: s.file, places: s.places, failed: map[string]bool{}}
}

// Failed reports whether anything at or under a path is wrong.
func (s *Source) Failed(path string) bool {
	for p := range s.failed {
		if strings.HasPrefix(p, path) {
			return true
		}
	}
	return false
}

// Err returns all problems as an *Error, or nil when there are none.
func (s *Source) Err() error {
	if len(s.problems) == 0 {
		return nil
	}
	sorted := slices.Clone(s.problems)
	slices.SortStableFunc(sorted, func(a, b Problem) int { return cmp.Compare(a.order(), b.order()) })
	return &Error{sorted}
}

// order puts what has no line after everything that has one.
func (p Problem) order() int {
	if p.Line == 0 {
		return math.MaxInt
	}
	return p.Line
}

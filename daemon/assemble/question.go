package assemble

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"meltwarden/config/strict"
)

// Question is one thing to be answered. It is data: who asks it, on a form or in a plain
// line, decides nothing.
type Question struct {
	Key  string
	Step Step
	Ask  string
	Help string // why it is asked, or how to find out; may be ""
	// Among are the answers to choose from. With Open anything else may be typed as well.
	Among []Choice
	Open  bool
	// Numeric says that a number is an answer by itself, and never one of Among by its place.
	Numeric bool
	// Usual is the answer that Enter alone gives, or "".
	Usual string
	// Check returns an answer, chosen or typed, as it is kept, or says what is wrong with it.
	Check func(typed string) (string, error)
	// Voids are beginnings of keys whose answers count no more once this one is another.
	Voids []string
	// Do is what follows before the answer counts.
	Do Action
}

// Choice is an answer to choose.
type Choice struct{ Value, Words string }

// Action is what is to be done at the bench for an answer to count. None of them writes to
// a device.
type Action uint8

// The actions.
const (
	Nothing Action = iota
	NotePort
	LookForDevices
	AskWhich
	ShowProbe
	TakeOff
	ShowContact
	ShowOutput
	ShowProcess
)

// accept returns an answer as it is kept, or says what is wrong with it.
func (q Question) accept(typed string) (string, error) {
	if typed = strings.TrimSpace(typed); typed == "" {
		typed = q.Usual
	}
	if typed == "" {
		return "", errors.New("nothing was typed; an answer is needed here")
	}
	chosen, is := q.chosen(typed)
	switch {
	case is:
		typed = chosen
	case len(q.Among) > 0 && !q.Open:
		return "", fmt.Errorf("%q: is none of the answers; %s", typed, q.offer(typed))
	}
	if q.Check == nil {
		return typed, nil
	}
	return q.Check(typed)
}

// chosen is the choice that was typed, by its value or its place.
func (q Question) chosen(typed string) (string, bool) {
	if n, err := strconv.Atoi(typed); err == nil && !q.Numeric && 1 <= n && n <= len(q.Among) {
		return q.Among[n-1].Value, true
	}
	for _, c := range q.Among {
		if strings.EqualFold(typed, c.Value) {
			return c.Value, true
		}
	}
	return "", false
}

// offer names the choice that was meant, or all.
func (q Question) offer(typed string) string {
	var words []string
	for _, c := range q.Among {
		words = append(words, c.Value)
	}
	if near, is := strict.Nearest(typed, words); is {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return "write one of " + strings.Join(words, ", ")
}

// toDo are answers in whose place comes what they find out.
var toDo = []string{hold, push, seen, which}

// script is the questions that follow from the answers so far.
type script struct {
	a     Answers
	asked []Question
	// open is the place of the first question without an answer that counts, or -1, and why
	// is what is wrong with the answer that it has, if any.
	open int
	why  error
}

// ask adds a question and returns its answer as it is kept, "" where there is none that
// counts. A draft that was changed by hand may have it as it is typed.
func (s *script) ask(q Question) string {
	s.asked = append(s.asked, q)
	var why error
	if answer := s.a[q.Key]; answer != "" && !(q.Do != Nothing && slices.Contains(toDo, answer)) {
		kept, err := q.accept(answer)
		if err == nil {
			s.a[q.Key] = kept
			return kept
		}
		why = err
	}
	if s.open < 0 {
		s.open, s.why = len(s.asked)-1, why
	}
	return ""
}

// known reports whether all that was asked so far is answered.
func (s *script) known() bool { return s.open < 0 }

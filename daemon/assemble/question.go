package assemble

import (
	"fmt"
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
	// Check returns an answer as it is kept, or says what is wrong with it.
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
	HoldProbes
	ShowProbe
	TakeOff
	ShowContact
)

// accept returns an answer as it is kept, or says what is wrong with it.
func (q Question) accept(typed string) (string, error) {
	typed = strings.TrimSpace(typed)
	if typed == "" {
		typed = q.Usual
	}
	if typed == "" {
		return "", fmt.Errorf("nothing was typed; an answer is needed here")
	}
	if n, err := strconv.Atoi(typed); err == nil && !q.Numeric && 1 <= n && n <= len(q.Among) {
		return q.Among[n-1].Value, nil
	}
	var words []string
	for _, c := range q.Among {
		if strings.EqualFold(typed, c.Value) {
			return c.Value, nil
		}
		words = append(words, c.Value)
	}
	if len(q.Among) > 0 && !q.Open {
		fix := "write one of " + strings.Join(words, ", ")
		if near, is := strict.Nearest(typed, words); is {
			fix = fmt.Sprintf("did you mean %q?", near)
		}
		return "", fmt.Errorf("%q: is none of the answers; %s", typed, fix)
	}
	if q.Check == nil {
		return typed, nil
	}
	return q.Check(typed)
}

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
	if answer := s.a[q.Key]; answer != "" {
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

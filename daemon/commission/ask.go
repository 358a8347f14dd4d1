package commission

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"meltwarden/daemon/lines"
)

// ask goes through the questions that are not answered yet, and saves each answer. At the
// end it shows all of them, since nobody else will see a wrong one.
func (s *session) ask(ctx context.Context) error {
	if len(s.record.openQuestions(s.Bench)) == 0 {
		return nil
	}
	s.say(beforeQuestions)
	next, err := s.openFrom(0), error(nil)
	for err == nil {
		if next < len(questions) {
			next, err = s.answer(ctx, next)
			continue
		}
		if open := s.record.openQuestions(s.Bench); len(open) > 0 {
			return incomplete(open...)
		}
		next, err = s.pick(ctx, len(questions), "Is every answer right? Press Enter if it is, or type the number of the one to answer again.")
		if next == len(questions) {
			break
		}
	}
	return err
}

// openFrom is the first open question from one on, or how many there are.
func (s *session) openFrom(from int) int {
	for i := from; i < len(questions); i++ {
		if s.record.open(&questions[i], s.Bench) != "" {
			return i
		}
	}
	return len(questions)
}

// answer asks one question, saves what a person says, and returns which comes next.
func (s *session) answer(ctx context.Context, at int) (next int, err error) {
	q := &questions[at]
	s.say("\n%d of %d, %s\n%s\n", at+1, len(questions), q.key, lines.Wrap("   ", q.text))
	if q.file != nil {
		s.say("%s\n", lines.Wrap("   ", "The bench file says: "+q.file(s.Bench.Protection)))
	}
	counts := s.record.open(q, s.Bench) == ""
	if counts {
		s.say("%s\n", lines.Hang("   ", "     ", "Enter keeps: "+s.record.answer(q.key).Words))
	}
	for {
		s.prompt()
		words, err := s.readLine(ctx)
		switch {
		case err != nil:
			return at, err
		case words == "<" && at == 0:
			s.say("   This is the first question.\n")
			continue
		case words == "<":
			return at - 1, nil
		case words == "?":
			return s.pick(ctx, at, "Type the number of the one to answer again, or press Enter to go on.")
		case words == "":
			if !counts {
				s.say("   Not answered.\n")
			}
			return s.openFrom(at + 1), nil
		}
		if err := q.acceptNow(words, s.Bench, time.Now()); err != nil {
			s.say("   Not accepted: %v.\n", err)
			if !denied(words) {
				continue
			}
		}
		s.record.Answers = put(s.record.Answers, Answer{q.key, words, time.Now()},
			func(a Answer) bool { return a.Question == q.key })
		return s.openFrom(at + 1), s.save()
	}
}

// pick shows all answers, and returns which question comes next: one that a person wants to
// answer again, or the one that was to come.
func (s *session) pick(ctx context.Context, from int, asks string) (next int, err error) {
	s.say("\n")
	for i, q := range questions {
		words := "not answered"
		if a := s.record.answer(q.key); a != nil {
			words = a.Words
		}
		s.say("%s\n", lines.Hang(fmt.Sprintf("  %2d  ", i+1), "      ", q.key+": "+words))
	}
	s.say("\n%s\n", lines.Wrap("   ", asks))
	for {
		s.prompt()
		words, err := s.readLine(ctx)
		if err != nil || words == "" || slices.Contains(assents, plain(words)) {
			return from, err
		}
		if words == "<" && from > 0 {
			return from - 1, nil
		}
		if n, err := strconv.Atoi(words); err == nil && n >= 1 && n <= len(questions) {
			return n - 1, nil
		}
		s.say("   Not accepted: type the number of an answer to change it, 1 to %d, or only press Enter.\n", len(questions))
	}
}

// Package assemble leads a maker from a box of parts to a bench file: it asks for names,
// supply and what protects the bench, finds serial ports, devices, probes and contacts by
// reading, and asks of heaters what no reading can find. What was answered is kept at once in
// a draft beside the bench file to be, so that a session can end anywhere and go on later.
//
// It heats nothing, and writes to no device before the bench file is there. What it can not
// find out is asked, and shown as it reads before it counts; an answer that does not fit is
// asked again, never taken. The bench file is held against its own rules before it is
// written, and never written over one that is there.
package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/config/strict"
	"meltwarden/daemon/console"
	"meltwarden/daemon/lines"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/ports"
)

// Options are what a session is made from. All are required but Screen and Forms.
type Options struct {
	File  string // the bench file to be; it must not exist
	In    *Typed
	Out   io.Writer
	Clock *clock.Clock
	Open  devices.Opener
	Ports ports.Source
	// Forms has questions asked on forms, at a terminal that is In and Out; Screen has live
	// readings drawn in place.
	Forms, Screen bool
	Size          func() console.Size
	// Echo has answers repeated where they were not typed at a terminal.
	Echo bool
}

// ErrStopped is returned when the session was stopped, or nobody answers any more.
var ErrStopped = errors.New("stopped")

// asker asks one question.
type asker interface {
	// ask returns what was typed, unchecked. wrong is why the answer before was not taken.
	ask(ctx context.Context, q Question, wrong error) (string, error)
}

// What can be typed in the place of any answer.
const (
	back   = "<"
	review = "?"
)

// errBack is returned where a maker went back from what belongs to a question to itself.
var errBack = errors.New("back")

type session struct {
	Options
	Answers
	asker
	around Around
	was    Answers // answers that were taken back, to be offered again
	told   Step    // the step that was told last, plus one
}

// Run leads a maker through all questions, and writes bench file and recipe. The draft stays
// until Drop: what was answered of it may have to be handed on. The error says when it was
// stopped.
func Run(ctx context.Context, o Options) error {
	s := &session{Options: o, was: Answers{}, around: Around{File: o.File}}
	var err error
	if s.Answers, err = readDraft(s.draft()); err != nil {
		return err
	}
	s.voidOpen()
	if s.asker = plainly(o); o.Forms {
		s.asker = onForms(o)
	}
	s.open()
	if err := s.all(ctx); err != nil {
		if errors.Is(err, ErrStopped) {
			err = fmt.Errorf("%w; what was answered is in %s: run the same command to go on", err, s.draft())
		}
		return err
	}
	return nil
}

func (s *session) draft() string { return DraftOf(s.File) }

// say prints paragraphs, each broken for the terminal; those that stand in hang.
func (s *session) say(words string, args ...any) {
	for line := range strings.SplitSeq(fmt.Sprintf(words, args...), "\n") {
		indent := line[:len(line)-len(strings.TrimLeft(line, " "))]
		next := indent
		if indent != "" || strings.HasPrefix(line, "- ") {
			next += "  "
		}
		fmt.Fprintln(s.Out, strings.TrimRight(lines.HangIn(s.width(), indent, next, line), " "))
	}
}

// width is how many columns there are to write in.
func (o Options) width() int {
	if o.Size == nil {
		return lines.Wide
	}
	return max(least, min(o.Size().Width-1, lines.Wide))
}

// least is how many columns are written in where a terminal says that it has fewer.
const least = 30

const opening = `There is no %s yet: this makes it, from a box of parts, step by step.

It takes 30 to %.0f minutes in all (an estimate) and can be stopped at any time, by Ctrl-C too: the answers are kept in %s, and the same command goes on. Type < to go back one question, and ? to see all answers and change one.

HEAT IS OFF until the bench file is written: devices are only read. Trying out, the last step, warms each plate a little, and waits for a press of the enable button each time. Press the emergency stop, or keep the heaters without supply, and end every other program that uses the serial line.

THE PROGRAM IS NOT THE PROTECTION. Liquid vinyl at 170 °C, its fumes, mains voltage and closed moulds can hurt and kill. Mains wiring is for a licensed electrician; local codes have the last word.`

func (s *session) open() {
	if len(s.Answers) > 0 {
		s.say("Going on with what is in %s. HEAT IS OFF: devices are only read.", s.draft())
		return
	}
	s.say(opening, s.File, toGo(TheBench, usualPots).Round(10*time.Minute).Minutes(), s.draft())
}

// all asks what is open until nothing is.
func (s *session) all(ctx context.Context) error {
	var wrong error
	s.findPorts()
	for {
		now, atPorts := s.script(s.around), false
		if !now.known() && strings.HasSuffix(now.asked[now.open].Key, "-port") { // an adapter may have been plugged in since
			s.findPorts()
			now = s.script(s.around)
			atPorts = true
		}
		if now.known() {
			return s.finish()
		}
		q := now.asked[now.open]
		if wrong == nil {
			wrong = now.why
		}
		s.header(q.Step)
		if atPorts && wrong == nil {
			for _, note := range s.around.Ports.Notes() {
				s.say("- %s", note)
			}
		}
		if q.Key == "write" {
			s.preview()
		}
		if was := s.was[q.Key]; was != "" {
			q.Usual = was
		}
		var err error
		if wrong, err = s.one(ctx, now.asked, q, wrong); err != nil {
			return err
		}
	}
}

// findPorts looks which serial ports there are; one that is not found can be typed.
func (s *session) findPorts() {
	found, err := s.Ports()
	if err != nil {
		found = ports.List{Without: err.Error()}
	}
	s.around.Ports = found
}

// one asks one question; wrong says why its answer was not taken.
func (s *session) one(ctx context.Context, asked []Question, q Question, before error) (wrong, err error) {
	typed, err := s.ask(ctx, q, before)
	if err != nil {
		return nil, err
	}
	switch strings.TrimSpace(typed) {
	case back:
		return s.goBack(asked, q), nil
	case review:
		return nil, s.review(ctx, asked)
	}
	answer, err := q.accept(typed)
	if err != nil {
		return err, nil
	}
	return s.take(ctx, q, answer)
}

// take keeps an answer once what it asks for is done.
func (s *session) take(ctx context.Context, q Question, answer string) (wrong, err error) {
	if before, had := s.was[q.Key]; had && before != answer {
		s.void(q)
	}
	s.Answers[q.Key] = answer
	wrong, err = s.do(ctx, q, answer)
	if wrong != nil || err != nil {
		delete(s.Answers, q.Key)
		if errors.Is(err, errBack) {
			err = nil
		}
		return wrong, errors.Join(err, s.save())
	}
	delete(s.was, q.Key)
	if q.Key == "write" && answer == "no" {
		delete(s.Answers, q.Key)
		return nil, errors.Join(ErrStopped, s.save())
	}
	return nil, s.save()
}

// void takes back what an answer made true, and offers it no more.
func (s *session) void(q Question) {
	for _, all := range []Answers{s.Answers, s.was} {
		maps.DeleteFunc(all, func(key, _ string) bool {
			return key != q.Key && slices.ContainsFunc(q.Voids, func(v string) bool { return strings.HasPrefix(key, v) })
		})
	}
}

// voidOpen takes back what rested on an answer that a draft has not: it may have been taken
// back before a session was stopped, or out by hand, and comes back as another.
func (s *session) voidOpen() {
	for _, q := range s.script(s.around).asked {
		if s.Answers[q.Key] == "" {
			s.void(q)
		}
	}
}

func (s *session) save() error {
	if err := s.write(s.draft(), s.File, s.script(s.around).asked); err != nil {
		return fmt.Errorf("the answers can not be kept: %w: name a bench file in a folder that can be written to", err)
	}
	return nil
}

// goBack takes back the answer before a question.
func (s *session) goBack(asked []Question, q Question) error {
	i := slices.IndexFunc(asked, func(o Question) bool { return o.Key == q.Key })
	if i <= 0 {
		return errors.New("this is the first question")
	}
	s.takeBack(asked[i-1])
	return nil
}

func (s *session) takeBack(q Question) {
	s.was[q.Key] = s.Answers[q.Key]
	delete(s.Answers, q.Key)
	s.told = 0
}

// review lists all answers, and has one changed.
func (s *session) review(ctx context.Context, asked []Question) error {
	given := slices.DeleteFunc(slices.Clone(asked), func(q Question) bool { return s.Answers[q.Key] == "" })
	s.say("")
	for i, q := range given {
		s.say("  %2d  %s\n      %s", i+1, q.Ask, s.Answers[q.Key])
	}
	answer, err := s.until(ctx, Question{Ask: "Which of them is to be changed?", Help: "Its number, or none.", Usual: none,
		Check: func(typed string) (string, error) {
			if n, err := strconv.Atoi(typed); typed != none && (err != nil || n < 1 || n > len(given)) {
				return "", fmt.Errorf("%q: write a number from 1 to %d, or none", typed, len(given))
			}
			return typed, nil
		}})
	if n, no := strconv.Atoi(answer); err == nil && no == nil {
		s.takeBack(given[n-1])
	}
	if errors.Is(err, errBack) {
		err = nil
	}
	return err
}

// until asks something that is kept nowhere until there is an answer.
func (s *session) until(ctx context.Context, q Question) (string, error) {
	for wrong := error(nil); ; {
		typed, err := s.ask(ctx, q, wrong)
		if err != nil {
			return "", err
		}
		if strings.TrimSpace(typed) == back {
			return "", errBack
		}
		var answer string
		if answer, wrong = q.accept(typed); wrong == nil {
			return answer, nil
		}
	}
}

// header tells of a step when it begins: what is done, what is left, and for how long.
func (s *session) header(step Step) {
	if s.told == step+1 {
		return
	}
	s.told = step + 1
	pots := len(s.pots())
	if pots == 0 {
		pots = usualPots
	}
	s.say("\nStep %d of %d: %s", step+1, steps, titles[step])
	if step > 0 {
		s.say("  Done: %s.", strings.Join(titles[:step], ", "))
	}
	if step+1 < steps {
		s.say("  Left: %s.", strings.Join(titles[step+1:], ", "))
	}
	s.say("  Up to %.0f minutes to go (an estimate).", toGo(step, pots).Minutes())
	if step == TheHeaters {
		s.say(aboutTimeOut)
	}
	if s.Forms {
		s.say("")
	}
}

const aboutTimeOut = `
The device that switches them has to let go by itself when its line goes silent. Most come with that switched off. Look in its manual for communication time-out, watchdog or fail-safe time, and set it now, with its maker's own tool or switches: 1.5 s or less, with all outputs off, stored so that it outlasts switching off. Nothing is written to it here; trying out finds out whether it is so, after some twenty minutes, and stops where it is not.`

// preview shows the bench file before it is written, and what is wrong with it.
func (s *session) preview() {
	s.say("\nThis is to be %s:\n", s.File)
	s.say("%s", strings.TrimSuffix(s.facts(s.File).text(), "\n"))
	if err := s.good(s.File); err != nil {
		s.say("\nIt can not be written so:\n%s\nType ? and change what is wrong.", wordsOf(err))
	}
}

// finish writes the files. Those that it has written before a loss of power stay.
func (s *session) finish() error {
	f := s.facts(s.File)
	if s.Answers["recipe"] == begin {
		path := filepath.Join(filepath.Dir(s.File), f.recipe)
		if err := create(path, s.recipeText()); err != nil {
			return fmt.Errorf("recipe %s: %w", path, err)
		}
		s.say("\n%s is written: a recipe to begin with. All in it is invented but how much goes into each pot: put in your own temperatures.", path)
	}
	if err := create(s.File, f.text()); err != nil {
		return fmt.Errorf("bench file %s: %w", s.File, err)
	}
	s.say("%s is written. It has no probe of room, mould or injector, no lamp and no buzzer: meltwarden examples has lines for them. Add them now, before trying out: later that takes a commissioning anew.", s.File)
	return nil
}

// Drop removes the draft, once all that it holds stands elsewhere.
func Drop(benchFile string) error {
	err := os.Remove(DraftOf(benchFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

// Left are the answers of a draft that led to the bench file and was not removed, nil where
// there is none that did.
func Left(benchFile string) Answers {
	a, err := readDraft(DraftOf(benchFile))
	if err != nil || a["write"] != "yes" {
		return nil
	}
	if is, err := os.ReadFile(benchFile); err != nil || string(is) != a.facts(benchFile).text() {
		return nil
	}
	return a
}

// wordsOf is an error in one paragraph.
func wordsOf(err error) string {
	if e, is := errors.AsType[*strict.Error](err); is {
		var all []string
		for _, p := range e.Problems {
			all = append(all, p.String())
		}
		return strings.Join(all, "\n")
	}
	return err.Error()
}

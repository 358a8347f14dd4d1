package commission

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/ports"
)

// Options are what a session is made from. All are required but Seen and Anew.
type Options struct {
	Bench *config.Bench
	// Wiring is the I/O edge of the same bench, and Open opens its ports, again and
	// again.
	Wiring  devices.Config
	Open    devices.Opener
	Clock   *clock.Clock
	History *history.Store
	// In is where a person answers, line by line, and Out where the session asks. At a
	// Terminal, what was typed before a question is no answer to it.
	In       io.Reader
	Terminal bool
	Out      io.Writer
	Version  string
	// Seen says which adapter a line has to have, where that is known; nil records none.
	Seen func(line string) (ports.Identity, bool)
	// Anew forgets what is on record, and begins again.
	Anew bool
}

// Why a session ends before it is complete.
var (
	// ErrStopped is returned when the context ended.
	ErrStopped = errors.New("stopped; what was done is on record: run the same command to go on")
	// ErrIncomplete is wrapped by the error that says what is missing.
	ErrIncomplete = errors.New("the bench is not commissioned")
)

// session is one run of the command.
type session struct {
	Options
	record *Record
	lines  <-chan string // what is typed; closed at the end of the input
}

// Run leads a person through what is missing of the record, and saves every step
// as soon as it is done. It returns nil when the record is complete. A read from
// In may outlast it, until the next line.
func Run(ctx context.Context, o Options) error {
	ctx, done := context.WithCancel(ctx)
	defer done()
	s := &session{Options: o, lines: lines.Typed(ctx, o.In, mostAhead)}
	s.say(opening, o.Bench.Name, Takes(o.Bench).Minutes(), dipTakes.Minutes())
	for _, w := range warnings(o.Bench) {
		s.say("WARNING: %s.\n\n", w)
	}
	if missing := unfit(s.Bench); len(missing) > 0 {
		return incomplete(missing...)
	}
	for _, step := range []func() error{
		s.begin,
		func() error { return s.ask(ctx) },
		func() error { return s.openAll(ctx) },
		func() error { return s.readAll(ctx) }, // what is mended in the bench file comes early: it begins anew
		func() error { return s.dipAll(ctx) },
		s.supplied,
		func() error { return s.proveAll(ctx) },
		func() error { return s.nudgeAll(ctx) },
	} {
		if err := step(); err != nil {
			return onward(err)
		}
	}
	return s.end()
}

// Takes is how long a session takes somebody who has everything at hand, with nothing on
// record.
func Takes(b *config.Bench) time.Duration {
	each := time.Duration(len(questions))*questionTakes + time.Duration(len(b.Pots))*(dipTakes+nudgeTakes)
	for _, k := range interlocks {
		if wired(b, k.role) {
			each += interlockTakes
		}
	}
	for _, p := range b.Pots {
		if unheard(b, p) {
			each += displayTakes
		}
	}
	return each + time.Duration(len(outputDevices(b.Channels)))*proofTakes
}

// supplyOn is said before the first step with heat: the contacts were found with the heaters'
// supply off, and without it no plate would warm.
const supplyOn = "The heaters' supply has to be on from here on: where it is off, switch it on at its plug or main switch. Nothing is heated before a press of the enable button."

// supplied has the heaters' supply switched on where anything is still to be heated.
func (s *session) supplied() error {
	if slices.ContainsFunc(outputDevices(s.Bench.Channels), func(device string) bool { return !s.record.proof(device).done() }) ||
		slices.ContainsFunc(s.Bench.Pots, func(p config.Pot) bool { return !s.record.nudge(p.Name).done() }) {
		s.say("\n%s\n", lines.Wrap("", supplyOn))
	}
	return nil
}

// proveAll tries every device that is not proven.
func (s *session) proveAll(ctx context.Context) error {
	for _, device := range outputDevices(s.Bench.Channels) {
		if !s.record.proof(device).done() {
			if err := s.prove(ctx, device); err != nil {
				return err
			}
		}
	}
	return nil
}

// layProbes lets a melt probe stand for the plate's that is not there: the melt itself
// would show the heater late, and only after much more heat.
const layProbes = `
These pots have no plate probe: %s. Take each of them off its plate, lay the
tip of its melt probe, dry, flat on the middle of the empty plate and weigh it
down, and leave it there until you are told that all is done: it shows what its
heater warms.
`

// nudgeAll nudges every heater that is not right yet.
func (s *session) nudgeAll(ctx context.Context) error {
	var laid []string
	for _, p := range s.Bench.Pots {
		if !p.Probes.HasPlate() && !s.record.nudge(p.Name).done() {
			laid = append(laid, p.Name)
		}
	}
	if len(laid) > 0 {
		s.say(layProbes, strings.Join(laid, ", "))
	}
	for _, p := range s.Bench.Pots {
		if !s.record.nudge(p.Name).done() {
			if err := s.nudge(ctx, p.Name); err != nil {
				return err
			}
		}
	}
	return nil
}

// mostAhead is how many lines can be typed before they are asked for (E).
const mostAhead = 100

// say prints, and breaks what is too long for a line; a terminal that is gone must not end a
// step before its zeros.
func (s *session) say(format string, args ...any) {
	fmt.Fprint(s.Out, lines.Fitted(fmt.Sprintf(format, args...)))
}

// reminder says again, every remindEvery, what a person is asked to do.
type reminder struct {
	*session
	next time.Duration
}

// remind asks a person to do something.
func (s *session) remind(do string) *reminder {
	s.say("  %s\n", do)
	return &reminder{s, s.Clock.Now() + remindEvery}
}

// again says something where it is time to.
func (r *reminder) again(format string, args ...any) {
	if r.Clock.Now() >= r.next {
		r.next += remindEvery
		r.say(format, args...)
	}
}

// begin finds the record to go on with.
func (s *session) begin() error {
	found, err := Load(s.History)
	if err != nil && !s.Anew {
		return err
	}
	digest := Digest(s.Bench)
	switch {
	case s.Anew:
		s.say("Beginning anew.\n")
	case found == nil:
	case found.Digest == digest:
		s.say("Going on with what was saved on %s.\n", day(found.Saved))
		s.record = found
		return nil
	default:
		s.say("What was saved on %s is about another bench file: lines, devices, channels, pots\nor heater powers have changed since. Beginning anew.\n", day(found.Saved))
	}
	s.record = anew(digest, found)
	return s.save()
}

// anew is a record with nothing on it but, of the one before, which may be nil, when plates
// were warmed, and what controllers were told.
func anew(digest string, before *Record) *Record {
	r := &Record{Digest: digest}
	if before != nil {
		r.Heated, r.ToldC = before.Heated, before.ToldC
	}
	return r
}

// save puts the record on the disk. Without that no step counts, and none follows.
func (s *session) save() error {
	s.record.Program, s.record.Saved = s.Version, time.Now()
	s.noteAdapters()
	text, err := json.Marshal(s.record)
	if err != nil {
		return err
	}
	return s.History.KeepCommission(history.Commission{
		At: s.record.Saved, Program: s.Version, Digest: s.record.Digest, Record: string(text),
	})
}

// prompt shows that an answer is waited for: one that comes after it. At a terminal a line
// that was typed too early must not say of the next thing that it is dry.
func (s *session) prompt() {
	for early := s.Terminal; early; {
		select {
		case _, early = <-s.lines:
		default:
			early = false
		}
	}
	s.say("   > ")
}

// readLine waits for the next line, and takes none once the session was stopped. The end
// of the input is an empty answer.
func (s *session) readLine(ctx context.Context) (string, error) {
	select {
	case line := <-s.lines:
		if ctx.Err() == nil {
			return strings.TrimSpace(line), nil
		}
	case <-ctx.Done():
	}
	s.say("\n")
	return "", ErrStopped
}

// lineWhile waits for the next line while the bench is looked at, cycle by cycle.
func (s *session) lineWhile(ctx context.Context, look func(context.Context) error) (string, error) {
	s.prompt()
	for end := s.Clock.Now() + pressWait; s.Clock.Now() < end; {
		if err := look(ctx); err != nil {
			return "", err
		}
		select {
		case line, open := <-s.lines:
			if !open {
				return "", errors.New("nobody can answer any more: run the command again")
			}
			return strings.TrimSpace(line), nil
		default:
		}
	}
	return "", fmt.Errorf("nobody answered within %.0f minutes: run the command again", pressWait.Minutes())
}

// end says how it came out.
func (s *session) end() error {
	cleared, missing := s.record.Against(s.Bench)
	if !cleared.Holds() {
		return incomplete(missing...)
	}
	s.say("\nComplete, and on record:\n")
	for _, word := range cleared.Words() {
		s.say("%s\n", lines.Hang("  ", "    ", word))
	}
	s.say("%s", closing)
	return nil
}

// incomplete is the error that says why nothing may be heated.
func incomplete(missing ...string) error {
	return fmt.Errorf("%w until this is mended:\n  %s\nthen run meltwarden commission again", ErrIncomplete, strings.Join(slices.Clone(missing), "\n  "))
}

const opening = `Commissioning of the bench %q

This puts on record that its heaters may be switched on. It asks what protects
the bench without this program, has you open every interlock, asks what the
displays of controllers show where nothing else tells, finds out with a cup of
hot water which channel each melt probe is on, tries out whether the devices
report their outputs off when their line goes silent, and finds out which plate
each heater warms.

That takes about %.0f minutes in all, %.0f of them a melt probe in water
(estimates), and can be gone on with later. Bring a cup, hot water from the tap
or a kettle, a kitchen thermometer, dry cloths, and labels for the melt probes.

THE PROGRAM IS NOT THE PROTECTION. Liquid vinyl at 170 °C, its fumes, mains
voltage and closed moulds can hurt and kill. Local codes and a licensed
electrician have the last word, on the bench and on every answer here.

Everything must be cold: empty plates, or pots with cold, solid vinyl, from
which the melt probes can be taken. Stand at the emergency stop while something
is tried out, and press it if a plate warms that should not. Ctrl-C stops at
any time, and tells every output zero; it is said when that was not confirmed.

`

const beforeQuestions = `Answer in your own words, a few each: "yes" is no answer. It is kept as you
type it, and believed: nobody but you can see whether it is true. What is
missing, leave empty or answer with no; nothing is tried out then. Fit it, and
run the command again. Write a day with its year, such as 2026-11-20. Type < to
go back one question, and ? to see all answers and change one.
`

const closing = `
Before you heat, put every melt probe, dry, back into its own pot: one in
another pot is on the right channel and measures the wrong melt.

meltwarden serve will now let the bench's own enable button switch heat on.
Commission again (with --anew) after any change to wiring, devices or probes,
also where the bench file stays as it is, and at least yearly: this lapses
after 365 days. Not seen by this are a relay that sticks later, a plate probe
of the wrong type, which pot stands on which plate, and, of a controller whose
own sensor is read, scale and unit of its set-point: look at its display. The
program is not the protection: never leave a hot bench alone.
`

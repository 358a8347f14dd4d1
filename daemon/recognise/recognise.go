// Package recognise leads a maker through finding which registers of an unknown device are
// his probes, and which of its bits are his contacts: it shows them live, on a screen or in
// plain lines, says which probe to hold in the hand, or which contact to press, and at the
// end what was recognised and what was not, with the lines of a bench file. It only reads.
// What counts as recognised is for devices/guess and devices/press to say.
package recognise

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"meltwarden/config/quantity"
	"meltwarden/daemon/console"
	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/readout"
)

// Options are what a session needs.
type Options struct {
	Reader *readout.Reader
	Clock  *clock.Clock
	Room   guess.Range
	Probes []string // as "melt left", in the order in which they are held; none for any
	// Contacts are those that RunContacts has pressed, as "e-stop" or "stir-button left", in
	// that order.
	Contacts []string
	From     uint16   // the address that the maker asked for
	Device   string   // its name in the lines of the bench file
	Wiring   []string // the lines of the bench file for line and device
	Out      io.Writer
	Words    io.Writer // what is to be done, in plain lines; with a screen it is drawn on Out
	Screen   bool
	Size     func() console.Size
	AsJSON   bool // the result, on Out
}

const (
	round     = time.Second
	mostMutes = 3 // rounds without any answer before it is given up
)

// session is one under way.
type session struct {
	Options
	*guess.Session
	screen *console.Screen
	said   string // the step that was told last
	told   int    // moves
}

// Run leads a session until its end or that of the context, which is no error, and prints
// what came of it.
func Run(ctx context.Context, o Options) error {
	s, err := lead(ctx, o)
	if err != nil {
		return err
	}
	return s.end()
}

// Find leads a session likewise, and returns what came of it; nothing is printed of that.
func Find(ctx context.Context, o Options) (guess.Result, error) {
	s, err := lead(ctx, o)
	if err != nil {
		return guess.Result{}, err
	}
	s.clear()
	return s.Result(), nil
}

func lead(ctx context.Context, o Options) (*session, error) {
	s := &session{Options: o, Session: guess.NewSession(o.Room, o.Probes), screen: console.NewScreen(o.Out, false)}
	over := func() bool { step, _, _ := s.Step(); return step == guess.Over }
	return s, o.rounds(ctx, round, over, func(_ time.Duration, read map[guess.Register]uint16) error {
		s.Take(read)
		return s.show()
	})
}

// rounds reads the device again and again until all is over, or the context's end, and has
// each round taken in. A device that says nothing for some rounds is given up.
func (o Options) rounds(ctx context.Context, every time.Duration, over func() bool, take func(time.Duration, map[guess.Register]uint16) error) error {
	for mutes := 0; !over() && ctx.Err() == nil; {
		began := o.Clock.Now()
		read, err := o.Reader.Round(ctx)
		switch {
		case ctx.Err() != nil:
			continue
		case err == nil:
			mutes = 0
		default:
			if mutes++; mutes == mostMutes {
				return err
			}
		}
		if err := take(began, read); err != nil {
			return err
		}
		o.Clock.Sleep(ctx, every-(o.Clock.Now()-began))
	}
	return nil
}

// clear takes the screen away.
func (o Options) clear() {
	if o.Screen {
		fmt.Fprint(o.Out, "\x1b[2J\x1b[H")
	}
}

// end prints what came of it.
func (s *session) end() error {
	s.clear()
	r := s.Result()
	if s.AsJSON {
		return json.NewEncoder(s.Out).Encode(map[string]any{
			"registers": s.Rows(), "result": r, "numbering": r.Numbering(s.From), "refused": s.refusals(), "channels": append([]string{}, r.Lines(s.Device)...),
		})
	}
	return s.tell(r)
}

// refusals are what the device said no to.
func (o Options) refusals() []string {
	refused := []string{}
	for _, no := range o.Reader.Refused() {
		refused = append(refused, no.String())
	}
	return refused
}

// ParseRoom reads a room's temperature as typed, such as "19 C"; nothing is any room.
func ParseRoom(typed string) (guess.Range, error) {
	if typed == "" {
		return guess.Indoors, nil
	}
	c, err := quantity.Temperature(typed)
	if err != nil {
		return guess.Range{}, fmt.Errorf("--room %q: %w", typed, err)
	}
	if c < 0 || c > 30 {
		return guess.Range{}, fmt.Errorf("--room %q: a hand warms a probe only in a room from 0 to 30 °C", typed)
	}
	return guess.Near(c), nil
}

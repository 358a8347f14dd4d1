package commission

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/devices/registers"
)

// Interlock is a contact that was seen open and closed again, by a person's hand.
type Interlock struct {
	Role registers.Role `json:"role"`
	At   time.Time      `json:"at"`
}

// interlocks says how each is opened and closed again.
var interlocks = []struct {
	role        registers.Role
	open, close string
}{
	{registers.EStop, "Press the emergency stop.", "Release it."},
	{registers.CutOut, "Open the cut-out: press its test button, or turn its setting down until it opens.", "Turn its setting back and reset it by hand."},
	{registers.Fan, "Switch the fan off.", "Switch it on again."},
}

// interlock returns what is on record of an interlock, or nil.
func (r *Record) interlock(role registers.Role) *Interlock {
	i := slices.IndexFunc(r.Interlocks, func(k Interlock) bool { return k.Role == role })
	if i < 0 {
		return nil
	}
	return &r.Interlocks[i]
}

// openAll has every interlock that is wired opened and closed by hand, without heat,
// and puts on record that its own contact showed it.
func (s *session) openAll(ctx context.Context) error {
	for _, k := range interlocks {
		if !wired(s.Bench, k.role) || s.record.interlock(k.role).done() {
			continue
		}
		s.say("\nThe %s: does its contact show it?\n  Nothing is heated.\n", k.role)
		w, err := s.observe(ctx)
		if err != nil {
			return err
		}
		err = s.seen(ctx, w, k.role, k.open, false)
		if err == nil {
			err = s.seen(ctx, w, k.role, k.close, true)
		}
		if err := foremost(err, w.close()); err != nil {
			return err
		}
		seen := Interlock{k.role, time.Now()}
		s.record.Interlocks = put(s.record.Interlocks, seen, func(i Interlock) bool { return i.Role == k.role })
		if err := s.save(); err != nil {
			return err
		}
		s.say("  Right: seen open, and closed again.\n")
	}
	return nil
}

// seen tells a person what to do, and waits until a contact shows it.
func (s *session) seen(ctx context.Context, w *watch, role registers.Role, do string, closed bool) error {
	told := registers.Role("")
	is := s.await(ctx, w, do, func() bool {
		for _, k := range interlocks {
			c := w.contact(k.role)
			if k.role != role && k.role != told && c.Known(guard.MaxAge) && !c.Closed {
				told = k.role
				s.say("  The %s has opened. If that is not what you did, its channel is crossed with another.\n", told)
			}
		}
		c := w.contact(role)
		return c.Known(guard.MaxAge) && c.Closed == closed
	})
	if errors.Is(is, errNobody) {
		return fmt.Errorf("%s was not seen %s within %.0f minutes. %scheck its contact and wires; and its channel in the bench file",
			role, map[bool]string{false: "open", true: "closed"}[closed], pressWait.Minutes(), electrician)
	}
	return is
}

// contact is the latest of a contact that opens by itself.
func (w *watch) contact(role registers.Role) reading.Contact {
	switch role {
	case registers.EStop:
		return w.in.Contacts.EStop
	case registers.CutOut:
		return w.in.Contacts.CutOut
	}
	return w.in.Contacts.Fan
}

// errStopOpen is what is wrong while the emergency stop is pressed.
var errStopOpen = fmt.Errorf("%s is open", registers.EStop)

// settle waits, before anything is tried, until nothing has been wrong for a while. An
// emergency stop that is pressed has to be released by a person first, who has the time for
// it; all is told zero meanwhile.
func (s *session) settle(ctx context.Context, w *watch) error {
	err := w.calm(ctx, errStopOpen)
	for end := w.clk.Now() + pressWait; errors.Is(err, errStopOpen) && w.clk.Now() < end; {
		s.say("  The emergency stop is pressed: its contact is open. Where you pressed it because a plate warms, leave it so, switch the mains off, and end this with Ctrl-C.\n")
		err = s.await(ctx, w, "Release the emergency stop, and reset what it needs to be ready again. Nothing is heated by that.", func() bool {
			c := w.contact(registers.EStop)
			return c.Known(guard.MaxAge) && c.Closed
		})
		if err == nil {
			err = w.calm(ctx, errStopOpen)
		}
	}
	if errors.Is(err, errNobody) || errors.Is(err, errStopOpen) {
		return fmt.Errorf("%w, and was not seen released within %.0f minutes; nothing was heated. Release it, reset what it needs to be ready again, and run the command again. "+
			"Where it is released, its second contact does not close, or its channel in the bench file is wrong (meltwarden check shows every channel). %scheck its contact and wires", errStopOpen, pressWait.Minutes(), electrician)
	}
	return err
}

// errNobody is returned when what was waited for did not come.
var errNobody = errors.New("it did not come")

// await tells a person what to do, again and again, and cycles with everything off
// until something is so, whatever else is wrong with the bench meanwhile.
func (s *session) await(ctx context.Context, w *watch, do string, so func() bool) error {
	asks := s.remind(do)
	for until := w.clk.Now() + pressWait; w.clk.Now() < until; {
		if err := w.cycle(ctx); errors.Is(err, ErrStopped) {
			return err
		}
		if so() {
			return nil
		}
		asks.again("  Not seen yet. %s\n", do)
	}
	return errNobody
}

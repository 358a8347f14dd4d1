package assemble

import (
	"context"
	"errors"
	"fmt"
)

const beforeCheck = `
Step %d of %d: %s
  Done: all before it; %s is written. Up to %.0f minutes to go (an estimate).

First every channel is read once, and off is written once, to the addresses that were given for heaters and contactor: zeros, and to a controller its rest. With a wrong address that can mean something else: PRESS THE EMERGENCY STOP now.`

// Try has a new bench file checked: every channel read, and off written once.
func Try(ctx context.Context, o Options, pots int, check func() error) error {
	s := &session{Options: o, asker: plainly(o)}
	s.say(beforeCheck, TryingOut+1, steps, titles[TryingOut], o.File, toGo(TryingOut, pots).Minutes())
	sure, err := s.choose(ctx, "Is the emergency stop pressed?", "", []Choice{{"yes", "read all, and write off"}, {"no", "stop here; the same command goes on, without this check"}})
	if sure == "no" || errors.Is(err, errBack) {
		return ErrStopped
	}
	if err != nil {
		return err
	}
	s.say("")
	if err := check(); err != nil {
		s.say("\nNot all is as it should be: %v", err)
		s.say("With the emergency stop pressed its own contact is open: that is no fault.")
	}
	s.say("\nRelease the emergency stop, and reset what it needs to be ready again. Where the heaters' supply is off, leave it off until you are told to switch it on.")
	return nil
}

// Afterwards offers to calibrate, and says what comes next.
func Afterwards(ctx context.Context, o Options, calibrate func(context.Context) error) error {
	s := &session{Options: o, asker: plainly(o)}
	now, err := s.choose(ctx, "Calibrate the probes now?", "Two good ones may differ by 5 °C. It takes wet ice or boiling water, and half an hour.", []Choice{
		{"no", "later: meltwarden calibrate --config " + o.File}, {"yes", "now"}})
	if err != nil && !errors.Is(err, errBack) {
		return err
	}
	if now == "yes" {
		ctx, done := context.WithCancel(ctx)
		defer done() // what is typed later is for others
		if err := calibrate(ctx); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(o.Out, "\nNow the bench can be run:\n\n  meltwarden serve --config %s\n\nOpen the address that it prints. Nothing is heated before a press of the enable button.\n"+
		"If you like, with cold raw paste in the pots, warm them a little before, so that the\nfirst evening's plan need not begin with guesses:\n\n  meltwarden first-heat --config %s\n", o.File, o.File)
	return err
}

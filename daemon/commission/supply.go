package commission

import (
	"context"
	"errors"
	"fmt"
	"time"

	"meltwarden/config"
)

// goneFor is how long a device must not have answered to have been switched off (E:
// somebody counts to five; what silences a line for a moment takes less).
const goneFor = 3 * time.Second

// switchOffAndOn has a person switch a device's supply off and on, and waits until
// the device was seen gone and back, with its outputs off. Nothing is written
// meanwhile.
func (s *session) switchOffAndOn(ctx context.Context, device string) error {
	l := &look{session: s, device: device}
	err := l.goneAndBack(ctx)
	if l.wire != nil {
		err = foremost(err, l.wire.release())
	}
	return err
}

func (l *look) goneAndBack(ctx context.Context) error {
	heard := l.Clock.Now()
	err := l.until(ctx, fmt.Sprintf("Switch the supply of device %s off, count to five, switch it on, then press the enable button when you are told to. Nothing is heated meanwhile.", l.device), func(answered bool) bool {
		if answered {
			heard = l.Clock.Now()
		}
		return l.Clock.Now()-heard >= goneFor
	})
	if errors.Is(err, errNobody) {
		return fmt.Errorf("device %s was not seen without supply within %.0f minutes: run the command again, and switch off what feeds the device itself", l.device, pressWait.Minutes())
	}
	if err != nil {
		return err
	}
	err = l.until(ctx, "It is off. Switch it on when you have counted.", func(answered bool) bool { return answered })
	if errors.Is(err, errNobody) {
		return fmt.Errorf("device %s does not answer again: see that its supply is on, and run the command again", l.device)
	}
	if err != nil {
		return err
	}
	if len(l.on) > 0 {
		return foremost(fmt.Errorf("%w. Device %s came back with %s on: set it to begin with all outputs off, or use another device", errPress, l.device, list(l.on)), l.wire.off())
	}
	l.say("  It is on again, with its outputs off.\n")
	return nil
}

// look asks a device for its outputs again and again, and opens the line anew after
// every failure: an adapter may lose its supply as well.
type look struct {
	*session
	device string
	wire   *wire
	on     []string // the outputs that were on at the last answer
}

// until tells a person what to do, again and again, until something is so, told each
// time whether the device has answered.
func (l *look) until(ctx context.Context, do string, so func(answered bool) bool) error {
	asks := l.remind(do)
	for end := l.Clock.Now() + pressWait; l.Clock.Now() < end; {
		if so(l.ask()) {
			return nil
		}
		if !l.Clock.Sleep(ctx, config.Period) {
			return ErrStopped
		}
		asks.again("  Not seen yet. %s\n", do)
	}
	return errNobody
}

// ask reports whether the device answers.
func (l *look) ask() bool {
	if l.wire == nil {
		w, err := l.openWire()
		if err != nil {
			return false
		}
		l.wire = w
	}
	on, err := l.wire.held(l.device)
	if err != nil {
		_ = l.wire.release() // the line is opened anew, or can not be, which is seen then
		l.wire = nil
		return false
	}
	l.on = on
	return true
}

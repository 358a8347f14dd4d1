package commission

import (
	"context"
	"errors"
	"fmt"
	"time"

	"meltwarden/devices/modbus"
)

// goneFor is how long a device must not have answered to have been switched off (E:
// somebody counts to five; a busy computer or a bad frame takes less).
const goneFor = 2 * time.Second

// switchOffAndOn has a person switch a device's supply off and on, and waits until
// the device was seen gone and the bench is well again. Nothing is heated.
func (s *session) switchOffAndOn(ctx context.Context, device string) error {
	w, err := s.observe(ctx)
	if err != nil {
		return err
	}
	return foremost(s.goneAndBack(ctx, w, device), w.close())
}

func (s *session) goneAndBack(ctx context.Context, w *watch, device string) error {
	s.say("  Switch the supply of device %s off, count to five, switch it on, then press the enable\n  button when you are told to. Nothing is heated meanwhile.\n", device)
	answers, heard := w.answers(device), w.clk.Now()
	err := w.await(ctx, func(error) bool {
		if n := w.answers(device); n != answers {
			answers, heard = n, w.clk.Now()
		}
		return w.clk.Now()-heard >= goneFor
	})
	if errors.Is(err, errNobody) {
		return fmt.Errorf("device %s was not seen without supply within %.0f minutes: run the command again, and switch off what feeds the device itself", device, pressWait.Minutes())
	}
	if err != nil {
		return err
	}
	s.say("  Off, as asked.\n")
	err = w.await(ctx, func(error) bool { return w.answers(device) != answers })
	if errors.Is(err, errNobody) {
		return fmt.Errorf("device %s does not answer again: see that its supply is on, and run the command again", device)
	}
	if err != nil {
		return err
	}
	s.say("  On again.\n")
	return nil
}

// answers is how often a device has answered.
func (w *watch) answers(device string) uint64 {
	for _, d := range w.bus.Stats().Devices {
		if d.Name == device {
			return d.Exchanges[modbus.OK] + d.Exchanges[modbus.Refused]
		}
	}
	return 0
}

package assemble

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// do does what an answer needs at the bench before it counts. wrong says why it does not; it is
// asked again then.
func (s *session) do(ctx context.Context, q Question, answer string) (wrong, err error) {
	switch q.Do {
	case NotePort:
		s.notePort(q, answer)
	case LookForDevices:
		return s.lookForDevices(ctx, q, answer)
	case AskWhich:
		if answer == which {
			return s.whoIsSilent(ctx, q)
		}
	case ShowProbe:
		return s.showProbe(ctx, q, answer)
	case TakeOff:
		return s.takeOff(ctx, q, answer)
	case ShowContact:
		return s.showContact(ctx, q, answer)
	case ShowOutput:
		return nil, s.showOutput(ctx, q, answer)
	case ShowProcess:
		if answer != none {
			return s.shown(ctx, q.Key, channel{role: "process-value", pot: "x", layout: answer}, "its sensor", s.temperature)
		}
	}
	return nil, nil
}

// answersWithin is how long a device may take that nothing is known of.
const answersWithin = 300 * time.Millisecond

// onDevice opens the line of a device and has something read from it.
func (s *session) onDevice(ctx context.Context, u unit, read func(*modbus.Client, *modbus.Device) error) error {
	l := s.line(u.line)
	baud, _ := strconv.Atoi(l.baud)
	stopBits, _ := strconv.Atoi(l.stopBits) // both were accepted as numbers
	config := devices.LineConfig{Name: l.name, Port: s.portOf(u.line), Baud: baud, Parity: l.parity, StopBits: stopBits}
	port, err := s.Open(config)
	if err != nil {
		return err
	}
	client := modbus.NewClient(port, baud, s.Clock)
	client.Characters(baud, config.CharacterBits())
	defer func() {
		select {
		case <-client.Close():
		case <-ctx.Done(): // an adapter may hang as it closes
		}
	}()
	s.Clock.Sleep(ctx, devices.HushFor) // what a killed program told it ends by its own time-out
	return read(client, &modbus.Device{Name: u.name, Unit: u.unit, Timeout: answersWithin})
}

// shown reads a channel until the maker says that it is right, or that it is not.
func (s *session) shown(ctx context.Context, key string, at channel, name string, words func(registers.Channel, []byte) string) (wrong, err error) {
	c, err := at.read()
	if err != nil {
		return err, nil
	}
	for {
		data, err := s.once(ctx, s.unitOf(key), c)
		if ctx.Err() != nil {
			return nil, ErrStopped
		}
		if err != nil {
			return err, nil
		}
		s.say("  %s reads %s.", name, words(c, data))
		sure, err := s.choose(ctx, fmt.Sprintf("Is that %s?", name), "Warm the probe, or press the button, and look again.", []Choice{
			{"yes", "take it"}, {"again", "read it once more"}, {"no", "it is somewhere else"}})
		switch {
		case err != nil:
			return nil, err
		case sure == "no":
			return fmt.Errorf("address %d is not %s; name another", c.Address, name), nil
		case sure == "yes":
			return nil, nil
		}
	}
}

// once reads a channel.
func (s *session) once(ctx context.Context, u unit, c registers.Channel) (data []byte, err error) {
	err = s.onDevice(ctx, u, func(client *modbus.Client, d *modbus.Device) error {
		data, err = client.Exchange(d, modbus.Request{Function: c.Function, Address: c.Address, Quantity: uint16(c.Registers())})
		return err
	})
	if err != nil {
		err = fmt.Errorf("%s, address %d: %w", u.name, c.Address, err)
	}
	return data, err
}

// choose asks something that is kept nowhere.
func (s *session) choose(ctx context.Context, ask, help string, among []Choice) (string, error) {
	return s.until(ctx, Question{Ask: ask, Help: help, Among: among})
}

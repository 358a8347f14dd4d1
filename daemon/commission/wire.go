package commission

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// wire speaks to the outputs by itself, without a bus: a bus never keeps silent.
type wire struct {
	clk     *clock.Clock
	clients map[string]*modbus.Client // by line
	outputs []*output                 // heaters first, then the contactor
}

// output is a channel on which heat depends.
type output struct {
	registers.Channel
	client *modbus.Client
	device *modbus.Device
}

// name names the output in messages.
func (o *output) name() string {
	if o.Pot == "" {
		return string(o.Role)
	}
	return string(o.Role) + " " + o.Pot
}

// switched reports whether the output knows on and off only.
func (o *output) switched() bool { return o.Type == registers.Bit }

// openWire opens the lines that have outputs.
func (s *session) openWire() (*wire, error) {
	w := &wire{clk: s.Clock, clients: map[string]*modbus.Client{}}
	units := map[string]*modbus.Device{}
	for _, c := range s.Wiring.Channels {
		if !givesHeat(c) {
			continue
		}
		d := s.Wiring.Devices[slices.IndexFunc(s.Wiring.Devices, func(d devices.DeviceConfig) bool { return d.Name == c.Device })]
		if units[d.Name] == nil {
			units[d.Name] = &modbus.Device{Name: d.Name, Unit: d.Unit, Timeout: d.Timeout}
		}
		if err := s.openLine(w, d.Line); err != nil {
			return nil, errors.Join(err, w.release())
		}
		w.outputs = append(w.outputs, &output{c, w.clients[d.Line], units[d.Name]})
	}
	slices.SortStableFunc(w.outputs, func(a, b *output) int { return urgency(a) - urgency(b) })
	return w, nil
}

func urgency(o *output) int {
	if o.Role == registers.Heater {
		return 0
	}
	return 1
}

// openLine opens a line that is not open yet.
func (s *session) openLine(w *wire, name string) error {
	if w.clients[name] != nil {
		return nil
	}
	line := s.Wiring.Lines[slices.IndexFunc(s.Wiring.Lines, func(l devices.LineConfig) bool { return l.Name == name })]
	port, err := s.Open(line)
	if err != nil {
		return fmt.Errorf("line %s: %w", name, err)
	}
	w.clients[name] = modbus.NewClient(port, line.Baud, s.Clock)
	return nil
}

// releaseWithin bounds how long closing a port is waited for, on the wall.
const releaseWithin = 3 * time.Second

// release lets the ports go.
func (w *wire) release() error {
	over := time.NewTimer(releaseWithin)
	defer over.Stop()
	for name, c := range w.clients {
		select {
		case <-c.Close():
		case <-over.C:
			return fmt.Errorf("line %s: its port does not close: unplug the adapter, plug it in and run the command again", name)
		}
	}
	return nil
}

// of returns the outputs of a device.
func (w *wire) of(device string) []*output {
	var list []*output
	for _, o := range w.outputs {
		if o.Device == device {
			list = append(list, o)
		}
	}
	return list
}

// request writes a duty, or for an output that is switched, on for any above zero.
func (o *output) request(duty float64) modbus.Request {
	r := modbus.Request{Function: o.Function, Address: o.Address, Quantity: uint16(o.Registers())}
	switch {
	case !o.switched():
		regs, err := o.AppendDuty(nil, duty)
		if err != nil { // a validated channel can carry every duty
			regs, _ = o.AppendDuty(nil, 0)
		}
		r.Data = modbus.AppendRegisters(nil, regs...)
	case o.Function == modbus.WriteCoil:
		r.Data = modbus.AppendCoil(nil, o.Coil(duty > 0))
	default:
		r.Data = modbus.AppendBits(nil, o.Coil(duty > 0))
	}
	return r
}

// write tells the device, and asks for its confirmation.
func (o *output) write(duty float64) error {
	_, err := o.client.Exchange(o.device, o.request(duty))
	return err
}

// errMute is wrapped by the error about an output that its device does not let be
// read.
var errMute = errors.New("its outputs can not be read back")

// has reads the output back, and reports whether it is as a duty was written.
func (o *output) has(duty float64) (bool, error) {
	read := modbus.Request{Function: o.ReadBack(), Address: o.Address, Quantity: uint16(o.Registers())}
	data, err := o.client.Exchange(o.device, read)
	if modbus.OutcomeOf(err) == modbus.Refused {
		return false, fmt.Errorf("%w (%w)", errMute, err)
	}
	if err != nil {
		return false, err
	}
	if o.switched() {
		return modbus.Bits(data, 1)[0] == o.Coil(duty > 0), nil
	}
	return slices.Equal(data, o.request(duty).Data), nil
}

// offTries is how often zeros are tried until they are confirmed (E).
const offTries = 3

// off writes zeros to every output, heaters first, until each is confirmed or the
// tries are used up. It begins with those that need not wait for an answer.
func (w *wire) off() error {
	pending := slices.Clone(w.outputs)
	for _, o := range pending {
		if r := o.request(0); o.client.Barred(o.device, r) {
			_ = o.client.Tell(o.device, r) // it is confirmed below, or not
		}
	}
	for range offTries {
		pending = slices.DeleteFunc(pending, func(o *output) bool { return o.write(0) == nil })
	}
	if len(pending) > 0 {
		return errNoZeros
	}
	return nil
}

package commission

import (
	"context"
	"fmt"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// readOnly reads everything on the device's line as often as in service, and the
// device's outputs with it, and writes nothing. A reading that fails ends it: a
// line that is not kept busy would prove nothing.
func (t *trials) readOnly(ctx context.Context, w *wire, span time.Duration) error {
	asked := t.readings(w)
	for until := w.clk.Now() + span; w.clk.Now() < until; {
		due := min(w.clk.Now()+config.Period, until)
		for _, read := range asked {
			if err := read(); err != nil {
				return fmt.Errorf("while its line was read: %w; run the command again", err)
			}
		}
		if _, err := w.held(t.device); err != nil {
			return err
		}
		if !w.clk.Sleep(ctx, due-w.clk.Now()) {
			return ErrStopped
		}
	}
	return nil
}

// readings returns a function for each request that the devices on the device's
// line are read with in service.
func (t *trials) readings(w *wire) []func() error {
	line := t.Wiring.Devices[slices.IndexFunc(t.Wiring.Devices, func(d devices.DeviceConfig) bool { return d.Name == t.device })].Line
	var asked []func() error
	for _, d := range t.Wiring.Devices {
		if d.Line != line {
			continue
		}
		var channels []registers.Channel
		for _, c := range t.Wiring.Channels {
			if c.Device == d.Name {
				channels = append(channels, c)
			}
		}
		unit := &modbus.Device{Name: d.Name, Unit: d.Unit, Timeout: d.Timeout}
		for _, span := range registers.PlanReads(channels, d.MaxGap).Spans {
			r := modbus.Request{Function: span.Function, Address: span.Address, Quantity: span.Count}
			asked = append(asked, func() error { _, err := w.clients[line].Exchange(unit, r); return err })
		}
	}
	return asked
}

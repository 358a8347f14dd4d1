package daemon

import (
	"meltwarden/config"
	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/plug"
	"meltwarden/devices/ports"
)

// Wiring is what the I/O edge needs of a bench file.
func Wiring(b *config.Bench) devices.Config {
	c := devices.Config{Channels: b.Channels}
	for _, l := range b.Lines {
		c.Lines = append(c.Lines, devices.LineConfig{
			Name: l.Name, Port: l.Port, Baud: l.Baud, Parity: string(l.Parity), StopBits: l.StopBits, Adapter: l.Adapter,
		})
	}
	for _, d := range b.Devices {
		c.Devices = append(c.Devices, devices.DeviceConfig{
			Name: d.Name, Line: d.Line, Unit: d.Unit, Timeout: d.Timeout, MaxGap: d.MaxGap,
		})
	}
	for _, p := range b.Pots {
		c.Pots = append(c.Pots, p.Name)
	}
	return c
}

// Plugs opens the serial ports of this computer's lines, and refuses a line another adapter
// than it had at first.
func Plugs() *plug.Plugs { return plug.New(ports.Here, plug.Serial) }

// OpenPort opens the serial port of a line, once.
func OpenPort(l devices.LineConfig) (modbus.Port, error) { return Plugs().Open(l) }

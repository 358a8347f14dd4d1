package daemon

import (
	"meltwarden/config"
	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/serialport"
)

// Wiring is what the I/O edge needs of a bench file.
func Wiring(b *config.Bench) devices.Config {
	c := devices.Config{Channels: b.Channels}
	for _, l := range b.Lines {
		c.Lines = append(c.Lines, devices.LineConfig{
			Name: l.Name, Port: l.Port, Baud: l.Baud, Parity: string(l.Parity), StopBits: l.StopBits,
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

// OpenPort opens the serial port of a line.
func OpenPort(l devices.LineConfig) (modbus.Port, error) {
	return serialport.Open(l.Port, serialport.Mode{
		Baud: l.Baud, Parity: serialport.Parity(l.Parity), StopBits: l.StopBits,
	})
}

//go:build unix

package demo

import (
	"meltwarden/daemon"
	"meltwarden/devices"
	"meltwarden/devices/modbus"
	"meltwarden/devices/simbench"
)

// connectTerminal puts a pseudo-terminal between bench and daemon; the daemon opens its
// end as it opens any serial port.
func (d *Demo) connectTerminal() (opener, error) {
	terminal, err := simbench.OpenTerminal()
	if err != nil {
		return nil, err
	}
	d.line, d.Port = terminal, terminal.Path()
	return func(l devices.LineConfig) (modbus.Port, error) {
		l.Port = terminal.Path()
		return daemon.OpenPort(l)
	}, nil
}

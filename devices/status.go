package devices

import (
	"time"

	"meltwarden/devices/modbus"
)

// LineStatus is how a line is doing.
type LineStatus struct {
	Name  string
	Open  bool
	Since time.Duration // bench time at which it opened or was lost
	// Opened is how often the port was opened.
	Opened uint64
	// LastError is the last reason for which the port was lost or not opened; it
	// stays when the port is open again.
	LastError string
	// Zeros is true while the line writes zeros because nobody renews outputs.
	Zeros bool
	// Silent is true while the line says nothing, so that a device lets go that does
	// not confirm that it is off.
	Silent bool
	// Mute are the devices of heaters or contactor that refuse to be read back: it is
	// not seen when one forgets within a second what it was told.
	Mute []string
}

// DeviceStats is how a device answers.
type DeviceStats struct {
	Name, Line string
	Unit       uint8
	// Exchanges are counted since the bus was opened, and so are Troubles, which say more
	// finely what was wrong.
	Exchanges map[modbus.Outcome]uint64
	Troubles  map[modbus.Kind]uint64
	Times     modbus.Times
	// Dead is true while the device has not answered for several requests, and is
	// therefore asked once a second only.
	Dead bool
}

// Stats is how all lines and devices are doing.
type Stats struct {
	Lines   []LineStatus
	Devices []DeviceStats
}

// Stats returns the state of the lines and the counts of the devices. It does no
// I/O and waits for none.
func (b *Bus) Stats() Stats {
	var s Stats
	for _, l := range b.lines {
		s.Lines = append(s.Lines, *l.status.Load())
		for _, d := range l.devices {
			s.Devices = append(s.Devices, d.stats())
		}
	}
	return s
}

// stats reads what may be read from outside the owner.
func (d *device) stats() DeviceStats {
	s := DeviceStats{
		Name: d.Name, Line: d.line, Unit: d.Unit, Times: d.Trips.Times(), Dead: d.gone.Load(),
		Exchanges: map[modbus.Outcome]uint64{}, Troubles: map[modbus.Kind]uint64{},
	}
	for _, o := range modbus.Outcomes() {
		s.Exchanges[o] = d.Counts.Of(o)
	}
	for _, k := range modbus.Kinds() {
		s.Troubles[k] = d.Counts.OfKind(k)
	}
	return s
}

// change publishes a new status.
func (l *line) change(edit func(*LineStatus)) {
	s := *l.status.Load()
	edit(&s)
	l.status.Store(&s)
}

package devices

import (
	"time"

	"meltwarden/devices/modbus"
)

// LineStatus is how a line is doing.
type LineStatus struct {
	Name string
	Open bool
	// Since is the bench time at which it opened, was lost, or began to be tried; At is the
	// same in wall time, for people.
	Since time.Duration
	At    time.Time
	// Port is the name under which it is open, or was last, and Adapter what it is on, in
	// words; empty where that is not known.
	Port, Adapter string
	// Cause is why it is not open, and What the port or adapter that this is about; empty
	// while it is open, and before it was tried.
	Cause Cause
	What  string
	// Opened is how often the port was opened, and Lost how often it was lost after that.
	Opened, Lost uint64
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

// place names the adapter that the line's port was on or, where that is not known, the port.
func (s *LineStatus) place(cfg LineConfig) string {
	switch {
	case s.Adapter != "":
		return "adapter " + s.Adapter
	case s.Port != "":
		return "port " + s.Port
	}
	return cfg.Where()
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
	// DeadAt is since when, in wall time; zero while it is not.
	DeadAt time.Time
	// Setpoints is how often a controller was sent a set-point since the bus was opened.
	Setpoints uint64
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
		Name: d.Name, Line: d.line, Unit: d.Unit, Times: d.Trips.Times(), Setpoints: d.targets.Load(),
		Exchanges: map[modbus.Outcome]uint64{}, Troubles: map[modbus.Kind]uint64{},
	}
	if at := d.goneAt.Load(); at != nil {
		s.Dead, s.DeadAt = true, *at
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

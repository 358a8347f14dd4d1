package devices

import (
	"slices"
	"sync"
	"time"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/devices/registers"
)

// value is the latest that is known of a channel.
type value struct {
	came        bool
	taken       time.Duration // bench time at which it was asked for
	missed      bool          // since then nothing came, though it was asked for or is out of reach
	temperature reading.Temperature
	contact     reading.Contact
	output      float64 // see device.hasOutput
}

// table holds the latest value of every channel, for all lines.
type table struct {
	channels []registers.Channel
	mu       sync.Mutex
	values   []value
}

func newTable(channels []registers.Channel) *table {
	return &table{channels: channels, values: make([]value, len(channels))}
}

func (t *table) set(channel int, v value) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.values[channel] = v
}

// miss notes that a channel's latest value is not what a device says now.
func (t *table) miss(channel int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.values[channel].missed = true
}

func (t *table) copy() []value {
	t.mu.Lock()
	defer t.mu.Unlock()
	return append([]value(nil), t.values...)
}

// Snapshot is the latest of every reading at one time. A value whose device did
// not answer since stays, with the time it was asked for, and so ages.
type Snapshot struct {
	pots     []string
	channels []registers.Channel
	values   []value
	link     value
	// Whole is true when every line had delivered before the wait was over.
	Whole bool
}

// Fill sets the readings of an input, with their ages at the given bench time. A
// channel the bench lacks is NotWired; one from which nothing came yet, Missing.
func (s Snapshot) Fill(in *control.Input, now time.Duration) {
	in.Pots = append(in.Pots[:0], make([]control.PotReadings, len(s.pots))...)
	in.Mould, in.Room, in.Contacts = reading.Temperature{}, reading.Temperature{}, control.Contacts{}
	in.Contacts.Link = s.link.contactAt(now)
	for i, c := range s.channels {
		if t := s.temperatureOf(in, c); t != nil {
			*t = s.values[i].temperatureAt(now)
		}
		if contact := contactOf(in, c.Role); contact != nil {
			*contact = s.values[i].contactAt(now)
		}
	}
}

// Temperatures sets a temperature for each channel of the configuration, in its order, with
// their ages at the given bench time; what is none of a channel has a fault.
func (s Snapshot) Temperatures(list []reading.Temperature, now time.Duration) {
	for i := range list {
		list[i] = s.values[i].temperatureAt(now)
	}
}

// temperatureOf returns where the input has a channel's temperature, if it has.
func (s Snapshot) temperatureOf(in *control.Input, c registers.Channel) *reading.Temperature {
	switch c.Role {
	case registers.Mould:
		return &in.Mould
	case registers.Room:
		return &in.Room
	}
	for i, name := range s.pots {
		if name != c.Pot {
			continue
		}
		switch c.Role {
		case registers.Melt:
			return &in.Pots[i].Melt
		case registers.Plate:
			return &in.Pots[i].Plate
		case registers.Injector:
			return &in.Pots[i].Injector
		case registers.SetpointRead:
			return &in.Pots[i].Setpoint
		case registers.ProcessValue:
			return &in.Pots[i].Own
		}
	}
	return nil
}

func contactOf(in *control.Input, r registers.Role) *reading.Contact {
	switch r {
	case registers.EStop:
		return &in.Contacts.EStop
	case registers.CutOut:
		return &in.Contacts.CutOut
	case registers.Fan:
		return &in.Contacts.Fan
	case registers.Pedal:
		return &in.Contacts.Pedal
	case registers.Enable:
		return &in.Contacts.Enable
	}
	return nil
}

// Button is a button of the bench that marks something, as it reads. Pot is its index, or
// zero for one that belongs to no pot.
type Button struct {
	Role    registers.Role
	Pot     int
	Contact reading.Contact
}

// AppendButtons appends those of the bench, always in the same order.
func (s Snapshot) AppendButtons(list []Button, now time.Duration) []Button {
	for i, c := range s.channels {
		switch {
		case c.Role == registers.StirButton, c.Role == registers.DrawButton, c.Role == registers.ShotButton, c.MarksShot:
			list = append(list, Button{c.Role, max(slices.Index(s.pots, c.Pot), 0), s.values[i].contactAt(now)})
		}
	}
	return list
}

// Lid is the contact of a lid. Pot is the index of its pot, or -1 for one over the bench.
type Lid struct {
	Pot     int
	Contact reading.Contact
}

// AppendLids appends those of the bench, always in the same order.
func (s Snapshot) AppendLids(list []Lid, now time.Duration) []Lid {
	for i, c := range s.channels {
		if c.Role == registers.Lid {
			list = append(list, Lid{slices.Index(s.pots, c.Pot), s.values[i].contactAt(now)})
		}
	}
	return list
}

func (v value) temperatureAt(now time.Duration) reading.Temperature {
	if !v.came {
		return reading.Temperature{Fault: reading.Missing}
	}
	t := v.temperature
	t.Age = max(0, now-v.taken)
	return t
}

func (v value) contactAt(now time.Duration) reading.Contact {
	if !v.came {
		return reading.Contact{Fault: reading.Missing}
	}
	c := v.contact
	c.Age = max(0, now-v.taken)
	return c
}

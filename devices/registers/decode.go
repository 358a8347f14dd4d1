package registers

import (
	"errors"
	"math"
	"slices"

	"meltwarden/control/reading"
	"meltwarden/devices/thermocouple"
)

// What the terminals of a bench device can have, in °C: up to the range of industrial
// electronics (common practice, no source), and down to a shop that does not freeze (E). A
// reference further out comes from a wrong scale or a dead sensor, which many modules report
// as 0, and would shift every temperature by as much.
const (
	coldestTerminalsC = 1.0
	hottestTerminalsC = 85.0
)

// Temperature decodes the channel's registers, as many as Registers says. Status
// is the status register of a channel that has one; coldJunction, of the same
// age, is used by a channel in millivolts only. The result is in °C, with the
// corrections added, or has the Fault that makes it worthless: Missing when
// registers or status are not there. Its Age is left zero.
func (c Channel) Temperature(regs, status []uint16, coldJunction reading.Temperature) reading.Temperature {
	if len(regs) != c.Registers() {
		return faulty(reading.Missing)
	}
	if f := c.Status.fault(status); f != reading.None {
		return faulty(f)
	}
	raw := c.raw(regs)
	if slices.Contains(c.Sentinels, raw) {
		return faulty(reading.Sentinel)
	}
	value := raw*c.Scale + c.Offset
	if !finite(value) {
		return faulty(reading.NotANumber)
	}
	celsius, f := c.celsius(value, coldJunction)
	celsius += c.CorrectionC
	celsius += c.Calibrated.At(celsius)
	switch {
	case f != reading.None:
		return faulty(f)
	case !finite(celsius): // a scale near the largest number there is
		return faulty(reading.NotANumber)
	}
	return reading.Temperature{C: celsius, Fault: reading.None}
}

func faulty(f reading.Fault) reading.Temperature { return reading.Temperature{Fault: f} }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// fault reads the fault bits. A channel without a status has no fault by it.
func (s *Status) fault(status []uint16) reading.Fault {
	switch {
	case s == nil:
		return reading.None
	case len(status) != 1:
		return reading.Missing
	case status[0]&s.Open != 0:
		return reading.Open
	case status[0]&s.Shorted != 0:
		return reading.Shorted
	case status[0]&s.Fault != 0:
		return reading.DeviceFault
	}
	return reading.None
}

// celsius turns a value in the channel's unit into °C, before correction.
func (c Channel) celsius(value float64, coldJunction reading.Temperature) (float64, reading.Fault) {
	switch c.Unit {
	case Celsius:
		return value, reading.None
	case Fahrenheit:
		return (value - 32) * 5 / 9, reading.None // by definition
	case Millivolt:
		return c.compensate(value, coldJunction)
	}
	return 0, reading.NotWired // the channel carries no temperature
}

// OfTerminals reports whether a cold junction may have so many degrees Celsius.
func OfTerminals(c float64) bool { return c >= coldestTerminalsC && c <= hottestTerminalsC }

func (c Channel) compensate(mV float64, coldJunction reading.Temperature) (float64, reading.Fault) {
	at := coldJunction.C
	if coldJunction.Fault != reading.None || !OfTerminals(at) {
		return 0, reading.ColdJunction
	}
	letter, err := thermocouple.Parse(c.Thermocouple)
	if err != nil {
		return 0, reading.NotWired
	}
	celsius, err := thermocouple.Compensate(letter, mV, at)
	switch {
	case errors.Is(err, thermocouple.ErrColdJunction):
		return 0, reading.ColdJunction
	case err != nil:
		return 0, reading.OutsideTable
	}
	return celsius, reading.None
}

// ContactOf decodes the channel's bit in its one register, as Contact does.
func (c Channel) ContactOf(regs []uint16) reading.Contact {
	if len(regs) != 1 {
		return c.Contact(nil)
	}
	return c.Contact([]bool{regs[0]&c.Mask != 0})
}

// Contact decodes the channel's one bit, Missing when it is not there. The
// contact's Age is left zero.
func (c Channel) Contact(bits []bool) reading.Contact {
	if len(bits) != 1 {
		return reading.Contact{Fault: reading.Missing}
	}
	return reading.Contact{Closed: bits[0] != c.Invert, Fault: reading.None}
}

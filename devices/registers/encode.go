package registers

import (
	"fmt"
	"math"

	"meltwarden/devices/modbus"
)

// nearlyWhole is how far a value may be from another to count as the same, as a
// part of full power: decimal scales such as 0.0001 have no exact binary number.
const nearlyWhole = 1e-6

// full returns the value of full power in the channel's unit, zero for a channel
// that carries no duty.
func (c Channel) full() float64 {
	switch c.Unit {
	case Fraction:
		return 1
	case Percent:
		return 100
	}
	return 0
}

// AppendDuty appends the registers for a duty, 0 to 1, to dst: the nearest that
// the type has, of two equally near ones the lower, and never more than full
// power. A duty of 0 gives exactly the registers for off. The error says that the
// duty is not a number from 0 to 1, or that the channel can not carry it; dst is
// then returned as it was, and whoever writes registers must write those for off.
func (c Channel) AppendDuty(dst []uint16, duty float64) ([]uint16, error) {
	if !(duty >= 0 && duty <= 1) {
		return dst, fmt.Errorf("duty %v is not a number from 0 to 1", duty)
	}
	raw := min(max(c.nearest(duty*c.full()), c.rawOff()), c.rawFull())
	if c.full() == 0 || !c.Type.holds(raw) {
		return dst, fmt.Errorf("duty %v does not fit into %s with scale %v, offset %v and unit %q",
			duty, c.Type, c.Scale, c.Offset, c.Unit)
	}
	return c.appendRaw(dst, raw), nil
}

// nearest returns the raw number nearest to a value, of two the lower.
func (c Channel) nearest(value float64) float64 {
	raw := (value - c.Offset) / c.Scale
	if c.Type == Float32 {
		return float64(float32(raw))
	}
	return math.Ceil(raw - 0.5)
}

// rawOff returns the raw number for no power.
func (c Channel) rawOff() float64 { return c.nearest(0) }

// rawFull returns the highest raw number that is not above full power.
func (c Channel) rawFull() float64 {
	raw := c.nearest(c.full())
	switch above := raw*c.Scale+c.Offset > c.full()*(1+nearlyWhole); {
	case above && c.Type != Float32:
		raw--
	case above && !math.IsInf(raw, 0):
		raw = float64(math.Nextafter32(float32(raw), float32(math.Inf(-1))))
	}
	return raw
}

// step returns how far apart raw numbers are at full power: a binary32 that is far
// from 0 has large steps.
func (c Channel) step() float64 {
	if c.Type != Float32 {
		return 1
	}
	most := float32(c.rawFull())
	return float64(math.Nextafter32(most, float32(math.Inf(1))) - most)
}

// Duty returns the duty that registers stand for. It need not be from 0 to 1: a device
// may hold what nobody wrote.
func (c Channel) Duty(regs []uint16) float64 { return (c.raw(regs)*c.Scale + c.Offset) / c.full() }

// ReadBack returns the function that reads what was written to the channel.
func (c Channel) ReadBack() uint8 {
	if c.Type == Bit {
		return modbus.ReadCoils
	}
	return modbus.ReadHolding
}

// Coil returns the bit that switches a channel of type Bit on or off.
func (c Channel) Coil(on bool) bool { return on != c.Invert }

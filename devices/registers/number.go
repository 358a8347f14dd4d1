package registers

import (
	"math"
	"math/bits"
)

// holds reports whether a number of this type can be exactly v.
func (t Type) holds(v float64) bool {
	switch t {
	case Int16:
		return whole(v, math.MinInt16, math.MaxInt16)
	case Uint16:
		return whole(v, 0, math.MaxUint16)
	case Int32:
		return whole(v, math.MinInt32, math.MaxInt32)
	case Uint32:
		return whole(v, 0, math.MaxUint32)
	case Float32:
		return !math.IsInf(v, 0) && float64(float32(v)) == v
	}
	return false
}

func whole(v, low, high float64) bool { return v >= low && v <= high && v == math.Trunc(v) }

// raw reads the number in as many registers as the channel has.
func (c Channel) raw(regs []uint16) float64 {
	switch c.Type {
	case Int16:
		return float64(int16(c.pattern(regs)))
	case Int32:
		return float64(int32(c.pattern(regs)))
	case Float32:
		return float64(math.Float32frombits(c.pattern(regs)))
	}
	return float64(c.pattern(regs))
}

// pattern puts the registers together, in the channel's order.
func (c Channel) pattern(regs []uint16) uint32 {
	high := uint32(c.ordered(regs[0]))
	if len(regs) == 1 {
		return high
	}
	low := uint32(c.ordered(regs[1]))
	if c.Words == LowFirst {
		high, low = low, high
	}
	return high<<16 | low
}

// ordered turns a register from the channel's order of bytes into the standard's
// and back.
func (c Channel) ordered(register uint16) uint16 {
	if c.Bytes == LowFirst {
		return bits.ReverseBytes16(register)
	}
	return register
}

// appendRaw appends a number that the type holds, in the channel's order.
func (c Channel) appendRaw(dst []uint16, raw float64) []uint16 {
	var pattern uint32
	switch c.Type {
	case Float32:
		pattern = math.Float32bits(float32(raw))
	default:
		pattern = uint32(int64(raw)) // two's complement for what is negative
	}
	high, low := c.ordered(uint16(pattern>>16)), c.ordered(uint16(pattern))
	switch {
	case c.Registers() == 1:
		return append(dst, low)
	case c.Words == LowFirst:
		return append(dst, low, high)
	}
	return append(dst, high, low)
}

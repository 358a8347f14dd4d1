package registers

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// picked chooses from a list, or something that is not in it.
func picked[T ~string](list []T, i uint8) T {
	if n := int(i) % (len(list) + 2); n < len(list) {
		return list[n]
	} else if n == len(list) {
		return ""
	}
	return "odd"
}

var (
	everyType  = []Type{Bit, Int16, Uint16, Int32, Uint32, Float32}
	everyOrder = []Order{HighFirst, LowFirst}
	everyUnit  = []Unit{Celsius, Fahrenheit, Millivolt, Fraction, Percent}
)

// FuzzChannel makes a channel out of anything. Validate names what is wrong and how
// to mend it; of a channel that it lets pass, a temperature is finite or a fault, a
// duty arrives as at most full power, and what a device has before anybody writes
// to it, zeros, is no heat.
func FuzzChannel(f *testing.F) {
	const melt, pedal, heat, contactor = 0, 9, 11, 14 // in the order of Roles
	f.Add(uint8(melt), uint8(1), uint8(0), uint8(0), uint8(0), uint8(0), uint8(4), uint16(3), 0.1, 0.0, 32767.0, -1.5, uint16(1), false, uint16(1767), uint16(0), uint16(0), 25.0)
	f.Add(uint8(melt), uint8(5), uint8(1), uint8(1), uint8(2), uint8('K'), uint8(3), uint16(0), 1.0, 0.0, -1.0, 0.0, uint16(0), false, uint16(0x7FC0), uint16(0), uint16(1), 25.0)
	f.Add(uint8(melt), uint8(3), uint8(0), uint8(1), uint8(1), uint8(0), uint8(4), uint16(65535), 1e300, -1e300, 0.0, 0.0, uint16(0), false, uint16(1), uint16(1), uint16(0), math.NaN())
	f.Add(uint8(pedal), uint8(0), uint8(2), uint8(2), uint8(5), uint8(0), uint8(2), uint16(3), 1.0, 0.0, 0.0, 0.0, uint16(0), true, uint16(1), uint16(0), uint16(0), 0.0)
	f.Add(uint8(heat), uint8(2), uint8(0), uint8(0), uint8(3), uint8(0), uint8(16), uint16(0), 0.0001, 0.0, 0.0, 0.0, uint16(0), false, uint16(0), uint16(0), uint16(0), 0.37)
	f.Add(uint8(heat), uint8(5), uint8(1), uint8(0), uint8(4), uint8(0), uint8(16), uint16(9), 1.0, -25.0, 0.0, 0.0, uint16(0), false, uint16(0), uint16(0), uint16(0), 1.0)
	f.Add(uint8(heat), uint8(5), uint8(0), uint8(0), uint8(4), uint8(0), uint8(16), uint16(0), 1.0, -1e9, 0.0, 0.0, uint16(0), false, uint16(0), uint16(0), uint16(0), 1.0)
	f.Add(uint8(heat), uint8(0), uint8(2), uint8(2), uint8(5), uint8(0), uint8(5), uint16(9), 1.0, 0.0, 0.0, 0.0, uint16(0), false, uint16(0), uint16(0), uint16(0), 0.5)
	f.Add(uint8(contactor), uint8(0), uint8(2), uint8(2), uint8(5), uint8(0), uint8(15), uint16(0), 1.0, 0.0, 0.0, 0.0, uint16(0), true, uint16(0), uint16(0), uint16(0), 0.5)
	f.Fuzz(func(t *testing.T, role, kind, words, bytes, unit, letter, function uint8, address uint16,
		scale, offset, sentinel, correctionC float64, mask uint16, invert bool, first, second, status uint16, number float64) {
		c := Channel{
			Role: Role(picked(Roles(), role)), Device: "inputs", Function: function, Address: address,
			Type: picked(everyType, kind), Words: picked(everyOrder, words), Bytes: picked(everyOrder, bytes),
			Scale: scale, Offset: offset, Unit: picked(everyUnit, unit), Invert: invert, CorrectionC: correctionC,
		}
		if c.Role.ofPot() {
			c.Pot = "left"
		}
		if letter > 0 {
			c.Thermocouple = string(rune(letter))
		}
		if mask > 0 {
			c.Status, c.Sentinels = &Status{Function: function, Open: mask}, []float64{sentinel}
		}
		checkAnything(t, c, []uint16{first, second}[:c.Registers()], []uint16{status}, number)
		_, _ = c.AppendDuty(nil, number)
		_ = c.Contact([]bool{invert})
		err := c.Validate()
		require.Equal(t, err, c.Validate())
		if err != nil {
			requireFixes(t, err)
			return
		}
		if k := c.Role.kind(); k == heater || c.Role == Contactor {
			requireSafeHeater(t, c, number)
		} else if k == temperature && mask > 0 {
			got := c.Temperature(c.appendRaw(nil, sentinel), []uint16{0}, reading.Temperature{C: number, Fault: reading.None})
			require.Equal(t, reading.Sentinel, got.Fault)
		}
	})
}

func requireFixes(t *testing.T, err error) {
	t.Helper()
	var all *Error
	require.True(t, errors.As(err, &all))
	require.NotEmpty(t, all.Problems)
	for _, p := range all.Problems {
		require.NotEmpty(t, p.Key)
		require.NotEmpty(t, p.Wrong)
		require.NotEmpty(t, p.Fix)
	}
}

// requireSafeHeater checks what is written for a duty, which may be no number.
func requireSafeHeater(t *testing.T, c Channel, duty float64) {
	t.Helper()
	const tiny = 2 * nearlyWhole
	if c.Type == Bit {
		require.False(t, c.Coil(false))
		return
	}
	power := func(regs []uint16) float64 { return (c.raw(regs)*c.Scale + c.Offset) / c.full() }
	require.LessOrEqual(t, power(make([]uint16, c.Registers())), tiny, "before anybody writes")
	require.InDelta(t, 0, power(encode(t, c, 0)), tiny)
	require.InDelta(t, 1, power(encode(t, c, 1)), coarsest)
	if !(duty >= 0 && duty <= 1) {
		regs, err := c.AppendDuty(nil, duty)
		require.Error(t, err)
		require.Empty(t, regs)
		return
	}
	require.InDelta(t, duty, power(encode(t, c, duty)), coarsest)
	require.LessOrEqual(t, power(encode(t, c, duty)), 1+tiny)
	require.LessOrEqual(t, power(encode(t, c, duty)), duty+coarsest/2+tiny)
}

// TestABinary32FarFromZeroIsTooCoarse: near a thousand million its steps are 64, so
// that 100 % would have been written as 128 % (binary32 of IEEE 754 has 24 bits;
// computed).
func TestABinary32FarFromZeroIsTooCoarse(t *testing.T) {
	c := heaterChannel()
	c.Type, c.Unit, c.Scale, c.Offset = Float32, Percent, 1, -1e9
	require.EqualError(t, c.Validate(), `offset: "-1e+09": steps of more than 5 % of full power; write an offset nearer to 0`)
	regs, err := c.AppendDuty(nil, 1)
	require.NoError(t, err)
	require.LessOrEqual(t, c.raw(regs), 1e9+100)
	c.Offset = -1e7
	require.NoError(t, c.Validate())
}

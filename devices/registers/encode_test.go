package registers

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func encode(t require.TestingT, c Channel, duty float64) []uint16 {
	regs, err := c.AppendDuty(nil, duty)
	require.NoError(t, err)
	require.Len(t, regs, c.Registers())
	return regs
}

func TestDutyIsEncoded(t *testing.T) {
	c := heaterChannel()
	assert.Equal(t, []uint16{0}, encode(t, c, 0))
	assert.Equal(t, []uint16{0}, encode(t, c, math.Copysign(0, -1)))
	assert.Equal(t, []uint16{3712}, encode(t, c, 0.3712))
	assert.Equal(t, []uint16{10000}, encode(t, c, 1))
	regs, err := c.AppendDuty([]uint16{7}, 0.5)
	require.NoError(t, err)
	assert.Equal(t, []uint16{7, 5000}, regs)

	c.Unit, c.Scale = Percent, 1
	assert.Equal(t, []uint16{37}, encode(t, c, 0.3712))
	assert.Equal(t, []uint16{12}, encode(t, c, 0.125), "of two equally near, the lower")

	c.Type, c.Bytes, c.Words = Float32, LowFirst, LowFirst
	assert.Equal(t, []uint16{0x0000, 0xC842}, encode(t, c, 1), "100 is 42 C8 00 00 in binary32 (from memory)")
	assert.Equal(t, []uint16{0, 0}, encode(t, c, 0))
}

// Half-cycles of 60 Hz in a window of 2 s: 240 steps, 37 % is 88.8 and so 89 of
// them (own example, computed).
func TestDutyIsRoundedToTheNearestStep(t *testing.T) {
	c := heaterChannel()
	c.Scale = 1.0 / 240
	assert.Equal(t, []uint16{89}, encode(t, c, 0.37))
}

// A current output in counts: 4000 for 4 mA is off, 20000 for 20 mA is full power
// (4 to 20 mA is IEC 60381-1, from memory; the counts are invented).
func TestDutyWithALiveZero(t *testing.T) {
	c := heaterChannel()
	c.Scale, c.Offset = 1.0/16000, -0.25
	assert.Equal(t, []uint16{4000}, encode(t, c, 0))
	assert.Equal(t, []uint16{12000}, encode(t, c, 0.5))
	assert.Equal(t, []uint16{20000}, encode(t, c, 1))
}

func TestFullPowerIsNotExceeded(t *testing.T) {
	c := heaterChannel()
	c.Scale = 0.0006 // 1667 steps would be 100.02 %
	assert.Equal(t, []uint16{1666}, encode(t, c, 1))
}

func TestDutyThatIsNone(t *testing.T) {
	for _, duty := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e-9, math.Nextafter(1, 2)} {
		regs, err := heaterChannel().AppendDuty([]uint16{7}, duty)
		assert.ErrorContains(t, err, "is not a number from 0 to 1")
		assert.Equal(t, []uint16{7}, regs)
	}
	for _, c := range []Channel{{}, meltChannel(), switchChannel(), {Type: Uint16, Unit: Fraction}, {Type: "int8", Unit: Fraction, Scale: 0.01}, {Type: Int16, Unit: Percent, Scale: 1e-9}} {
		regs, err := c.AppendDuty(nil, 0.5)
		assert.ErrorContains(t, err, "does not fit into")
		assert.Empty(t, regs)
	}
}

func TestCoils(t *testing.T) {
	c := lampChannel() // inverted
	assert.False(t, c.Coil(true))
	assert.True(t, c.Coil(false))
	assert.True(t, switchChannel().Coil(true))
	assert.False(t, switchChannel().Coil(false))
}

var orders = rapid.SampledFrom([]Order{HighFirst, LowFirst})

// Every number of every type survives in every order.
func TestNumbersSurviveEncoding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Channel{
			Type:  rapid.SampledFrom(temperature.types()).Draw(t, "type"),
			Words: orders.Draw(t, "words"), Bytes: orders.Draw(t, "bytes"),
		}
		raw := map[Type]func() float64{
			Int16:   func() float64 { return float64(rapid.Int16().Draw(t, "raw")) },
			Uint16:  func() float64 { return float64(rapid.Uint16().Draw(t, "raw")) },
			Int32:   func() float64 { return float64(rapid.Int32().Draw(t, "raw")) },
			Uint32:  func() float64 { return float64(rapid.Uint32().Draw(t, "raw")) },
			Float32: func() float64 { return float64(rapid.Float32().Draw(t, "raw")) },
		}[c.Type]()
		require.True(t, c.Type.holds(raw))
		regs := c.appendRaw(nil, raw)
		require.Len(t, regs, c.Registers())
		require.Equal(t, raw, c.raw(regs))
	})
}

// anyHeater draws a heater that passes Validate.
func anyHeater(t *rapid.T) Channel {
	c := heaterChannel()
	c.Type = rapid.SampledFrom(temperature.types()).Draw(t, "type")
	c.Words, c.Bytes = orders.Draw(t, "words"), orders.Draw(t, "bytes")
	c.Unit = rapid.SampledFrom([]Unit{Fraction, Percent}).Draw(t, "unit")
	steps := rapid.IntRange(20, 16000).Draw(t, "steps of full power")
	below := rapid.IntRange(0, 16000).Draw(t, "numbers below off")
	c.Scale = c.full() / float64(steps)
	c.Offset = -float64(below) * c.Scale
	require.NoError(t, c.Validate())
	return c
}

// What a device makes of the registers is at most half a step above what was
// asked, never above full power, and off is off.
func TestDutySurvivesEncoding(t *testing.T) {
	const tiny = 1e-6 // binary32 has 24 bits, of which an offset takes some
	rapid.Check(t, func(t *rapid.T) {
		c := anyHeater(t)
		duty := rapid.Float64Range(0, 1).Draw(t, "duty")
		value := func(duty float64) float64 { return c.Duty(encode(t, c, duty)) }
		halfStep := c.Scale / c.full() / 2
		if c.Type == Float32 {
			halfStep = 0
		}
		halfStep += tiny * (1 - c.Offset/c.full())
		require.InDelta(t, duty, value(duty), halfStep)
		require.LessOrEqual(t, value(duty), 1+tiny)
		require.InDelta(t, 0, value(0), tiny)
		require.GreaterOrEqual(t, value(duty), value(0))
		require.GreaterOrEqual(t, value(1), value(duty))
	})
}

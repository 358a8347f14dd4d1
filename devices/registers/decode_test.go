package registers

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/control/reading"
)

var (
	warm   = reading.Temperature{C: 25, Fault: reading.None} // a cold junction
	absent = reading.Temperature{}
)

// good asserts a value in °C.
func good(t *testing.T, wantC float64, got reading.Temperature) {
	t.Helper()
	assert.Equal(t, reading.None, got.Fault)
	assert.InDelta(t, wantC, got.C, 1e-9)
	assert.Zero(t, got.Age)
}

// The standard sends the high byte of a register first, 0x1234 as 12 34
// (application protocol specification V1.1b3, 4.2); it says nothing about values
// of two registers. Own examples of the four orders, by the letters common in
// device manuals (common practice, no source): ABCD, CDAB, BADC, DCBA.
func TestOrders(t *testing.T) {
	for _, x := range []struct {
		words, bytes Order
		regs         []uint16
	}{
		{HighFirst, HighFirst, []uint16{0x1234, 0x5678}},
		{LowFirst, HighFirst, []uint16{0x5678, 0x1234}},
		{HighFirst, LowFirst, []uint16{0x3412, 0x7856}},
		{LowFirst, LowFirst, []uint16{0x7856, 0x3412}},
	} {
		c := Channel{Type: Uint32, Words: x.words, Bytes: x.bytes}
		assert.Equal(t, float64(0x12345678), c.raw(x.regs))
		assert.Equal(t, x.regs, c.appendRaw(nil, 0x12345678))
		c.Type = Uint16
		assert.Equal(t, map[Order]float64{HighFirst: 0x1234, LowFirst: 0x3412}[x.bytes], c.raw([]uint16{0x1234}))
	}
}

// Two's complement; and binary32 of IEEE 754, 3.4 and 6.2.1 (the patterns are from
// memory: 1, -118.625 and the largest finite number are common textbook examples).
func TestTypes(t *testing.T) {
	for _, x := range []struct {
		of   Type
		regs []uint16
		want float64
	}{
		{Int16, []uint16{0xFFFF}, -1},
		{Int16, []uint16{0x8000}, -32768},
		{Int16, []uint16{0x7FFF}, 32767},
		{Uint16, []uint16{0xFFFF}, 65535},
		{Int32, []uint16{0xFFFF, 0xFFFE}, -2},
		{Int32, []uint16{0x8000, 0}, -2147483648},
		{Uint32, []uint16{0xFFFF, 0xFFFF}, 4294967295},
		{Float32, []uint16{0x3F80, 0}, 1},
		{Float32, []uint16{0xC2ED, 0x4000}, -118.625},
		{Float32, []uint16{0x7F7F, 0xFFFF}, math.MaxFloat32},
		{Float32, []uint16{0x7F80, 0}, math.Inf(1)},
	} {
		assert.Equal(t, x.want, Channel{Type: x.of}.raw(x.regs), "%v", x)
	}
	assert.True(t, math.IsNaN(Channel{Type: Float32}.raw([]uint16{0x7FC0, 0})))
}

func TestTemperatureIsScaledAndCorrected(t *testing.T) {
	c := meltChannel()
	good(t, 176.7, c.Temperature([]uint16{1767}, []uint16{0}, absent))
	good(t, -0.1, c.Temperature([]uint16{0xFFFF}, []uint16{0xFFFE}, absent)) // only bit 0 is a fault
	c.Offset, c.CorrectionC = -50, -1.5
	good(t, 125.2, c.Temperature([]uint16{1767}, []uint16{0}, absent))
	c.Calibrated = Calibrated{OffsetC: 0.5, PerC: -0.01} // of what was corrected by hand
	good(t, 125.2+0.5-1.252, c.Temperature([]uint16{1767}, []uint16{0}, absent))
}

// Fixed points by definition of the scale: 32 °F and 212 °F; -40 is the same on
// both. A correction is a difference and already in °C.
func TestFahrenheit(t *testing.T) {
	c := coldJunctionChannel()
	good(t, 0, c.Temperature([]uint16{320}, nil, absent))
	good(t, 100, c.Temperature([]uint16{2120}, nil, absent))
	good(t, -40, c.Temperature([]uint16{0xFE70}, nil, absent))
	c.CorrectionC = 2
	good(t, 102, c.Temperature([]uint16{2120}, nil, absent))
}

// Worked cold-junction cases; the README beside the table names their source.
func TestMillivoltsAreCompensated(t *testing.T) {
	f, err := os.Open("../../testdata/thermocouples/cold-junction.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		return v
	}
	for _, row := range rows[1:] {
		letter, hotC, coldC, measuredMV := row[1], number(row[2]), number(row[3]), number(row[6])
		c := millivoltChannel()
		c.Thermocouple, c.CorrectionC = letter, 0.5
		regs := c.appendRaw(nil, measuredMV)
		got := c.Temperature(regs, nil, reading.Temperature{C: coldC, Fault: reading.None})
		assert.Equal(t, reading.None, got.Fault)
		assert.InDelta(t, hotC+0.5, got.C, 1e-3, "%v", row)
	}
	assert.Len(t, rows, 6)
}

func TestFaults(t *testing.T) {
	fault := func(want reading.Fault, got reading.Temperature) {
		t.Helper()
		assert.Equal(t, reading.Temperature{Fault: want}, got)
	}
	c := meltChannel()
	c.Status = &Status{Function: 4, Open: 0x01, Shorted: 0x06, Fault: 0x80}
	regs, quiet := []uint16{1767}, []uint16{0}
	fault(reading.Missing, c.Temperature(nil, quiet, absent))
	fault(reading.Missing, c.Temperature([]uint16{1, 2}, quiet, absent))
	fault(reading.Missing, c.Temperature(regs, nil, absent))
	fault(reading.Open, c.Temperature(regs, []uint16{0x87}, absent))
	fault(reading.Shorted, c.Temperature(regs, []uint16{0x84}, absent))
	fault(reading.DeviceFault, c.Temperature(regs, []uint16{0x80}, absent))
	fault(reading.Sentinel, c.Temperature([]uint16{0x7FFF}, quiet, absent))
	c.Scale = math.MaxFloat64
	fault(reading.NotANumber, c.Temperature(regs, quiet, absent))
	fault(reading.NotWired, heaterChannel().Temperature(regs, nil, absent))

	mv := millivoltChannel()
	value := func(v float32) []uint16 { return mv.appendRaw(nil, float64(v)) }
	fault(reading.NotANumber, mv.Temperature(value(float32(math.NaN())), nil, warm))
	fault(reading.NotANumber, mv.Temperature(value(float32(math.Inf(-1))), nil, warm))
	fault(reading.OutsideTable, mv.Temperature(value(54), nil, warm)) // type K ends at 54.886 mV (NIST SRD 60), less 1.000
	fault(reading.ColdJunction, mv.Temperature(value(6), nil, absent))
	fault(reading.ColdJunction, mv.Temperature(value(6), nil, reading.Temperature{C: 250, Fault: reading.None}))
	fault(reading.ColdJunction, mv.Temperature(value(6), nil, reading.Temperature{C: math.NaN(), Fault: reading.None}))
	mv.Thermocouple = "B" // its table starts at 0 °C
	fault(reading.ColdJunction, mv.Temperature(value(6), nil, reading.Temperature{C: -5, Fault: reading.None}))
	mv.Thermocouple = "k"
	fault(reading.NotWired, mv.Temperature(value(6), nil, warm))
}

func TestContacts(t *testing.T) {
	c := contactChannel() // inverted: closed is 0
	assert.Equal(t, reading.Contact{Closed: true, Fault: reading.None}, c.Contact([]bool{false}))
	assert.Equal(t, reading.Contact{Fault: reading.None}, c.Contact([]bool{true}))
	assert.Equal(t, reading.Contact{Fault: reading.Missing}, c.Contact(nil))
	c.Invert = false
	assert.Equal(t, reading.Contact{Closed: true, Fault: reading.None}, c.Contact([]bool{true}))
}

// Whatever the registers hold, a channel that passed Validate gives a finite
// temperature or a fault, never both and never a panic.
func TestAnyContentGivesAValueOrAFault(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom([]Channel{meltChannel(), millivoltChannel(), coldJunctionChannel()}).Draw(t, "channel")
		c.Type = rapid.SampledFrom(temperature.types()).Draw(t, "type")
		c.Sentinels = nil
		require.NoError(t, c.Validate())
		checkAnything(t, c, rapid.SliceOfN(rapid.Uint16(), 0, 3).Draw(t, "regs"), rapid.SliceOfN(rapid.Uint16(), 0, 2).Draw(t, "status"),
			rapid.Float64().Draw(t, "cold junction"))
	})
}

func checkAnything(t require.TestingT, c Channel, regs, status []uint16, coldC float64) {
	got := c.Temperature(regs, status, reading.Temperature{C: coldC, Fault: reading.None})
	if got.Fault != reading.None {
		require.Equal(t, reading.Temperature{Fault: got.Fault}, got)
		return
	}
	require.Len(t, regs, c.Registers())
	require.True(t, finite(got.C))
}

// FuzzTemperature decodes any content by any channel, sensible or not.
func FuzzTemperature(f *testing.F) {
	f.Add("float32", "low-first", "high-first", "mV", "K", 1.0, 0.0, uint16(0x7FC0), uint16(0), 2, uint16(1), 25.0)
	f.Add("int16", "", "low-first", "F", "", 0.1, 0.0, uint16(0x7FFF), uint16(0), 1, uint16(0), math.NaN())
	f.Add("bit", "", "", "", "", math.Inf(1), -1.0, uint16(1), uint16(1), 0, uint16(0xFFFF), 0.0)
	f.Fuzz(func(t *testing.T, kind, words, bytes, unit, letter string, scale, offset float64, first, second uint16, n int, status uint16, coldC float64) {
		c := Channel{
			Role: Melt, Pot: "left", Device: "inputs", Function: 4, Type: Type(kind), Words: Order(words), Bytes: Order(bytes),
			Scale: scale, Offset: offset, Unit: Unit(unit), Thermocouple: letter, Sentinels: []float64{0x7FFF},
			Status: &Status{Function: 4, Open: 1, Fault: 2},
		}
		checkAnything(t, c, []uint16{first, second}[:min(max(n, 0), 2)], []uint16{status}, coldC)
		_, _ = c.AppendDuty(nil, coldC)
		_ = c.Validate()
	})
}

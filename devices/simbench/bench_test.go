package simbench

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench/physics"
)

// demoPots are invented.
func demoPots() []Pot {
	return []Pot{
		{Name: "back", VolumeML: 260, HeaterW: 1000, Plate: physics.Cast},
		{Name: "side", VolumeML: 220, HeaterW: 1000, Plate: physics.Cast},
		{Name: "belly", VolumeML: 180, HeaterW: 800, Plate: physics.Thin},
	}
}

func newBench(t *testing.T, seed uint64) *Bench {
	t.Helper()
	b, err := New(Config{Pots: demoPots(), Seed: seed}, clock.New(1))
	require.NoError(t, err)
	return b
}

// ask puts one request to the bench, without a line between.
func ask(b *Bench, r modbus.Request) []byte {
	var reply []byte
	b.do(func() { reply = b.answer(r.Append(nil)) })
	return reply
}

func read(t *testing.T, b *Bench, unit, function uint8, address, quantity uint16) []byte {
	t.Helper()
	r := modbus.Request{Unit: unit, Function: function, Address: address, Quantity: quantity}
	data, err := r.ParseReply(ask(b, r))
	require.NoError(t, err)
	return data
}

// inputs returns all registers of the thermocouple unit: values, then status.
func inputs(t *testing.T, b *Bench) []uint16 {
	t.Helper()
	return modbus.Registers(read(t, b, UnitThermocouples, modbus.ReadInput, 0, 16))
}

func discretes(t *testing.T, b *Bench) []bool {
	t.Helper()
	return modbus.Bits(read(t, b, UnitContacts, modbus.ReadInputs, 0, 5), 5)
}

// sealed appends the check, low byte first: serial line specification V1.02, 6.2.2.
func sealed(frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(frame, modbus.CRC(frame))
}

func write(t *testing.T, b *Bench, r modbus.Request) {
	t.Helper()
	require.NoError(t, r.Check())
	_, err := r.ParseReply(ask(b, r))
	require.NoError(t, err)
}

// drive writes all duties and closes the contactor.
func drive(t *testing.T, b *Bench, duty ...uint16) {
	t.Helper()
	write(t, b, modbus.Request{
		Unit: UnitPower, Function: modbus.WriteRegisters, Quantity: uint16(len(duty)),
		Data: modbus.AppendRegisters(nil, duty...),
	})
	write(t, b, modbus.Request{
		Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true),
	})
}

// driveFor keeps driving, once a second of bench time.
func driveFor(t *testing.T, b *Bench, span time.Duration, duty ...uint16) {
	t.Helper()
	for range int(span / time.Second) {
		drive(t, b, duty...)
		time.Sleep(time.Second) // virtual
	}
}

func TestRefusesABenchThatCannotBe(t *testing.T) {
	for name, pots := range map[string][]Pot{
		"no pots":   nil,
		"too many":  make([]Pot, MaxPots+1),
		"no volume": {{Name: "a", HeaterW: 1000}},
		"NaN":       {{Name: "a", HeaterW: math.NaN(), VolumeML: 250}},
		"same name": {{Name: "a", VolumeML: 250, HeaterW: 800}, {Name: "a", VolumeML: 250, HeaterW: 800}},
	} {
		_, err := New(Config{Pots: pots}, clock.New(1))
		require.Error(t, err, name)
	}
}

// TestHeatersAreCoilsToo: a heater that is a coil draws all of its power or none, and
// writing it keeps it.
func TestHeatersAreCoilsToo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		for range 5 {
			write(t, b, modbus.Request{Unit: UnitPower, Function: modbus.WriteCoils, Address: heaterCoils, Quantity: 3, Data: []byte{0b101}})
			write(t, b, modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
			time.Sleep(time.Second)
		}
		truth := b.Truth()
		for i, on := range []bool{true, false, true} {
			require.Equal(t, on, truth.Pots[i].PowerW > 0)
		}
		require.Equal(t, []uint16{fullDuty, 0, fullDuty}, modbus.Registers(read(t, b, UnitPower, modbus.ReadHolding, 0, 3)))
		time.Sleep(2 * time.Second)
		require.Zero(t, b.Truth().Pots[0].PowerW, "nobody has written")
	})
}

// TestRefusals follows the order of the state diagrams of the application
// protocol specification V1.1b3, section 6: function 01, quantity 03, address
// 02, value 03.
func TestRefusals(t *testing.T) {
	b := newBench(t, 1)
	tests := []struct {
		name string
		pdu  []byte // unit first, check left out
		code uint8
	}{
		{"function unknown to the standard's list", []byte{1, 0x41, 0, 0}, 1},
		{"function not in this unit", []byte{1, 3, 0, 0, 0, 1}, 1},
		{"function not in this unit, quantity wrong as well", []byte{1, 3, 0, 0, 0, 0}, 1},
		{"quantity 0", []byte{1, 4, 0, 0, 0, 0}, 3},
		{"quantity 126", []byte{1, 4, 0, 0, 0, 126}, 3},
		{"address beyond the end", []byte{1, 4, 0, 15, 0, 2}, 2},
		{"address far beyond", []byte{3, 2, 0xFF, 0xFF, 0, 1}, 2},
		{"coil value", []byte{2, 5, 0, 0, 1, 0}, 3},
		{"coil address", []byte{2, 5, 0, 4, 0xFF, 0}, 2},
		{"duty above 100 %", []byte{2, 6, 0, 0, 0x27, 0x11}, 3},
		{"time-out of 0", []byte{2, 6, 0, 3, 0, 0}, 3},
		{"byte count", []byte{2, 16, 0, 0, 0, 2, 2, 0, 1}, 3},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var reply []byte
			b.do(func() { reply = b.answer(sealed(test.pdu)) })
			require.Equal(t, sealed([]byte{test.pdu[0], test.pdu[1] | 0x80, test.code}), reply)
		})
	}
	require.Empty(t, ask(b, modbus.Request{Unit: 9, Function: 3, Quantity: 1}), "no such unit")
	require.Empty(t, ask(b, modbus.Request{Unit: 0, Function: 3, Quantity: 1}), "broadcast")
	b.do(func() { require.Empty(t, b.answer([]byte{1, 4, 0, 0, 0, 1, 0, 0}), "check wrong") })
	require.Zero(t, b.Truth().Pots[0].PowerW)
}

// TestWritesAreReadBack uses the frames of the specification's examples for
// functions 5, 6, 15 and 16 in form: V1.1b3, sections 6.5, 6.6, 6.11, 6.12.
func TestWritesAreReadBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		drive(t, b, 100, 200, 300)
		write(t, b, modbus.Request{Unit: UnitPower, Function: modbus.WriteRegister, Address: 1, Quantity: 1, Data: []byte{0x03, 0xE8}})
		require.Equal(t, []uint16{100, 1000, 300, 1500}, modbus.Registers(read(t, b, UnitPower, modbus.ReadHolding, 0, 4)))
		require.Equal(t, []bool{true}, modbus.Bits(read(t, b, UnitPower, modbus.ReadCoils, 0, 1), 1))
		write(t, b, modbus.Request{Unit: UnitContacts, Function: modbus.WriteCoils, Quantity: 2, Data: []byte{2}})
		require.Equal(t, []bool{false, true}, modbus.Bits(read(t, b, UnitContacts, modbus.ReadCoils, 0, 2), 2))
		truth := b.Truth()
		require.True(t, truth.Buzzer)
		require.False(t, truth.Lamp)
	})
}

func TestChannelsAreWhatTheWireHolds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 7)
		require.NoError(t, b.Inject(GroundedProbe, Place{Pot: 2, Probe: registers.Plate}))
		time.Sleep(time.Second)
		unit := map[string]uint8{}
		for _, d := range b.Devices() {
			unit[d.Name] = d.Unit
		}
		roles := map[registers.Role]int{}
		for _, c := range b.Channels() {
			roles[c.Role]++
			if c.Function > 4 {
				continue
			}
			raw := read(t, b, unit[c.Device], c.Function, c.Address, 1)
			if c.Type == registers.Bit {
				healthy := c.Role == registers.EStop || c.Role == registers.CutOut || c.Role == registers.Fan
				require.Equal(t, healthy, modbus.Bits(raw, 1)[0], c.Role)
				continue
			}
			status := modbus.Registers(read(t, b, unit[c.Device], c.Status.Function, c.Status.Address, 1))[0]
			if c.Role == registers.Plate && c.Pot == "belly" {
				require.Equal(t, c.Sentinels[0], float64(binary.BigEndian.Uint16(raw)))
				require.NotZero(t, status&c.Status.Shorted)
				continue
			}
			value := float64(int16(binary.BigEndian.Uint16(raw)))*c.Scale + c.Offset
			require.InDelta(t, b.Truth().RoomC, value, 3.5, "%s %s", c.Pot, c.Role)
			require.Zero(t, status)
		}
		require.Equal(t, map[registers.Role]int{
			registers.Melt: 3, registers.Plate: 3, registers.Heater: 3, registers.Mould: 1, registers.Room: 1,
			registers.EStop: 1, registers.CutOut: 1, registers.Fan: 1, registers.Pedal: 1, registers.Enable: 1,
			registers.Contactor: 1, registers.Lamp: 1, registers.Buzzer: 1,
		}, roles)
	})
}

func TestSilenceDropsTheHeaters(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		drive(t, b, fullDuty, fullDuty, fullDuty)
		time.Sleep(1400 * time.Millisecond)
		require.Greater(t, b.Truth().Pots[0].PowerW, 800.0)
		time.Sleep(200 * time.Millisecond)
		require.Zero(t, b.Truth().Pots[0].PowerW)
		require.Equal(t, []uint16{0, 0, 0, 1500}, modbus.Registers(read(t, b, UnitPower, modbus.ReadHolding, 0, 4)))
		require.False(t, b.Truth().Contactor)
		heat := b.Truth().Pots[0].HeatJ

		// The coil alone does not bring heat back, nor do reads keep it.
		write(t, b, modbus.Request{Unit: UnitPower, Function: modbus.WriteCoil, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
		time.Sleep(time.Second)
		require.Equal(t, heat, b.Truth().Pots[0].HeatJ)
		drive(t, b, fullDuty, 0, 0)
		for range 20 {
			inputs(t, b)
			read(t, b, UnitPower, modbus.ReadHolding, 0, 4)
			time.Sleep(100 * time.Millisecond)
		}
		require.False(t, b.Truth().Contactor)

		drive(t, b, fullDuty, 0, 0)
		time.Sleep(time.Second)
		require.Greater(t, b.Truth().Pots[0].HeatJ, heat)
		require.Zero(t, b.Truth().Pots[1].PowerW)
	})
}

func TestTimeoutCanBeSetAndIsProven(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		require.True(t, b.ProvesTimeout())
		register := b.Devices()[1].TimeoutRegister
		set := func(ms uint16) {
			write(t, b, modbus.Request{
				Unit: UnitPower, Function: modbus.WriteRegister, Address: register, Quantity: 1,
				Data: modbus.AppendRegisters(nil, ms),
			})
		}
		set(30000)
		require.False(t, b.ProvesTimeout(), "half a minute is no protection")
		set(300)
		require.True(t, b.ProvesTimeout())
		drive(t, b, fullDuty, 0, 0)
		set(300) // not a duty: does not count as one
		time.Sleep(350 * time.Millisecond)
		require.False(t, b.Truth().Contactor)
	})
}

func TestNoHeatWhileAnythingInTheChainIsOpen(t *testing.T) {
	for _, fault := range []Fault{EStopOpened, CutOutOpened} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, 1)
			require.NoError(t, b.Inject(fault, Place{}))
			require.NoError(t, b.Inject(RelayWelded, Place{Pot: 1}))
			driveFor(t, b, 10*time.Second, fullDuty, fullDuty, fullDuty)
			for _, p := range b.Truth().Pots {
				require.Zero(t, p.HeatJ)
			}
			require.NoError(t, b.Clear(fault, Place{}))
			driveFor(t, b, 10*time.Second, fullDuty, 0, 0)
			require.Greater(t, b.Truth().Pots[0].HeatJ, 8000.0)
			require.Greater(t, b.Truth().Pots[1].HeatJ, 8000.0, "welded on")
			require.Zero(t, b.Truth().Pots[2].HeatJ)
		})
	}
}

func TestNoHeatWithTheContactorOpen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		require.NoError(t, b.Inject(RelayWelded, Place{Pot: 0}))
		for range 60 {
			write(t, b, modbus.Request{
				Unit: UnitPower, Function: modbus.WriteRegisters, Quantity: 3,
				Data: modbus.AppendRegisters(nil, fullDuty, fullDuty, fullDuty),
			})
			time.Sleep(time.Second)
		}
		for _, p := range b.Truth().Pots {
			require.Zero(t, p.HeatJ)
			require.InDelta(t, b.Truth().RoomC, p.MeltC, 1e-6)
		}
	})
}

func TestCutOutOpensByItselfAndStaysOpen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		hottest := 0.0
		for range int(15 * time.Minute / time.Second) {
			driveFor(t, b, time.Second, fullDuty, fullDuty, fullDuty)
			for _, p := range b.Truth().Pots {
				hottest = max(hottest, p.PlateC)
			}
		}
		require.InDelta(t, 290, hottest, 10, "the element still gives up its heat")
		truth := b.Truth()
		require.False(t, truth.CutOut)
		require.False(t, discretes(t, b)[1])
		for _, p := range truth.Pots {
			require.Zero(t, p.PowerW)
		}
		time.Sleep(time.Hour)
		require.False(t, b.Truth().CutOut, "cold, and still open")
		require.NoError(t, b.Clear(CutOutOpened, Place{}))
		require.True(t, b.Truth().CutOut)
	})
}

// trace is what the wire says while a bench heats up with its maker.
func trace(t *testing.T, seed uint64) string {
	t.Helper()
	var out strings.Builder
	synctest.Test(t, func(t *testing.T) {
		b, err := New(Config{Pots: demoPots(), Seed: seed, Maker: true}, clock.New(1))
		require.NoError(t, err)
		for range 300 {
			drive(t, b, 4000, 4000, 4000)
			fmt.Fprintln(&out, inputs(t, b), discretes(t, b))
			time.Sleep(time.Second)
		}
		fmt.Fprintln(&out, b.Truth())
	})
	return out.String()
}

func TestSameSeedSameTrace(t *testing.T) {
	first := trace(t, 3)
	require.Equal(t, first, trace(t, 3))
	require.NotEqual(t, first, trace(t, 4))
}

func TestUpsets(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 1)
		driveFor(t, b, 4*time.Minute, fullDuty, 0, 0)
		before := b.Truth().Pots[0]
		b.Add(0, 20)
		after := b.Truth().Pots[0]
		require.Less(t, after.MeltC, before.MeltC-2)
		b.Lift(0)
		require.True(t, b.Truth().Pots[0].Lifted)
		fall := func() float64 {
			start := b.Truth().Pots[0].MeltC
			time.Sleep(2 * time.Minute)
			return start - b.Truth().Pots[0].MeltC
		}
		fall()
		calm := fall()
		b.Draught(true)
		require.Greater(t, fall(), calm)
		b.Draught(false)
		b.Return(0)
		require.Negative(t, fall(), "the plate is still hot")
		b.PressPedal()
		b.PressEnable()
		require.Equal(t, []bool{true, true}, discretes(t, b)[3:])
		time.Sleep(pressFor)
		require.Equal(t, []bool{false, false}, discretes(t, b)[3:])
	})
}

package guess_test

import (
	"encoding/csv"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/guess"
	"meltwarden/devices/registers"
)

const payloads = "../../testdata/guess/payloads"

// TestNumbersAsAnotherLibraryLaysThemOut: each of pymodbus 3.0.0's own payloads (its builder
// in testdata/guess/payloads.py wrote the file) is decoded to the number that it was made
// of, and with the words or the bytes the other way round to another one, where it has them.
func TestNumbersAsAnotherLibraryLaysThemOut(t *testing.T) {
	text, err := os.ReadFile(payloads + ".csv")
	require.NoError(t, err)
	if again, err := exec.Command("/usr/bin/python3", payloads+".py").Output(); err == nil {
		assert.Equal(t, string(text), string(again), "the file is what the library says")
	} else if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
		t.Fatal("no python3 with pymodbus: ", err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+4*(5+3+5+3+5))
	for _, row := range rows[1:] {
		c := registers.Channel{
			Type: registers.Type(row[0]), Words: registers.Order(row[1]), Bytes: registers.Order(row[2]), Scale: 1, Unit: registers.Celsius,
		}
		want, err := strconv.ParseFloat(row[3], 64)
		require.NoError(t, err)
		var regs []uint16
		for _, word := range strings.Fields(row[4]) {
			v, err := strconv.ParseUint(word, 16, 16)
			require.NoError(t, err)
			regs = append(regs, uint16(v))
		}
		assert.InDelta(t, want, c.Temperature(regs, nil, none).C, 1e-4, "%v", row)
		if swapped := c; len(regs) == 2 && regs[0] != regs[1] {
			swapped.Words = map[registers.Order]registers.Order{registers.HighFirst: registers.LowFirst, registers.LowFirst: registers.HighFirst}[c.Words]
			assert.NotEqual(t, want, swapped.Temperature(regs, nil, none).C, "%v", row)
		}
	}
	t.Logf("%d payloads", len(rows)-1)
}

// TestBothNumberings: "register 108" of the example in the Modbus application protocol
// V1.1b3, 6.3, is sent as address 0x006B; 4.4 says that register N is addressed N-1.
func TestBothNumberings(t *testing.T) {
	assert.Equal(t, "holding register 107, which a manual that counts from 1 calls 108, or 40108", guess.Numbered(guess.Register{Function: 3, Address: 0x6B}))
	assert.Equal(t, "coil 19, which a manual that counts from 1 calls 20, or 00020", guess.Numbered(guess.Register{Function: 1, Address: 0x13}), "6.1: coil 20 is address 0x0013")
	assert.Equal(t, "discrete input 196, which a manual that counts from 1 calls 197, or 10197", guess.Numbered(guess.Register{Function: 2, Address: 0xC4}), "6.2: input 197 is address 0x00C4")
	assert.Equal(t, "input register 8, which a manual that counts from 1 calls 9, or 30009", guess.Numbered(guess.Register{Function: 4, Address: 8}), "6.4: register 9 is address 0x0008")
}

// tenths is a device of input registers in tenths of a degree, which a test sets.
type tenths map[uint16]float64

func (d tenths) read(raw map[uint16]uint16) map[guess.Register]uint16 {
	all := map[guess.Register]uint16{}
	for at, c := range d {
		all[guess.Register{Function: 4, Address: at}] = uint16(int16(c * 10))
	}
	for at, v := range raw {
		all[guess.Register{Function: 4, Address: at}] = v
	}
	return all
}

// holding holds one probe after another; at says what the device reads in a round.
func holding(room guess.Range, probes []string, at func(round, probe int) map[guess.Register]uint16) guess.Result {
	s := guess.NewSession(room, probes)
	for round := 0; ; round++ {
		step, n, _ := s.Step()
		switch step {
		case guess.Over:
			return s.Result()
		case guess.Rest:
			n = -1
		}
		s.Take(at(round, n))
	}
}

// TestWhatIsNotAProbe: a counter, a number that leaps, one that goes far beyond a hand and
// one that hardly moves are recognised as nothing.
func TestWhatIsNotAProbe(t *testing.T) {
	r := holding(guess.Indoors, []string{"room"}, func(round, probe int) map[guess.Register]uint16 {
		d := tenths{0: 20, 1: float64(12 + round), 2: 20, 3: 20, 4: 20 + float64(probe+1)}
		if probe == 0 && round%4 > 1 {
			d[2] = 32
		}
		if probe == 0 {
			d[3] = min(20+3*float64(round-12), 90)
		}
		return d.read(nil)
	})
	assert.Nil(t, r.Layout)
	assert.False(t, r.Probes[0].Told)
	assert.Contains(t, r.Notes[0], "Nothing was recognised")
}

// TestTwoInOneHand are not told, and both named.
func TestTwoInOneHand(t *testing.T) {
	warm := func(held bool) float64 { return map[bool]float64{true: 27, false: 20}[held] }
	r := holding(guess.Indoors, []string{"melt left", "plate left"}, func(_, probe int) map[guess.Register]uint16 {
		return tenths{5: warm(probe == 0), 6: warm(probe == 1), 7: warm(probe == 1)}.read(nil)
	})
	require.NotNil(t, r.Layout)
	assert.True(t, r.Probes[0].Told)
	assert.Equal(t, "more than one moved, at addresses 6, 7: hold one alone", r.Probes[1].Why)
	assert.Equal(t, []string{"  - {role: melt, pot: left, device: module, function: 4, address: 5, type: int16, scale: 0.1, unit: C} # held as number 1"}, r.Lines("module"))
	assert.Equal(t, "You asked from 6 on, and the probes begin at 5: your manual counts from 1. Take 1 off every address in it.", r.Numbering(6))
	assert.Empty(t, r.Numbering(5))
	assert.Contains(t, r.Notes, "Addresses count from 0, as on the wire: input register 5, which a manual that counts from 1 calls 6, or 30006.")
	assert.Contains(t, r.Notes, "One count is 0.1 °C: read as whole degrees it would be 10 times too high.")
}

// TestAPulledProbe shows what stands for no measurement, and so does an input without one.
func TestAPulledProbe(t *testing.T) {
	r := holding(guess.Indoors, []string{"melt left"}, func(round, probe int) map[guess.Register]uint16 {
		d := tenths{0: 20, 2: 21}
		raw := map[uint16]uint16{1: 0x8000}
		switch {
		case probe == 0 && round < 15:
			raw[0] = 0x8000 // its plug was moved
		case probe == 0:
			d[0] = 28
		}
		return d.read(raw)
	})
	require.True(t, r.Probes[0].Told)
	assert.Contains(t, r.Lines("module")[0], "sentinels: [-32768]")
	assert.Contains(t, strings.Join(r.Notes, "\n"), "address 1 reads -32768 (write it under sentinels)")
}

// TestTheSameByBothFunctions is said, and is no doubt.
func TestTheSameByBothFunctions(t *testing.T) {
	r := holding(guess.Indoors, nil, func(_, probe int) map[guess.Register]uint16 {
		all := tenths{0: 20, 1: 20, 2: 20}
		if probe >= 0 && probe < 3 {
			all[uint16(probe)] = 27
		}
		read := all.read(nil)
		for at, v := range all.read(nil) {
			read[guess.Register{Function: 3, Address: at.Address}] = v
		}
		return read
	})
	require.Len(t, r.Probes, 3, "it ended by itself")
	require.Len(t, r.Rivals, 1)
	assert.Equal(t, uint8(4), r.Layout.Function)
	assert.Equal(t, "the same by function 3: either will do", r.Rivals[0].Differs)
	assert.Contains(t, r.Lines("x")[0], "role: ROLE, pot: POT", "to be written")
}

// TestRows show each register in every type beside what could be a temperature.
func TestRows(t *testing.T) {
	w := guess.NewWatch(guess.Indoors)
	for range 6 {
		w.Take(map[guess.Register]uint16{{Function: 3, Address: 0}: 0x428D, {Function: 3, Address: 1}: 0x6666, {Function: 3, Address: 2}: 215})
	}
	rows := w.Rows()
	require.Len(t, rows, 3)
	assert.Len(t, rows[0].Numbers, 6, "two of 16 bits, and two of each of 32 bits")
	require.Len(t, rows[0].Fits, 1)
	assert.Equal(t, "room? 21.5 °C as float32 × 1 °F, high word first", rows[0].Fits[0].String())
	require.Len(t, rows[2].Fits, 1)
	assert.Equal(t, "room? 21.5 °C as int16 × 0.1 °C", rows[2].Fits[0].String())
	assert.Len(t, rows[2].Numbers, 2, "there is no register after the last")
}

// TestAnOpenInputOfAllOnes is named though the type is taken for a signed one, in which it
// is just below zero: an ordinary temperature to whoever reads on.
func TestAnOpenInputOfAllOnes(t *testing.T) {
	r := holding(guess.Indoors, []string{"melt left"}, func(_, probe int) map[guess.Register]uint16 {
		return tenths{0: map[bool]float64{true: 28, false: 20}[probe == 0]}.read(map[uint16]uint16{1: 0xFFFF})
	})
	require.True(t, r.Probes[0].Told)
	assert.Contains(t, strings.Join(r.Notes, "\n"), "address 1 reads -1 (write it under sentinels)")
}

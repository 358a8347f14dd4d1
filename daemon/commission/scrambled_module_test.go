package commission

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
	"meltwarden/devices/simbench"
	"meltwarden/devices/thermocouple"
)

// module is a thermocouple module with eight inputs and a map that nobody knows, in front
// of the simulated bench: it takes the temperatures of the bench's probes, and lays them out
// as it was drawn. It shares no code with what has to find that out, and what a probe of one
// type shows on an input of another is taken from the standard's table. All is invented.
type module struct {
	bench *simbench.Bench
	noise *rand.Rand
	table map[string][]row

	function uint8
	start    int
	stride   int // registers from one input to the next
	kind     string
	lowFirst bool
	scale    float64
	f        bool
	sentinel []uint16

	inputs     [8]int // the probe at each: 2 × pot for a melt, and one more for its plate; or none
	swapped    [6]bool
	probe, set [6]string // the type of each probe, and of the input that it is on
	terminalsC float64
}

const none = -1

// row is one of the table: mV at a temperature.
type row struct{ c, mV float64 }

func newModule(r *rand.Rand, table map[string]float64) *module {
	m := &module{noise: r, table: rows(table), start: r.IntN(12), scale: 1}
	m.function = []uint8{3, 4}[r.IntN(2)]
	m.kind = []string{"int16", "int16", "uint16", "int32", "float32"}[r.IntN(5)]
	m.f, m.lowFirst = r.IntN(3) == 0, r.IntN(2) == 0
	m.sentinel = map[string][]uint16{"int16": {0x7FFF}, "uint16": {0xFFFF}, "int32": {0x7FFF, 0xFFFF}, "float32": {0xC61C, 0x3C00}}[m.kind] // the last is -9999
	switch m.kind {
	case "int16":
		m.scale = 0.1
	case "uint16", "int32":
		m.scale = 0.01
	}
	m.stride = len(m.sentinel) + []int{0, 0, 0, 1}[r.IntN(4)]
	places := r.Perm(8)
	for i := range m.inputs {
		m.inputs[i] = none
	}
	for probe := range 6 {
		m.inputs[places[probe]] = probe
	}
	for i := range m.probe {
		m.probe[i], m.set[i] = "K", "K"
	}
	m.terminalsC = 1 + 4*r.Float64() // above the room, once that is known
	return m
}

// rows are those of the two types, by temperature.
func rows(table map[string]float64) map[string][]row {
	found := map[string][]row{}
	for name, mV := range table {
		c, err := strconv.ParseFloat(name[1:], 64)
		if letter := name[:1]; err == nil && (letter == "K" || letter == "J") {
			found[letter] = append(found[letter], row{c, mV})
		}
	}
	for _, all := range found {
		sort.Slice(all, func(i, j int) bool { return all[i].c < all[j].c })
	}
	return found
}

// emf is what a type gives, by a straight line between two rows.
func (m *module) emf(letter string, c float64) float64 {
	all := m.table[letter]
	i := min(max(sort.Search(len(all), func(i int) bool { return all[i].c > c }), 1), len(all)-1)
	a, b := all[i-1], all[i]
	return a.mV + (b.mV-a.mV)*(c-a.c)/(b.c-a.c)
}

// celsius is the temperature at which a type gives a voltage.
func (m *module) celsius(letter string, mV float64) float64 {
	all := m.table[letter]
	i := min(max(sort.Search(len(all), func(i int) bool { return all[i].mV > mV }), 1), len(all)-1)
	a, b := all[i-1], all[i]
	return a.c + (b.c-a.c)*(mV-a.mV)/(b.mV-a.mV)
}

// shows is what the module measures of a probe whose tip has a temperature.
func (m *module) shows(probe int, tipC float64) float64 {
	terminals := m.bench.Truth().RoomC + m.terminalsC
	mV := m.emf(m.probe[probe], tipC) - m.emf(m.probe[probe], terminals)
	if m.swapped[probe] {
		mV = -mV
	}
	return m.celsius(m.set[probe], mV+m.emf(m.set[probe], terminals))
}

// encode lays a temperature out.
func (m *module) encode(c float64) []uint16 {
	if m.f {
		c = c*9/5 + 32
	}
	count := int64(math.Round(c / m.scale))
	var bits uint32
	switch m.kind {
	case "int16", "uint16":
		return []uint16{uint16(count)}
	case "int32":
		bits = uint32(int32(count))
	default:
		bits = math.Float32bits(float32(math.Round(10*c) / 10))
	}
	regs := []uint16{uint16(bits >> 16), uint16(bits)}
	if m.lowFirst {
		slices.Reverse(regs)
	}
	return regs
}

// registers are all of the module's now.
func (m *module) registers() []uint16 {
	var in control.Input
	m.bench.Report(&in)
	return m.all(func(probe int) float64 {
		tip := in.Pots[probe/2].Melt.C
		if probe%2 == 1 {
			tip = in.Pots[probe/2].Plate.C
		}
		return m.shows(probe, tip) + 0.1*m.noise.NormFloat64()
	})
}

// all are the module's registers where each probe shows something.
func (m *module) all(shown func(probe int) float64) []uint16 {
	all := make([]uint16, m.start+len(m.inputs)*m.stride)
	for i, probe := range m.inputs {
		regs := slices.Clone(m.sentinel)
		if m.lowFirst {
			slices.Reverse(regs)
		}
		if probe != none {
			regs = m.encode(shown(probe))
		}
		copy(all[m.at(i):], regs)
	}
	return all
}

func (m *module) at(input int) int { return m.start + input*m.stride }

// answer is the module's reply to a request, as the application protocol V1.1b3, 6.3 and
// 6.4, has it.
func (m *module) answer(frame []byte) []byte {
	from, count := int(binary.BigEndian.Uint16(frame[2:])), int(binary.BigEndian.Uint16(frame[4:]))
	all := m.registers()
	reply := []byte{frame[0], frame[1] | 0x80, 2}
	switch {
	case frame[1] != m.function:
		reply[2] = 1
	case from+count <= len(all):
		reply = []byte{frame[0], frame[1], byte(2 * count)}
		for _, v := range all[from : from+count] {
			reply = binary.BigEndian.AppendUint16(reply, v)
		}
	}
	return binary.LittleEndian.AppendUint16(reply, modbus.CRC(reply))
}

// serve answers for the module on a line, and hands on what is for the others.
func (m *module) serve(line, others *pipe.End) {
	defer others.Close()
	if others.SetReadTimeout(100*time.Millisecond) != nil {
		return
	}
	chunk := make([]byte, modbus.MaxFrame)
	for {
		n, err := line.Read(chunk)
		if err != nil {
			return
		}
		var reply []byte
		if chunk[0] == simbench.UnitThermocouples {
			reply = m.answer(chunk[:n])
		} else if _, err := others.Write(chunk[:n]); err != nil {
			return
		} else if n, err = others.Read(chunk); err != nil {
			return
		} else {
			reply = chunk[:n]
		}
		if _, err := line.Write(reply); err != nil {
			return
		}
	}
}

// String is the map in words.
func (m *module) String() string {
	return fmt.Sprintf("function %d, from %d, every %d, %s × %g, fahrenheit %v, low word first %v, inputs %v, swapped %v, types %v on %v",
		m.function, m.start, m.stride, m.kind, m.scale, m.f, m.lowFirst, m.inputs, m.swapped, m.probe, m.set)
}

// TestTheModuleIsTheTables: what the module of these tests makes of a wrong type is within
// a quarter of a degree of what the standard's own functions give.
func TestTheModuleIsTheTables(t *testing.T) {
	m := newModule(rand.New(rand.NewPCG(1, 1)), table(t))
	for _, mix := range []thermocouple.MixUp{
		{Probe: thermocouple.K, Input: thermocouple.J}, {Probe: thermocouple.J, Input: thermocouple.K}, {Probe: thermocouple.K, Input: thermocouple.K, Swapped: true},
	} {
		for c := 15.0; c < 80; c++ {
			mV := m.emf(mix.Probe.String(), c) - m.emf(mix.Probe.String(), 25)
			if mix.Swapped {
				mV = -mV
			}
			require.InDelta(t, mix.Shows(c, 25), m.celsius(mix.Input.String(), mV+m.emf(mix.Input.String(), 25)), 0.25, "%v at %g", mix, c)
		}
	}
}

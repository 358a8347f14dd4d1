// Package guess recognises which registers of an unknown device are temperatures, and how
// they are laid out, from what they read while a maker holds one probe after another in the
// hand. It takes for granted that a device lays out all of its temperatures alike, that
// every probe has the room's temperature to begin with, and that a hand warms a probe by
// three degrees or more within a minute. What fits as well as its answer is named beside
// it, and what it could not tell is said. It knows degrees only, not millivolts. It is pure:
// reading the device, at one round a second, is for others.
package guess

import (
	"math"
	"slices"

	"meltwarden/control/reading"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// Register is where a value of 16 bits, or a single bit, lives on the device.
type Register struct {
	Function uint8  `json:"function"` // 3, a holding register, 4, an input register; 1 and 2 are bits
	Address  uint16 `json:"address"`  // as on the wire, from 0
}

// Layout is how a device lays out its temperatures.
type Layout struct {
	Function uint8           `json:"function"`
	Type     registers.Type  `json:"type"`
	Words    registers.Order `json:"words"`
	Bytes    registers.Order `json:"bytes"`
	Scale    float64         `json:"scale"`
	Unit     registers.Unit  `json:"unit"`
}

// at is the channel that the layout makes of the registers from an address on.
func (l Layout) at(address uint16) registers.Channel {
	return registers.Channel{
		Function: l.Function, Address: address, Type: l.Type, Words: l.Words, Bytes: l.Bytes, Scale: l.Scale, Unit: l.Unit,
	}
}

// celsius is the temperature of a number as the type reads it.
func (l Layout) celsius(raw float64) float64 {
	if l.Unit == registers.Fahrenheit {
		return (raw*l.Scale - 32) * 5 / 9 // by definition
	}
	return raw * l.Scale
}

// countC is the least difference that whole numbers can show, °C.
func (l Layout) countC() float64 {
	if l.Type == registers.Float32 {
		return 0
	}
	return l.celsius(1) - l.celsius(0)
}

// raw is a number as the layout's type reads it, NaN where it is none.
func (l Layout) raw(regs []uint16) float64 {
	plain := l.at(0)
	plain.Scale, plain.Unit = 1, registers.Celsius
	t := plain.Temperature(regs, nil, reading.Temperature{})
	if t.Fault != reading.None {
		return math.NaN()
	}
	return t.C
}

// scales are what one count is worth on devices as they are found (common practice, no
// source).
var scales = []float64{1, 0.1, 0.01}

// hottestPlateC is the highest that a bench may ever trip at.
const hottestPlateC = 280

// one16 is the type of 16 bits for a scale and a unit: at rest and in a hand a signed and an
// unsigned one read the same, so the signed one is taken, unless it ends too early.
func one16(scale float64, unit registers.Unit) registers.Type {
	if (Layout{Scale: scale, Unit: unit}).celsius(math.MaxInt16) < hottestPlateC {
		return registers.Uint16
	}
	return registers.Int16
}

// layouts are all that are tried: every type and order that a bench file knows.
var layouts = func() (all []Layout) {
	orders := []registers.Order{registers.HighFirst, registers.LowFirst}
	for _, function := range []uint8{modbus.ReadInput, modbus.ReadHolding} {
		for _, unit := range []registers.Unit{registers.Celsius, registers.Fahrenheit} {
			for _, scale := range scales {
				for _, bytes := range orders {
					all = append(all, Layout{function, one16(scale, unit), registers.HighFirst, bytes, scale, unit})
					for _, words := range orders {
						all = append(all, Layout{function, registers.Int32, words, bytes, scale, unit}, Layout{function, registers.Float32, words, bytes, scale, unit})
					}
				}
			}
		}
	}
	return all
}()

// Range is from one temperature to another, in °C.
type Range struct{ LowC, HighC float64 }

// Indoors is what a room is taken to have where nobody says (estimate, no source). In it no
// raw number can be read in two scales or units.
var Indoors = Range{10, 35}

// Near is the range of a room that somebody knows: probes and the terminals they end at are
// a few degrees apart (estimate, no source).
func Near(roomC float64) Range { return Range{roomC - 5, roomC + 6} }

func (r Range) has(c float64) bool { return c >= r.LowC && c <= r.HighC }

// column is what one register has read, a round each.
type column struct {
	raw  []uint16
	read []bool
}

// Watch is what a device's registers have read, and when which probe was in a hand.
type Watch struct {
	room       Range
	rounds     int
	columns    map[Register]*column
	warmings   []warming
	candidates []*candidate // from the first warming on
}

// warming is a probe in a hand, from one round to before another; to is 0 while it goes on.
type warming struct {
	probe    string
	from, to int
}

// NewWatch returns one that has seen nothing, in a room of a temperature.
func NewWatch(room Range) *Watch { return &Watch{room: room, columns: map[Register]*column{}} }

// Take takes in a round, about a second after the one before: what was read, without the
// registers that did not answer.
func (w *Watch) Take(read map[Register]uint16) {
	for r := range read {
		if w.columns[r] == nil {
			w.columns[r] = &column{make([]uint16, w.rounds), make([]bool, w.rounds)}
		}
	}
	for r, c := range w.columns {
		raw, is := read[r]
		c.raw, c.read = append(c.raw, raw), append(c.read, is)
	}
	w.rounds++
	for _, c := range w.candidates {
		c.take(w, w.rounds-1)
	}
}

// Warm says that from now on a hand holds a probe.
func (w *Watch) Warm(probe string) {
	if w.candidates == nil {
		w.candidates = w.plausible()
	}
	w.warmings = append(w.warmings, warming{probe: probe, from: w.rounds})
}

// LayDown says that the hand has let go.
func (w *Watch) LayDown() { w.warmings[len(w.warmings)-1].to = w.rounds }

// end is the round before which a warming ended.
func (w *Watch) end(of warming) int {
	if of.to > 0 {
		return of.to
	}
	return w.rounds
}

// Moved returns the registers that have moved in the warming under way as a probe in a hand
// does, in any layout, each by its first.
func (w *Watch) Moved() (moved []Register) {
	if len(w.warmings) == 0 {
		return nil
	}
	now := w.warmings[len(w.warmings)-1]
	for _, c := range w.candidates {
		r := Register{c.layout.Function, c.address}
		if c.moves(now.from, w.end(now)) != still && !slices.Contains(moved, r) {
			moved = append(moved, r)
		}
	}
	return moved
}

// regs are a channel's registers in a round; false where not all were read.
func (w *Watch) regs(l Layout, address uint16, round int) ([]uint16, bool) {
	count := l.at(address).Registers()
	found := make([]uint16, 0, 2)
	for i := range count {
		c := w.columns[Register{l.Function, address + uint16(i)}]
		if c == nil || !c.read[round] {
			return nil, false
		}
		found = append(found, c.raw[round])
	}
	return found, true
}

// places are all registers that were ever read, in order.
func (w *Watch) places() []Register {
	all := make([]Register, 0, len(w.columns))
	for r := range w.columns {
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b Register) int {
		return (int(b.Function)-int(a.Function))<<17 + int(a.Address) - int(b.Address)
	})
	return all
}

// plausible are the ways to read registers by which they have rested at the room's
// temperature so far.
func (w *Watch) plausible() (found []*candidate) {
	for _, r := range w.places() {
		for _, l := range layouts {
			if l.Function != r.Function {
				continue
			}
			c := &candidate{layout: l, address: r.Address}
			for round := 0; round < w.rounds && !c.strays(w.room); round++ {
				c.take(w, round)
			}
			if len(c.c) == w.rounds && c.rests(w.room) {
				found = append(found, c)
			}
		}
	}
	return found
}

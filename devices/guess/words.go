package guess

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// tables names the table of each function that reads, and the digit with which many manuals
// begin its numbers: 3 and 0001 are input register 0.
var tables = map[uint8]struct {
	name  string
	digit int
}{
	modbus.ReadCoils: {"coil", 0}, modbus.ReadInputs: {"discrete input", 1}, modbus.ReadInput: {"input register", 3}, modbus.ReadHolding: {"holding register", 4},
}

// Table names the table of a function that reads.
func Table(function uint8) string { return tables[function].name }

// Numbered is a register's, or a bit's, address as on the wire, from 0, and its number as
// manuals count that begin with 1 (Modbus application protocol V1.1b3, 4.4: number N is
// addressed N-1).
func Numbered(r Register) string {
	return fmt.Sprintf("%s %d, which a manual that counts from 1 calls %d, or %d%04d", Table(r.Function), r.Address, int(r.Address)+1, tables[r.Function].digit, int(r.Address)+1)
}

// String is the layout in words, without the table.
func (l Layout) String() string {
	text := fmt.Sprintf("%s × %s °%s", l.Type, number(l.Scale), l.Unit)
	if l.at(0).Registers() == 2 {
		text += ", " + strings.Replace(string(l.Words), "-", " word ", 1)
	}
	if l.Bytes == registers.LowFirst {
		text += ", low byte first"
	}
	return text
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// differs says what would be otherwise if a rival were right.
func differs(best, rival *hypothesis) string {
	a, b := best.layout, rival.layout
	same := slices.EqualFunc(best.addresses(), rival.addresses(), func(a, b *uint16) bool { return a == b || a != nil && b != nil && *a == *b })
	switch {
	case a.Function != b.Function && same:
		return fmt.Sprintf("the same by function %d: either will do", b.Function)
	case a.Type == registers.Float32 && b.Type == registers.Float32 && a.Words != b.Words:
		return "part of each number would come from its neighbour: off by little here, by up to 1 °C when hot; see which one the manual says, or hold more of the probes"
	case a.Type != registers.Float32 && b.Type != registers.Float32 && a.Scale == b.Scale && a.Unit == b.Unit:
		return "the same temperatures from -3000 counts to 30000; what an open probe reads, or a neighbour below zero, tells them apart"
	case !same:
		return "the same temperatures in another place, or laid out otherwise"
	}
	return "the numbers at rest and in the hand fit both: say the room's temperature with --room"
}

// notes are what a maker has to know of a layout, and what a hand does not tell.
func (h *hypothesis) notes(w *Watch) (notes []string) {
	var c *candidate
	for n := range h.movers {
		if c == nil {
			c = h.one(n)
		}
	}
	l := h.layout
	notes = append(notes, fmt.Sprintf("Addresses count from 0, as on the wire: %s.", Numbered(Register{l.Function, c.address})))
	if l.Scale != 1 {
		notes = append(notes, fmt.Sprintf("One count is %s °%s: read as whole degrees it would be %s times too high.", number(l.Scale), l.Unit, number(1/l.Scale)))
	}
	if l.Unit == registers.Fahrenheit {
		notes = append(notes, fmt.Sprintf("The device speaks Fahrenheit: %.1f °F is %.1f °C.", c.raw[0]*l.Scale, c.c[0]))
	}
	if l.at(0).Registers() == 2 && l.Words == registers.LowFirst {
		notes = append(notes, "Its words are swapped: the low one comes first.")
	}
	if l.Bytes == registers.LowFirst {
		notes = append(notes, "Its bytes are swapped: the low one comes first.")
	}
	switch l.Type {
	case registers.Uint16:
		notes = append(notes, fmt.Sprintf("Signed or not is not told: a signed one would end at %.0f °C, too early for a plate.", l.celsius(math.MaxInt16)))
	case registers.Int16, registers.Int32:
		notes = append(notes, "Signed or not is not told: it reads the same up to half of what the type holds, which is more than a plate ever has.")
	}
	if at := w.open(l); len(at) > 0 {
		notes = append(notes, "What looks like no probe at all: "+strings.Join(at, "; ")+".")
	} else if !slices.ContainsFunc(h.probes(w), func(p Probe) bool { return len(p.Channel.Sentinels) > 0 }) {
		notes = append(notes, "What an open probe reads was not seen: pull one, look again, and write that number under sentinels.")
	}
	return append(notes, "A hand does not tell of which thermocouple type a probe is, nor how far off. Trying the bench out (commission) tells the type of melt probes, with hot water; calibrate tells how far off.")
}

// missing are numbers, as a type reads them, that devices send for no measurement (common
// practice, no source): the ends of a type, and those that no temperature of a bench is.
func missing(t registers.Type, raw float64) bool {
	switch t {
	case registers.Uint16:
		return raw == 0x7FFF || raw == 0x8000 || raw == 0xFFFF
	case registers.Int16:
		return raw == 0x7FFF || raw == -0x8000 || raw == -1 // 0xFFFF of an unsigned one
	case registers.Int32:
		return raw == 0x7FFFFFFF || raw == -0x80000000 || raw == -1
	}
	return false
}

// No thermocouple type K measures above this, and devices send it, or more, for an open
// probe (the standard's range, IEC 60584-1; that devices do is common practice, no source).
const endOfTypeKC = 1370.0

// Missing reports whether registers, in a layout, look like no measurement.
func (l Layout) missing(raw float64) bool {
	c := l.celsius(raw)
	return missing(l.Type, raw) || c >= endOfTypeKC && c <= endOfTypeKC+5 || raw*l.Scale == -9999 || raw*l.Scale == 9999
}

// open are the places that have read as no measurement all the time.
func (w *Watch) open(l Layout) (found []string) {
	for _, r := range w.places() {
		if r.Function != l.Function {
			continue
		}
		regs, ok := w.regs(l, r.Address, w.rounds-1)
		if first, was := w.regs(l, r.Address, 0); !ok || !was || !slices.Equal(regs, first) {
			continue
		}
		if raw := l.raw(regs); l.missing(raw) {
			found = append(found, fmt.Sprintf("address %d reads %s (write it under sentinels)", r.Address, number(raw)))
		}
	}
	return found
}

// Lines are the lines of a bench file for the probes that were told, on a device of a name.
// Where a probe has none, role and pot are left to be written.
func (r Result) Lines(device string) (lines []string) {
	for i, p := range r.Probes {
		if !p.Told {
			continue
		}
		role, pot, _ := strings.Cut(p.Name, " ")
		if p.Name == "" {
			role, pot = "ROLE", "POT"
		}
		line := "  - {role: " + role
		if pot != "" {
			line += ", pot: " + pot
		}
		line += fmt.Sprintf(", device: %s, %s} # %s", device, Written(p.Channel), ordinal(i))
		if p.Reversed {
			line += "; REVERSED: swap its two leads"
		}
		lines = append(lines, line)
	}
	return lines
}

// Written is where a channel that was recognised lives, as a bench file has it from function
// on: it is all that a device was seen to do, without what only a person knows.
func Written(c registers.Channel) string {
	text := fmt.Sprintf("function: %d, address: %d, type: %s", c.Function, c.Address, c.Type)
	if c.Type == registers.Bit {
		if c.Mask != 0 {
			text += fmt.Sprintf(", mask: 0x%04X", c.Mask)
		}
		if c.Invert {
			text += ", invert: true"
		}
		return text
	}
	if c.Registers() == 2 {
		text += fmt.Sprintf(", words: %s", c.Words)
	}
	if c.Bytes == registers.LowFirst {
		text += fmt.Sprintf(", bytes: %s", c.Bytes)
	}
	text += fmt.Sprintf(", scale: %s, unit: %s", number(c.Scale), c.Unit)
	if len(c.Sentinels) > 0 {
		text += fmt.Sprintf(", sentinels: [%s]", number(c.Sentinels[0]))
	}
	return text
}

func ordinal(i int) string { return fmt.Sprintf("held as number %d", i+1) }

// Numbering says what follows where the probes begin one before the address that a maker
// took from a manual; nothing otherwise.
func (r Result) Numbering(from uint16) string {
	lowest, told := uint16(0), false
	for _, p := range r.Probes {
		if p.Told && (!told || p.Address < lowest) {
			lowest, told = p.Address, true
		}
	}
	if !told || from == 0 || lowest != from-1 {
		return ""
	}
	return fmt.Sprintf("You asked from %d on, and the probes begin at %d: your manual counts from 1. Take 1 off every address in it.", from, lowest)
}

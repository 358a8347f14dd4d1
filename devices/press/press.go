// Package press recognises which bit of an unknown device is a switch, a button or an
// interlock's contact, from what all bits read while a maker presses one after another,
// three times each. A bit is it if it moved away and back exactly three times, and neither
// while all was left alone nor for another contact. What moved together with it is named,
// what it could not tell is said. A coil, a discrete input and a single bit of a register
// can be it. It is pure: reading the device, some four times a second, is for others.
package press

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"time"

	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
)

// Presses is how often each contact is pressed.
const Presses = 3

// How long things take. All are estimates, without a source.
const (
	bounceFor   = 400 * time.Millisecond // a way back, or a move, that is shorter is the contact's bouncing
	togetherFor = 800 * time.Millisecond // what moves within this of each other moves together
)

// Bit is one bit of a device.
type Bit struct {
	Function uint8  `json:"function"` // 1, a coil; 2, a discrete input; 3 or 4, a bit of a register
	Address  uint16 `json:"address"`  // as on the wire, from 0
	Mask     uint16 `json:"mask,omitempty"`
}

// String names the bit, and counts it as manuals do as well.
func (b Bit) String() string {
	at := guess.Numbered(guess.Register{Function: b.Function, Address: b.Address})
	if b.Mask == 0 {
		return at
	}
	return fmt.Sprintf("bit %d (mask 0x%04X) of %s", bits.TrailingZeros16(b.Mask), b.Mask, at)
}

// Short names the bit.
func (b Bit) Short() string {
	at := fmt.Sprintf("%s %d", guess.Table(b.Function), b.Address)
	if b.Mask == 0 {
		return at
	}
	return fmt.Sprintf("bit %d of %s", bits.TrailingZeros16(b.Mask), at)
}

// register is where the bit is read.
func (b Bit) register() guess.Register {
	return guess.Register{Function: b.Function, Address: b.Address}
}

// likelier orders bits by the tables in which an input is looked for: what can only be read
// comes before what can be written to (Modbus application protocol V1.1b3, 4.3).
func likelier(a, b Bit) int {
	rank := map[uint8]int{modbus.ReadInputs: 0, modbus.ReadInput: 1, modbus.ReadCoils: 2, modbus.ReadHolding: 3}
	return cmp.Or(rank[a.Function]-rank[b.Function], int(a.Address)-int(b.Address), int(a.Mask)-int(b.Mask))
}

// writable reports whether the bit can be written to, as outputs are.
func (b Bit) writable() bool {
	return b.Function == modbus.ReadCoils || b.Function == modbus.ReadHolding
}

// trace is a bit that has changed.
type trace struct {
	first    bool          // what it read before its first change
	changes  []change      // in order
	unsteady bool          // it changed while all was left alone,
	since    time.Duration // first then
}

// change is one, and what changed with it.
type change struct {
	at   time.Duration
	with uint16 // the bits of its register that changed in the same round, itself among them
}

// window is a contact that is pressed, or, with none, that all is left alone.
type window struct {
	contact  int // or -1
	from, to time.Duration
}

// Watch is what a device's bits have read, and when which contact was pressed.
type Watch struct {
	last    map[guess.Register]uint16
	traces  map[Bit]*trace
	windows []window
	now     time.Duration
	rounds  int
}

// NewWatch returns one that has seen nothing.
func NewWatch() *Watch {
	return &Watch{last: map[guess.Register]uint16{}, traces: map[Bit]*trace{}}
}

// Take takes in a round: when it was, and what was read, a coil or a discrete input as 0
// or 1, without what did not answer.
func (w *Watch) Take(at time.Duration, read map[guess.Register]uint16) {
	w.now = at
	w.rounds++
	for r, v := range read {
		last, known := w.last[r]
		if w.last[r] = v; known {
			w.note(r, last, v)
		}
	}
}

// note keeps which bits of a register have changed.
func (w *Watch) note(r guess.Register, last, v uint16) {
	changed := last ^ v
	for left := changed; left != 0; left &= left - 1 {
		mask := left & -left
		b := Bit{r.Function, r.Address, mask}
		if r.Function == modbus.ReadCoils || r.Function == modbus.ReadInputs {
			b.Mask = 0
		}
		if w.traces[b] == nil {
			w.traces[b] = &trace{first: last&mask != 0}
		}
		t := w.traces[b]
		t.changes = append(t.changes, change{w.now, changed})
		if w.resting() && !t.unsteady {
			t.unsteady, t.since = true, w.now
		}
	}
}

// resting reports whether all is to be left alone.
func (w *Watch) resting() bool {
	last := len(w.windows) - 1
	return last >= 0 && w.windows[last].contact < 0 && w.windows[last].to == 0
}

// open begins a window.
func (w *Watch) open(contact int) {
	w.windows = append(w.windows, window{contact: contact, from: w.now})
}

// close ends it.
func (w *Watch) close() { w.windows[len(w.windows)-1].to = w.now }

func (w *Watch) end(of window) time.Duration {
	if of.to > 0 {
		return of.to
	}
	return w.now
}

// until is how many of its changes were at a time or before.
func (t *trace) until(at time.Duration) int {
	n, _ := slices.BinarySearchFunc(t.changes, at+1, func(c change, at time.Duration) int { return cmp.Compare(c.at, at) })
	return n
}

// level is what the bit read at a time.
func (t *trace) level(at time.Duration) bool { return t.first != (t.until(at)%2 == 1) }

// within are its changes after one time and until another.
func (t *trace) within(from, to time.Duration) []change { return t.changes[t.until(from):t.until(to)] }

// Unsteady are the bits that changed while all was left alone.
func (w *Watch) Unsteady() (found []Bit) {
	for b, t := range w.traces {
		if t.unsteady {
			found = append(found, b)
		}
	}
	slices.SortFunc(found, likelier)
	return found
}

// Move is what a bit did while a contact was pressed.
type Move struct {
	Bit Bit `json:"bit"`
	// Rest is what it read before.
	Rest bool `json:"rest"`
	// Times is how often it went away and came back.
	Times int `json:"times"`
	// Away says that it has not come back.
	Away bool `json:"away"`
	// Bounced counts moves and ways back that were too short to be a press.
	Bounced int `json:"bounced"`

	spells []spell
	at     time.Duration // of its last change
}

// spell is how long a bit was away.
type spell struct{ from, to time.Duration }

// moves are what the bits did in a window, without those that are unsteady or look like
// part of a number.
func (w *Watch) moves(of window) (found []Move) {
	for b, t := range w.traces {
		if t.unsteady {
			continue
		}
		if m, moved := t.move(b, of.from, w.end(of)); moved && !w.partOfNumber(b, of, w.now) {
			found = append(found, m)
		}
	}
	slices.SortFunc(found, func(a, b Move) int { return likelier(a.Bit, b.Bit) })
	return found
}

// move is what a bit did from one time to another.
func (t *trace) move(b Bit, from, to time.Duration) (Move, bool) {
	changes := t.within(from, to)
	if len(changes) == 0 {
		return Move{}, false
	}
	m := Move{Bit: b, Rest: t.level(from), at: changes[len(changes)-1].at, Away: len(changes)%2 == 1}
	for i := 0; i < len(changes); i += 2 {
		s := spell{changes[i].at, to}
		if i+1 < len(changes) {
			s.to = changes[i+1].at
		}
		if last := len(m.spells) - 1; last >= 0 && s.from-m.spells[last].to < bounceFor {
			m.spells[last].to = s.to
			m.Bounced++
			continue
		}
		m.spells = append(m.spells, s)
	}
	whole := len(m.spells)
	if m.Away {
		whole--
	}
	m.spells = slices.DeleteFunc(m.spells, func(s spell) bool { return s.to-s.from < bounceFor && s.to != to })
	m.Times = len(m.spells)
	if m.Away {
		m.Times--
	}
	m.Bounced += whole - m.Times
	return m, true
}

// followed reports whether the bit did what was asked.
func (m Move) followed() bool { return m.Times == Presses && !m.Away }

// together reports whether two bits moved at the same times.
func (m Move) together(o Move) bool {
	return slices.EqualFunc(m.spells, o.spells, func(a, b spell) bool {
		return (a.from-b.from).Abs() <= togetherFor && (a.to-b.to).Abs() <= togetherFor
	})
}

// restless are the bits of a register of which a time knew that they change by themselves.
func (w *Watch) restless(r guess.Register, by time.Duration) (masks uint16) {
	for mask := uint16(1); mask != 0; mask <<= 1 {
		if t := w.traces[Bit{r.Function, r.Address, mask}]; t != nil && t.unsteady && t.since <= by {
			masks |= mask
		}
	}
	return masks
}

// partOfNumber reports whether a bit of a register moved as the digits of a number do, by
// what a time knew: several of them change by themselves, or three or more at once, or it
// goes mostly with one that changes by itself.
func (w *Watch) partOfNumber(b Bit, of window, by time.Duration) bool {
	if b.Mask == 0 {
		return false
	}
	restless, with := w.restless(b.register(), by), 0
	if bits.OnesCount16(restless) > 1 {
		return true
	}
	changes := w.traces[b].within(of.from, w.end(of))
	for _, c := range changes {
		if bits.OnesCount16(c.with) > 2 {
			return true
		}
		if c.with&restless != 0 {
			with++
		}
	}
	return 2*with > len(changes)
}

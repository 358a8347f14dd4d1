package press_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"meltwarden/devices/guess"
	"meltwarden/devices/press"
)

// box is a device with contacts in unknown places, and a maker who presses them. It is drawn
// by chance and shares no code with what it judges. All of it is invented.
type box struct {
	chance  *rand.Rand
	trouble string // what is odd about it
	inWords bool   // the contacts are bits of one register
	mirror  bool   // the other table of bits shows the same
	from    uint16
	order   []int // the place of each contact, counted from from
	closed  []bool
	rest    []bool // what each reads at rest
	lag     time.Duration
	noise   float64 // of a temperature, in counts
	every   time.Duration
	random  float64 // changes a second of a stray bit
	stray   bool
	now     time.Duration
}

// names are the contacts of every box.
var names = []string{"e-stop", "cut-out", "fan", "enable", "pedal", "draw-button left"}

const (
	eStop  = 0
	fan    = 2
	enable = 3
	pedal  = 4
)

// troubles are what is odd about a box.
var troubles = []string{
	"nothing odd", "bounces", "a bit that changes by itself", "the fan stops with the e-stop", "the enable button has two sides",
	"an output follows the e-stop", "a contact is not wired", "wired the wrong way round", "the maker miscounts once", "two in one",
	"something else is touched", "the maker is slow", "a press is not let go", "readings are lost",
}

func newBox(seed uint64) *box {
	r := rand.New(rand.NewPCG(seed, 11))
	b := &box{chance: r, trouble: troubles[r.IntN(len(troubles))], inWords: r.IntN(4) == 0, mirror: r.IntN(5) == 0, from: uint16(r.IntN(6))}
	b.order = r.Perm(9)[:len(names)]
	b.every = pick[time.Duration](r, 150, 250, 350) * time.Millisecond
	b.noise = 3 * r.Float64()
	b.lag = time.Duration(r.IntN(4000)) * time.Millisecond
	b.random = pick(r, 0.02, 0.05, 0.1, 0.2, 0.5, 2)
	for i := range names {
		b.closed = append(b.closed, false)
		b.rest = append(b.rest, i <= fan)
	}
	if b.trouble == "wired the wrong way round" {
		i := r.IntN(len(names))
		b.rest[i] = !b.rest[i]
	}
	return b
}

func pick[T any](r *rand.Rand, choices ...T) T { return choices[r.IntN(len(choices))] }

// bit is where a contact is.
func (b *box) bit(contact int) press.Bit {
	if b.inWords {
		return press.Bit{Function: 3, Address: b.from, Mask: 1 << b.order[contact]}
	}
	return press.Bit{Function: 2, Address: b.from + uint16(b.order[contact])}
}

// pressed is one contact, pressed or not, at a time of its own.
type pressed struct {
	at      time.Duration
	contact int
	down    bool
}

// hands are what a maker does for a contact that is asked for at a time.
func (b *box) hands(contact int, at time.Duration, again bool) (all []pressed) {
	if b.trouble == "a contact is not wired" && contact == pedal {
		return nil
	}
	count := press.Presses
	if b.trouble == "the maker miscounts once" && contact == enable && !again {
		count = pick(b.chance, 2, 4)
	}
	t := at + b.between(1000, 6000)
	switch {
	case b.trouble == "the maker is slow":
		t = at + b.between(5000, 55000)
	case b.trouble == "something else is touched" && contact == enable:
		other, down := (enable+1+b.chance.IntN(len(names)-1))%len(names), at+b.between(500, 9000)
		all = append(all, pressed{down, other, true}, pressed{down + b.between(600, 2000), other, false})
	case b.trouble == "a press is not let go" && contact == enable && !again:
		return []pressed{{at + b.between(500, 900), contact, true}, {at + b.between(1400, 2400), contact, false}, {at + b.between(3400, 4000), contact, true}}
	}
	for range count {
		down, up := t, t+b.between(900, 3000)
		all = append(all, pressed{down, contact, true}, pressed{up, contact, false})
		if b.trouble == "bounces" {
			for _, edge := range []time.Duration{down, up} {
				bounce := b.between(5, 250)
				all = append(all, pressed{edge + bounce/2, contact, edge == up}, pressed{edge + bounce, contact, edge == down})
			}
		}
		switch {
		case b.trouble == "the fan stops with the e-stop" && contact == eStop:
			all = append(all, pressed{down + b.lag, fan, true}, pressed{up + b.lag, fan, false})
		case b.trouble == "two in one" && contact == pedal:
			all = append(all, pressed{down, enable, true}, pressed{up, enable, false})
		}
		t = up + b.between(900, 2500)
	}
	slices.SortStableFunc(all, func(a, b pressed) int { return int(a.at - b.at) })
	return all
}

func (b *box) between(low, high int) time.Duration {
	return time.Duration(low+b.chance.IntN(high-low)) * time.Millisecond
}

// read is what the device says now.
func (b *box) read() map[guess.Register]uint16 {
	var bits uint16
	for i, down := range b.closed {
		if b.rest[i] != down {
			bits |= 1 << b.order[i]
		}
	}
	if b.trouble == "the enable button has two sides" && b.closed[enable] == b.rest[enable] {
		bits |= 1 << 9
	}
	if b.trouble == "a bit that changes by itself" {
		if b.chance.Float64() < b.random*b.every.Seconds() {
			b.stray = !b.stray
		}
		if b.stray {
			bits |= 1 << 10
		}
	}
	all := map[guess.Register]uint16{
		{Function: 4, Address: b.from}:     uint16(205 + b.chance.NormFloat64()*b.noise),
		{Function: 4, Address: b.from + 1}: uint16(4096 * b.now / time.Hour),
		{Function: 3, Address: b.from + 1}: 1000,
	}
	tables := []uint8{2}
	if b.mirror {
		tables = []uint8{2, 1}
	}
	if b.inWords {
		all[guess.Register{Function: 3, Address: b.from}] = bits
		tables = nil
	}
	for _, f := range tables {
		for i := range uint16(12) {
			all[guess.Register{Function: f, Address: b.from + i}] = bits >> i & 1
		}
	}
	if b.trouble == "an output follows the e-stop" && !b.closed[eStop] {
		all[guess.Register{Function: 1, Address: 40}] = 1
	} else if b.trouble == "an output follows the e-stop" {
		all[guess.Register{Function: 1, Address: 40}] = 0
	}
	return all
}

// led leads a maker through some contacts of the box.
func (b *box) led(contacts []int) press.Result {
	var asked []string
	for _, c := range contacts {
		asked = append(asked, names[c])
	}
	s := press.NewSession(asked)
	var todo []pressed
	told := ""
	for {
		step, at, _, again := s.Step()
		if step == press.Over {
			return s.Result()
		}
		if now := fmt.Sprint(step, at, again); now != told {
			told = now
			if step == press.Press {
				todo = append(todo, b.hands(contacts[at], b.now, again)...)
			}
		}
		b.now += b.every + time.Duration(b.chance.IntN(40))*time.Millisecond
		for len(todo) > 0 && todo[0].at <= b.now {
			b.closed[todo[0].contact] = todo[0].down
			todo = todo[1:]
		}
		read := b.read()
		if b.trouble == "readings are lost" && b.chance.IntN(12) == 0 {
			b.now += b.between(300, 900)
			read = nil
		}
		s.Take(b.now, read)
	}
}

package cycles

import (
	"math"
	"slices"
	"time"

	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

const (
	// stretch is how many cycles are looked at together: a minute of them.
	stretch = 300
	// grid is how far apart, in cycles, what is kept is at most: ten seconds. A plot takes
	// longer silence for a gap.
	grid = 50
)

// Thinner drops most cycles of a part and keeps what a plot needs: one in ten seconds, of
// every minute the extremes of each pot's melt, plate and duty, both cycles where anything
// changed that is no number (a state, a contact, a reading that was lost), and every cycle
// in which somebody said something. What is left can be looked at; it can not be replayed.
//
// What is kept says in Elapsed how long ago the one that was kept before it was, so that
// whoever adds up times does not take a tenth of them for all.
type Thinner struct {
	held, kept []Record
	dropped    time.Duration // since the last that was kept
}

// Add takes in the next cycle; it keeps nothing of r, which may be written over.
func (t *Thinner) Add(r *Record) {
	copied := *r
	copied.Input.Pots, copied.Input.Commands = slices.Clone(r.Input.Pots), slices.Clone(r.Input.Commands)
	copied.Kept.Pots = slices.Clone(r.Kept.Pots)
	t.held = append(t.held, copied)
	if len(t.held) > stretch {
		t.flush(stretch)
	}
}

// Kept is what is left of all that was added.
func (t *Thinner) Kept() []Record {
	if n := len(t.held); n > 0 {
		t.flush(n)
	}
	return t.kept
}

// flush decides about the first n that are held. What is held after them is only looked
// at: whether anything changes with it.
func (t *Thinner) flush(n int) {
	keep := make([]bool, len(t.held))
	for i := range t.held {
		keep[i] = keep[i] || i%grid == 0 || len(t.held[i].Input.Commands) > 0
		if i > 0 && !alike(&t.held[i-1], &t.held[i]) {
			keep[i-1], keep[i] = true, true
		}
	}
	for pot := range t.held[0].Kept.Pots {
		for _, value := range drawn {
			keepExtremes(t.held[:n], keep, func(r *Record) float64 { return value(r, pot) })
		}
	}
	if n == len(t.held) {
		keep[n-1] = true // the end of the part
	}
	for i := range n {
		r := &t.held[i]
		t.dropped += r.Input.Elapsed
		if keep[i] {
			r.Input.Elapsed, t.dropped = t.dropped, 0
			t.kept = append(t.kept, *r)
		}
	}
	t.held = append(t.held[:0], t.held[n:]...)
}

// drawn are the numbers that a plot draws of a pot.
var drawn = []func(r *Record, pot int) float64{
	func(r *Record, pot int) float64 { return celsius(r.Input.Pots[pot].Melt) },
	func(r *Record, pot int) float64 { return celsius(r.Input.Pots[pot].Plate) },
	func(r *Record, pot int) float64 { return r.Kept.Pots[pot].Duty },
}

func celsius(t reading.Temperature) float64 {
	if !t.Usable(guard.MaxAge) {
		return math.NaN()
	}
	return t.C
}

// keepExtremes marks the first of the highest and the first of the lowest.
func keepExtremes(held []Record, keep []bool, value func(*Record) float64) {
	highest, lowest := -1, -1
	for i := range held {
		v := value(&held[i])
		if math.IsNaN(v) {
			continue
		}
		if highest < 0 || v > value(&held[highest]) {
			highest = i
		}
		if lowest < 0 || v < value(&held[lowest]) {
			lowest = i
		}
	}
	if highest >= 0 {
		keep[highest], keep[lowest] = true, true
	}
}

// alike reports whether two cycles differ in numbers only.
func alike(a, b *Record) bool {
	k, l := &a.Kept, &b.Kept
	if k.Heat != l.Heat || k.Ready != l.Ready || k.Contactor != l.Contactor || len(k.Pots) != len(l.Pots) {
		return false
	}
	for i := range k.Pots {
		if k.Pots[i].State != l.Pots[i].State ||
			isKnown(a.Input.Pots[i].Melt) != isKnown(b.Input.Pots[i].Melt) || isKnown(a.Input.Pots[i].Plate) != isKnown(b.Input.Pots[i].Plate) {
			return false
		}
	}
	return true
}

func isKnown(t reading.Temperature) bool { return t.Usable(guard.MaxAge) }

package guess_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/reading"
	"meltwarden/devices/guess"
	"meltwarden/devices/registers"
)

var none reading.Temperature

// outcome is what became of one probe.
type outcome uint8

const (
	rightAlone outcome = iota
	rightBeside
	namedOnly
	notTold
	wrong
	outcomes
)

var outcomeWords = [outcomes]string{
	"right, and nothing else fits", "right, with others that fit named beside it",
	"another was put first, the right one named", "not told, and said so", "WRONG AND NOT SAID",
}

// boxes is how many are drawn. Thresholds were set on the first 60; 540 more, looked at once,
// had nothing wrong unsaid either.
const boxes = 50

// TestNumbersOfGuesses: fifty boxes drawn by chance, each with eight channels in an unknown
// map and order among other registers, one probe with its leads swapped, one of a wrong
// type, in about every third box none at one input. Every probe is held once, in the order
// of its name, and then only some of them. What is printed as recognised is held against the
// box at other temperatures.
func TestNumbersOfGuesses(t *testing.T) {
	t.Run("all eight held", func(t *testing.T) { guesses(t, func(uint64) int { return channels }) })
	t.Run("one to three held", func(t *testing.T) { guesses(t, func(seed uint64) int { return 1 + int(seed%3) }) })
}

// kinds are those of the boxes' numbers.
var kinds = []string{"int16", "int32", "float32"}

// guesses prints what became of the probes of all boxes, of which some are held.
func guesses(t *testing.T, held func(seed uint64) int) {
	count := map[string]*[outcomes]int{"": {}}
	for _, kind := range kinds {
		count[kind] = &[outcomes]int{}
	}
	reversedSeen, reversed, absent := 0, 0, 0
	for seed := range uint64(boxes) {
		b := newBox(seed)
		order := b.chance.Perm(channels)[:held(seed)]
		r := hold(b, order)
		for n, channel := range order {
			p, got := r.Probes[n], b.judge(r, n, channel)
			count[""][got]++
			count[b.kind][got]++
			if got == wrong {
				t.Errorf("seed %d, %s, probe %d: %+v\n%v", seed, b.words, n, p, r.Rivals)
			}
			switch {
			case channel == b.open:
				absent++
			case p.Told:
				assert.Equal(t, b.gain[channel] < 0, p.Reversed, "seed %d", seed)
			}
			if b.gain[channel] < 0 && channel != b.open {
				reversed++
				reversedSeen += map[bool]int{true: 1}[p.Reversed]
			}
		}
	}
	for o, words := range outcomeWords {
		row := fmt.Sprintf("%4d  %-44s", count[""][o], words)
		for _, kind := range kinds {
			row += fmt.Sprintf("  %s %3d", kind, count[kind][o])
		}
		t.Log(row)
	}
	t.Logf("of those not told, %d were not there; %d of %d with swapped leads were called so, and no other", absent, reversedSeen, reversed)
}

// hold leads a session at a box; its probes are held in an order of channels.
func hold(b *box, order []int) guess.Result {
	var names []string
	for n := range order {
		names = append(names, fmt.Sprintf("probe %d", n))
	}
	s := guess.NewSession(guess.Indoors, names)
	for step, at, _ := s.Step(); step != guess.Over; step, at, _ = s.Step() {
		if step == guess.Hold {
			b.pass(order[at])
		} else {
			b.pass()
		}
		s.Take(b.read())
	}
	return s.Result()
}

// judge says what became of the probe that was held as number n, on a channel.
func (b *box) judge(r guess.Result, n, channel int) outcome {
	p := r.Probes[n]
	fits := func(l guess.Layout, address uint16) bool {
		return b.reads(registers.Channel{
			Function: l.Function, Address: address, Type: l.Type, Words: l.Words, Bytes: l.Bytes, Scale: l.Scale, Unit: l.Unit,
		}, channel)
	}
	named := false
	for _, rival := range r.Rivals {
		named = named || rival.Addresses[n] != nil && fits(rival.Layout, *rival.Addresses[n])
	}
	switch {
	case !p.Told:
		return notTold
	case channel == b.open || !fits(*r.Layout, p.Address) && !named:
		return wrong
	case !fits(*r.Layout, p.Address):
		return namedOnly
	case len(r.Rivals) > 0:
		return rightBeside
	}
	return rightAlone
}

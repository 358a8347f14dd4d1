package guess_test

import (
	"fmt"
	"strings"
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

// TestNumbersOfGuesses (thresholds were set on seeds 0 to 59; 540 more, looked at once, had
// nothing wrong unsaid either): fifty boxes drawn by chance, each with eight channels in an unknown
// map and order among other registers, one probe with its leads swapped, one of a wrong
// type, in every third box none at one input. Every probe is held once, in the order of its
// name. What is printed as recognised is held against the box at other temperatures.
func TestNumbersOfGuesses(t *testing.T) {
	var count [outcomes]int
	var byKind = map[string]*[outcomes]int{}
	seeds := 50
	reversedSeen, reversed, absent := 0, 0, 0
	for seed := range uint64(seeds) {
		b := newBox(seed)
		order := b.chance.Perm(channels)
		r := hold(b, order)
		kind := strings.Fields(b.words)[len(strings.Fields(b.words))-1]
		if byKind[kind] == nil {
			byKind[kind] = &[outcomes]int{}
		}
		for n, channel := range order {
			got := b.judge(r, n, channel)
			count[got]++
			byKind[kind][got]++
			if got == wrong || got == namedOnly {
				t.Logf("seed %d, %s, probe %d: %s: %+v\n%v", seed, b.words, n, outcomeWords[got], r.Probes[n], r.Rivals)
			}
			if channel == b.open {
				absent++
			}
			if b.gain[channel] < 0 && channel != b.open {
				reversed++
				if r.Probes[n].Reversed {
					reversedSeen++
				}
			}
			if r.Probes[n].Told {
				assert.Equal(t, b.gain[channel] < 0, r.Probes[n].Reversed, "seed %d", seed)
			}
		}
	}
	t.Logf("%d probes of %d boxes, by what became of each:", channels*seeds, seeds)
	for o, n := range count {
		row := ""
		for _, kind := range []string{"int16", "int32", "float32"} {
			row += fmt.Sprintf("  %s %3d", kind, byKind[kind][o])
		}
		t.Logf("%4d  %-46s %s", n, outcomeWords[o], row)
	}
	t.Logf("of those not told, %d were not there", absent)
	t.Logf("%d of %d with swapped leads were called so, and no other", reversedSeen, reversed)
	assert.Zero(t, count[wrong])
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

package press_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/devices/press"
)

// outcome is what became of one contact.
type outcome uint8

const (
	right outcome = iota
	rightBeside
	namedOnly
	notTold
	wrong
	outcomes
)

var outcomeWords = [outcomes]string{
	"right, and nothing moved with it", "right, with what moved together named beside it",
	"another was put first, the right one named", "not told, and said so", "WRONG AND NOT SAID",
}

// boxes is how many are drawn. 3000 others, looked at once when all was done, had nothing
// wrong unsaid either. The first 2000 had: a digit of a counter passed for a contact, and who
// pressed was one behind from then on.
const boxes = 150

// TestNumbersOfContacts: boxes drawn by chance, each with six contacts in unknown places of
// one of two kinds of table, among a noisy temperature and a counter, and with one thing
// that is odd. All are pressed, and then one alone.
func TestNumbersOfContacts(t *testing.T) {
	t.Run("all six pressed", func(t *testing.T) { recognised(t, func(uint64) []int { return []int{0, 1, 2, 3, 4, 5} }) })
	t.Run("one pressed alone", func(t *testing.T) { recognised(t, func(seed uint64) []int { return []int{int(seed) % len(names)} }) })
}

// recognised prints what became of the contacts of all boxes, of which some are pressed.
func recognised(t *testing.T, pressed func(seed uint64) []int) {
	count, all := map[string]*[outcomes]int{"": {}}, 0
	for seed := range uint64(boxes) {
		b, contacts := newBox(seed), pressed(seed)
		r := b.led(contacts)
		for i, n := range contacts {
			o := b.judge(r.Contacts[i], n)
			all++
			for _, of := range []string{"", b.trouble} {
				if count[of] == nil {
					count[of] = &[outcomes]int{}
				}
				count[of][o]++
			}
			if o >= namedOnly && o != notTold {
				t.Logf("seed %d, %s, %s: %+v, is %v", seed, b.trouble, names[n], r.Contacts[i], b.bit(n))
			}
		}
	}
	for o, words := range outcomeWords {
		t.Logf("%4d of %d: %s", count[""][o], all, words)
	}
	for _, of := range troubles {
		c := count[of]
		t.Logf("%-35s right %3d, beside %3d, named %3d, not told %3d, wrong %d", of, c[right], c[rightBeside], c[namedOnly], c[notTold], c[wrong])
	}
	assert.Zero(t, count[""][wrong])
	for _, of := range []string{"nothing odd", "bounces", "wired the wrong way round", "the maker miscounts once", "the maker is slow"} {
		assert.Zero(t, count[of][notTold], of)
	}
}

// judge says what became of a contact.
func (b *box) judge(c press.Contact, n int) outcome {
	switch is := b.bit(n); {
	case !c.Told:
		return notTold
	case b.trouble == "a contact is not wired" && n == pedal:
		return wrong
	case c.Bit == is && c.Rest == b.rest[n] && (c.Misfit != "") == (c.Rest != (n <= fan) && n <= enable) && len(c.Rivals) == 0:
		return right
	case c.Bit == is && c.Rest == b.rest[n]:
		return rightBeside
	case slices.ContainsFunc(c.Rivals, func(r press.Rival) bool { return r.Bit == is }):
		return namedOnly
	}
	return wrong
}

package review

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// TestACuringMeltIsNotCured: that is known, and not a gap in what was recorded.
func TestACuringMeltIsNotCured(t *testing.T) {
	assert.Equal(t, "not cured yet", held(shot.Pot{State: "curing", HeldMin: frames.Unknown()}))
	assert.Equal(t, NotRecorded, held(shot.Pot{State: "holding", HeldMin: frames.Unknown()}))
	assert.Equal(t, "9 min", held(shot.Pot{State: "ready", HeldMin: 9}))
}

// TestAPotThatWasStillReadyIsToldSo on its card, in the words of the bench's page.
func TestAPotThatWasStillReadyIsToldSo(t *testing.T) {
	p := shot.Pot{Colour: "ivory", State: "ready", DeviationC: 2.1, BandC: 2}
	const still = "just outside its band; still ready up to 2.5 °C"
	assert.Equal(t, still, Celsius.pot(p).OutWords)
	assert.Equal(t, "ivory 2.1 °C above its own target, "+still, Celsius.off(shot.Card{Pots: []shot.Pot{p}}))
	assert.Contains(t, Fahrenheit.pot(p).OutWords, "4.5 °F")
	p.DeviationC = 2.6
	assert.Equal(t, "outside its band", Celsius.pot(p).OutWords)
	p.DeviationC, p.State = 2.1, "holding"
	assert.Equal(t, "outside its band", Celsius.pot(p).OutWords)
}

// TestLidsAreNamedByTheirPots, and one over the bench by nothing.
func TestLidsAreNamedByTheirPots(t *testing.T) {
	c := shot.Card{
		Pots: []shot.Pot{{Name: "left"}, {Name: "right"}},
		Lids: []shot.Lid{{State: shot.LidClosed}, {Pot: 2, State: shot.LidOpen}},
	}
	assert.Equal(t, "closed, pot right: open", lidWords(&c))
}

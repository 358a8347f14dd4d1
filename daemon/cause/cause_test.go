package cause

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// TestEveryFaultHasItsRow: each verdict but "clean" is in the table, and nothing else.
func TestEveryFaultHasItsRow(t *testing.T) {
	for _, f := range faults {
		assert.NotEmpty(t, f.Unseen, f.Name)
	}
	assert.ElementsMatch(t, shot.Verdicts()[1:], Names())
	_, ok := Of(shot.Clean)
	assert.False(t, ok)
}

// TestWhatIsMissingIsNotRecorded: one pot that nobody measured leaves the hottest open,
// unless the fault does not concern it.
func TestWhatIsMissingIsNotRecorded(t *testing.T) {
	s := Shot{Card: shot.Card{Pots: []shot.Pot{
		{Colour: "slate", DeviationC: 1}, {Colour: "ivory", DeviationC: -2}, {Colour: "rust", DeviationC: frames.Unknown()},
	}}}
	assert.False(t, Hottest.Of(s).Known())
	s.Colours = []string{"slate", "ivory"}
	assert.Equal(t, frames.Figure(1), Hottest.Of(s))
	assert.Equal(t, frames.Figure(-2), Coldest.Of(s))
	assert.False(t, Hottest.Of(Shot{}).Known())
}

// TestEachHoldIsThatOfItsOwnPot: what was held for long is told by the pot that was cured
// first, what was hardly held by the one that was cured last; one that was still curing has
// been held for no time, and one of which nothing is known leaves both open.
func TestEachHoldIsThatOfItsOwnPot(t *testing.T) {
	s := Shot{Card: shot.Card{Pots: []shot.Pot{{Colour: "slate", HeldMin: 40}, {Colour: "ivory", HeldMin: 1}, {Colour: "rust", HeldMin: 12}}}}
	assert.Equal(t, frames.Figure(40), Held.Of(s))
	assert.Equal(t, frames.Figure(1), HeldLeast.Of(s))
	s.Card.Pots[1] = shot.Pot{Colour: "ivory", State: control.Curing.String(), HeldMin: frames.Unknown()}
	assert.Equal(t, frames.Figure(40), Held.Of(s))
	assert.Equal(t, frames.Figure(0), HeldLeast.Of(s))
	s.Card.Pots[1].State = ""
	assert.False(t, Held.Of(s).Known() || HeldLeast.Of(s).Known())
}

// TestEachThingIsLookedAtOnce: a fault is held against as many figures as any other, and
// against all that its own causes show in.
func TestEachThingIsLookedAtOnce(t *testing.T) {
	for _, f := range faults {
		assert.Len(t, f.Figures(), 11, f.Name)
		for _, c := range f.Seen {
			assert.Contains(t, f.Figures(), c.Figure, f.Name)
		}
	}
}

package cause

import (
	"testing"

	"github.com/stretchr/testify/assert"

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

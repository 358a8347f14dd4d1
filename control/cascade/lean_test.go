package cascade

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestLeaningTakesBackNothing: a small pot that lost much once rested 2.5 °C under its
// target for ever. It was to lean to a warmer plate; the bound of what is leant to was under
// what its loop had found by itself, and took that back as fast as it was found.
func TestLeaningTakesBackNothing(t *testing.T) {
	c := New(Pot{HeaterW: 200, MeltJPerK: 73})
	bound := mostLean * c.known.restingExcess(c.pot)
	found := 1.5 * bound
	c.outer.SetIntegral(found)
	c.LeanTo(2*bound, 0.1)
	assert.Equal(t, found, c.Excess(), "up, beyond the bound")
	c.LeanTo(bound, 0.5)
	assert.InDelta(t, (found+bound)/2, c.Excess(), 1e-9, "down")
	c.outer.SetIntegral(0)
	c.LeanTo(2*bound, 0.5)
	assert.InDelta(t, bound/2, c.Excess(), 1e-9, "up, to the bound and no further")
}

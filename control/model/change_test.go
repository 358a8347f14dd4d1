package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// resting is a filter of a melt at 165 °C over a plate that holds it, seen for a minute.
func resting() *Filter {
	f := New(known)
	f.begin(good(21, 0), good(21, 0))
	copy(f.x[:], []float64{190, 185, 170, 165, 185, 165})
	for range 300 {
		f.Step(0.1, perCycle, good(185, 0), good(165, 0))
	}
	return f
}

// TestWhatIsAddedIsMixed by heat capacities: 250 mL at 165 °C and 20 mL of a room at 21 °C
// come to 165 - 20/270·144 = 154.3 °C (elementary). Said late, of a fall that has shown,
// it changes nothing but how well the melt is known.
func TestWhatIsAddedIsMixed(t *testing.T) {
	f := resting()
	meltJK, meltC := math.Exp(f.x[lnMeltJK]), f.x[melt]
	f.Added(meltJK * 20 / 250)
	assert.InDelta(t, meltC-20.0/270*(meltC-21), f.x[melt], 0.2)
	assert.InEpsilon(t, meltJK*270/250, math.Exp(f.x[lnMeltJK]), 1e-9)

	f = resting()
	for range 50 {
		f.Step(0.1, perCycle, good(185, 0), good(154, 0))
	}
	shownC := f.x[melt]
	f.Added(meltJK * 20 / 250)
	assert.InDelta(t, shownC, f.x[melt], 2.5)

	f = resting()
	f.Restart()
	f.Added(meltJK * 20 / 250)
	f.Step(0.1, perCycle, good(185, 0), good(150, 0))
	assert.InDelta(t, 150, f.x[melt], 0.1, "off its plate meanwhile")
	assert.InEpsilon(t, meltJK*270/250, math.Exp(f.x[lnMeltJK]), 1e-3)
}

// TestWhatNobodySaidIsNoticed: a melt that falls by itself is told apart from one that was
// said to, for less than a minute.
func TestWhatNobodySaidIsNoticed(t *testing.T) {
	f := resting()
	assert.False(t, f.Unexplained())
	for range 15 {
		f.Step(0.1, perCycle, good(185, 0), good(157, 0))
	}
	assert.True(t, f.Unexplained())
	for range 5 * 60 {
		f.Step(0.1, perCycle, good(185, 0), good(157, 0))
	}
	assert.False(t, f.Unexplained())
}

// TestWhatWasDrawnIsGone: a half drawn leaves a half, and more than all something; where
// nobody says how much, what is left may be a half.
func TestWhatWasDrawnIsGone(t *testing.T) {
	f := resting()
	meltJK := math.Exp(f.x[lnMeltJK])
	f.Drawn(meltJK / 2)
	assert.InEpsilon(t, meltJK/2, math.Exp(f.x[lnMeltJK]), 1e-9)
	f.bound()
	assert.InEpsilon(t, meltJK/2, math.Exp(f.x[lnMeltJK]), 1e-9)
	f.Drawn(5 * meltJK)
	assert.Positive(t, math.Exp(f.x[lnMeltJK]))

	f = resting()
	f.Drawn(0)
	f.x[lnMeltJK] -= math.Ln2
	f.bound()
	assert.InEpsilon(t, meltJK/2, math.Exp(f.x[lnMeltJK]), 1e-9)
}

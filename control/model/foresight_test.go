package model

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// melted lets a melt rise over a wide gap, rest over the one that keeps it, and fall over
// none, by Newton's law with what passes and what is lost, in 1/s.
func melted(h *hot, passS, loseS float64) {
	const dt, driveK = 0.2, 200.0 // the drive of a hot melt hardly changes
	meltC := hotC
	h.add(meltC, 0, driveK, dt)
	for _, part := range []struct{ gapK, forS float64 }{
		{80, 60}, {driveK * loseS / passS, 120}, {0, 60},
	} {
		for s := 0.0; s < part.forS; s += dt {
			meltC += (passS*part.gapK - loseS*driveK) * dt
			h.add(meltC, part.gapK, driveK, dt)
		}
	}
}

// TestHotFitFindsWhatIsSo, from guesses that are a third off either way.
func TestHotFitFindsWhatIsSo(t *testing.T) {
	const passS, loseS = 0.004, 5e-4
	for _, off := range []float64{0.67, 1.5} {
		var h hot
		pass, lose := h.fit(off*passS, loseS/off)
		assert.InEpsilon(t, off*passS, pass, 1e-9, "nothing was seen")
		assert.InEpsilon(t, loseS/off, lose, 1e-9)
		melted(&h, passS, loseS)
		pass, lose = h.fit(off*passS, loseS/off)
		assert.InEpsilon(t, passS, pass, 0.15, "four minutes do not say it all")
		assert.InEpsilon(t, loseS, lose, 0.15)
	}
}

// TestHotFitIsDeafWhileSomethingIsMixedIn.
func TestHotFitIsDeafWhileSomethingIsMixedIn(t *testing.T) {
	f := somewhere(6)
	f.Startle()
	h := f.hot
	h.add(hotC+5, 50, 200, deafS)
	h.add(hotC+20, 50, 200, 1)
	assert.NotZero(t, h.gapRise, "heard again")
	f.hot.add(hotC+5, 50, 200, 1)
	f.hot.add(hotC+20, 50, 200, 1)
	assert.Zero(t, f.hot.gapRise)
}

package model

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCoastsWhereItWasMeantTo: a plant heated until the plate is as warm as it may be, by
// the filter that watched it, coasts to the target with the power off. The plant goes on
// by itself, in other steps and stirred by its hand; those that lose more than a plate of
// 280 °C brings them, or are past it while the melt is still thick, are left out.
func TestCoastsWhereItWasMeantTo(t *testing.T) {
	const targetC = 165.0
	pots, sum, squares := 0.0, 0.0, 0.0
	for seed := range uint64(30) {
		off := coastsOff(seed, targetC)
		if math.IsNaN(off) {
			continue
		}
		pots, sum, squares = pots+1, sum+off, squares+off*off
	}
	fmt.Printf("coasts off by %+.2f °C in the mean of %.0f, %.2f RMS\n", sum/pots, pots, math.Sqrt(squares/pots))
	require.Greater(t, pots, 10.0)
	assert.InDelta(t, 0, sum/pots, 0.5)
	assert.Less(t, math.Sqrt(squares/pots), 2.0)
}

// coastsOff is by how much a plant misses a target, NaN where it is left out.
func coastsOff(seed uint64, targetC float64) float64 {
	p, f := newPlant(seed), New(known)
	short := func() float64 { return f.CoastC(targetC, f.RestAtC(targetC)) - f.Sight(0.9).HeldC }
	for n := 0; f.x[melt] < thinC || short() > 0; n++ {
		duty := 0.9
		if p.x[plate] > 280 {
			duty = 0
		}
		if p.cycle(f, duty); n > 5*1800 {
			return math.NaN()
		}
	}
	if short() < -1 {
		return math.NaN() // it was too late by then
	}
	hottestC := 0.0
	for range 5 * 600 {
		p.cycle(f, 0)
		hottestC = max(hottestC, p.x[melt])
	}
	return hottestC - targetC
}

// TestALossThatWasTakenForTooMuch: where the held pot has shown that it loses less than
// the model makes of it, the plate is kept lower, because the melt will coast further.
func TestALossThatWasTakenForTooMuch(t *testing.T) {
	f := somewhere(6)
	restC := f.RestAtC(170)
	assert.Less(t, f.CoastC(170, 0.7*restC), f.CoastC(170, restC))
	assert.Equal(t, f.CoastC(170, 2*restC), f.CoastC(170, restC), "and no higher where it loses more")
	assert.Equal(t, f.CoastC(170, 0.1*restC), f.CoastC(170, leastLoss*restC))
}

package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// tight is a pot that loses nothing, and whose paste does not thicken.
func tight() *Twin {
	_, f := held(1)
	k := f.Known()
	twin := NewTwin(known, &k, 20)
	twin.b.plateLossWK, twin.b.wallLossWK, twin.b.meltLossWK, twin.gelShare = 0, 0, 0, 1
	return twin
}

// TestTwinKeepsTheHeatItGets: without losses all of it warms at one rate in the end, that
// of the first law, P/C.
func TestTwinKeepsTheHeatItGets(t *testing.T) {
	twin := tight()
	const duty = 0.02
	for range 5 * 4000 {
		twin.Step(duty, 0.2)
	}
	before := twin.MeltC()
	for range 5 * 60 {
		twin.Step(duty, 0.2)
	}
	jk := twin.b.elementJK + twin.b.plateJK + twin.b.wallJK + twin.b.meltJK
	assert.InEpsilon(t, duty*known.HeaterW/jk, (twin.MeltC()-before)/60, 1e-3)
	assert.Greater(t, twin.PlateC(), twin.MeltC())
}

// TestTwinCoolsAsALump: a melt that only loses to the room follows the exponential of a
// lumped body, excess = first × exp(−t·G/C) (lumped capacitance, as any handbook of heat
// transfer; from memory). The excess is small, so that the loss is linear.
func TestTwinCoolsAsALump(t *testing.T) {
	twin := tight()
	twin.b.contactWK, twin.b.couplingWK, twin.b.meltLossWK = 0, 50, 0.2
	for _, i := range []int{wall, melt, meltProbe} {
		twin.x[i] = 21
	}
	const s = 600
	for range 5 * s {
		twin.Step(0, 0.2)
	}
	tau := (twin.b.wallJK + twin.b.meltJK) / 0.2
	assert.InEpsilon(t, math.Exp(-s/tau), twin.MeltC()-20, 0.01)
}

// TestTwinThickens once: raw paste lets less pass at its thickest, and a melt that was hot
// does not thicken again.
func TestTwinThickens(t *testing.T) {
	twin := tight()
	twin.gelShare = 0.3
	riseC := func(highC float64) float64 {
		twin.highC = highC
		twin.x[wall], twin.x[melt] = 110, 95
		twin.Step(0, 1)
		return twin.x[melt] - 95
	}
	assert.InEpsilon(t, 0.3, riseC(95)/riseC(170), 0.1)
}

// TestTwinOfAnyPot is one by the priors.
func TestTwinOfAnyPot(t *testing.T) {
	twin := NewTwin(known, nil, 20)
	for range 5 * 900 {
		duty := 1.0
		if twin.PlateC() > 225 {
			duty = 0
		}
		twin.Step(duty, 0.2)
	}
	assert.Greater(t, twin.MeltC(), 90.0)
	assert.Less(t, twin.PlateC(), 260.0)
}

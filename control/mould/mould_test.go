package mould

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/melt"
)

const meltC = 175.0

// evening is a session as the trade's estimates take it for granted: the mould is left shut
// for as long as a thin body takes to give up its heat.
var evening = Session{
	Metal: melt.Aluminium, MouldKg: 1.5, ShotKg: 0.06, ThickM: 0.012, MeltC: meltC, StartC: 25, RoomC: 25, InMouldS: 180, EveryS: 240,
}

// TestSkin: testdata/heat/conduction.csv, C3 (own example with mid-range properties).
func TestSkin(t *testing.T) {
	skin := Skin(177, 25, melt.Aluminium)
	assert.InDelta(t, 29.19, skin.Mid, 0.005)
	assert.InDelta(t, 576, melt.Plastisol.Effusivity().Mid, 0.6)
	assert.InDelta(t, 20325, melt.Aluminium.Effusivity().Mid, 0.5)
	assert.Less(t, skin.Low, skin.Mid)
	assert.Less(t, skin.Mid, skin.High)
	cold := Skin(20, 60, melt.Aluminium)
	assert.Less(t, cold.Low, cold.High)
}

// TestMiddleIsTheInverseOfSets.
func TestMiddleIsTheInverseOfSets(t *testing.T) {
	in := Sets(0.012, meltC, 40, 120, melt.Steel)
	assert.InDelta(t, 120, Middle(0.012, meltC, 40, in.Mid, melt.Steel).Mid, 1e-3)
	assert.InDelta(t, 120, Middle(0.012, meltC, 40, in.Low, melt.Steel).Low, 1e-3)
	assert.InDelta(t, 120, Middle(0.012, meltC, 40, in.High, melt.Steel).High, 1e-3)
	assert.Equal(t, meltC, Middle(0.012, meltC, 40, 0, melt.Steel).Mid)
}

// TestDepth: as long as the middle feels nothing, half of a thick wall is as the series has it.
func TestDepth(t *testing.T) {
	d := Depth(meltC, 25, melt.SetC, 1, melt.Aluminium)
	assert.InDelta(t, 0.0004, d.Mid, 0.0002)
	skin, alpha := Skin(meltC, 25, melt.Aluminium).Mid, melt.Plastisol.Diffusivity().Mid
	const half = 0.006
	assert.InDelta(t, melt.SetC, skin+(meltC-skin)*touching.Left(alpha/(half*half), 1-d.Mid/half), 0.01)
	assert.Less(t, d.Low, d.Mid)
	assert.Less(t, d.Mid, d.High)
	assert.Equal(t, melt.Range{}, Depth(meltC, 120, melt.SetC, 1, melt.Aluminium))
}

// TestSetsAtTheEdges of what can be.
func TestSetsAtTheEdges(t *testing.T) {
	assert.Equal(t, melt.Range{}, Sets(0.002, 100, 25, melt.SetC, melt.Aluminium), "colder already")
	for _, mouldC := range []float64{120, 170, 195} {
		assert.True(t, math.IsInf(Sets(0.002, 170, mouldC, melt.SetC, melt.Aluminium).Low, 1), "in a mould of %v °C never", mouldC)
	}
}

// integrate is the same evening in steps of a second: a body that gives up its heat evenly
// while it is in the mould, and a mould that loses heat all the while.
func integrate(s Session, shots int) []float64 {
	c := s.StartC
	var all []float64
	area := shape * math.Pow(s.MouldKg/s.Metal.Rho.Mid, 2.0/3)
	for range shots {
		all = append(all, c)
		gives := s.rise(c, melt.Plastisol.C.Mid, melt.Plastisol.Diffusivity().Mid) * s.mouldJK() / s.InMouldS
		for second := 0.0; second < s.EveryS; second++ {
			w := -lossWM2K.Mid * area * (c - s.RoomC)
			if second < s.InMouldS {
				w += gives
			}
			c += w / s.mouldJK()
		}
	}
	return all
}

// TestNumbersOfWarming: shot after shot the mould warms ever less, to where a shot brings
// what is lost between two.
func TestNumbersOfWarming(t *testing.T) {
	before := evening.Before(20)
	by := integrate(evening, 20)
	worst := 0.0
	for i, r := range before {
		worst = max(worst, math.Abs(r.Mid-by[i]))
		assert.LessOrEqual(t, r.Low, r.Mid)
		assert.LessOrEqual(t, r.Mid, r.High)
		if i > 1 {
			assert.Less(t, r.Mid-before[i-1].Mid, before[i-1].Mid-before[i-2].Mid)
		}
	}
	for _, n := range []int{1, 2, 5, 10, 20} {
		r := before[n-1]
		fmt.Printf("60 g every 4 min into 1.5 kg of aluminium: before shot %2d %3.0f °C (%.0f to %.0f)\n", n, r.Mid, r.Low, r.High)
	}
	fmt.Printf("against steps of a second: at most %.1f °C apart\n", worst)
	assert.Less(t, worst, 2.0)
	assert.Len(t, evening.Before(1000), most)
	// Without a loss and without a next shot the mould is as warm as what it has got (heat
	// is kept): C·ΔT of the mould is what the body gave up.
	s := evening
	s.InMouldS = 1e6
	c := melt.Plastisol.C.Mid
	end := 25 + s.rise(25, c, melt.Plastisol.Diffusivity().Mid)
	assert.InDelta(t, s.mouldJK()*(end-25), s.ShotKg*c*(meltC-end), 1e-6)
}

package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// held is a filter of a drawn pot that has been heated and held.
func held(seed uint64) (*plant, *Filter) {
	p, f := newPlant(seed), New(known)
	for range 5 * 900 {
		duty := 1.0
		if p.x[plate] > min(225, 176+3*(172-p.x[melt])) {
			duty = 0.1
		}
		p.cycle(f, duty)
	}
	return p, f
}

// TestRecallBeginsWithWhatWasKnown, no surer than another evening may be, and scaled with
// the volume typed.
func TestRecallBeginsWithWhatWasKnown(t *testing.T) {
	_, f := held(1)
	k := f.Known()
	assert.True(t, k.Whole)
	same := New(known)
	same.Recall(&k)
	again := same.Known()
	for n, of := range k.figures() {
		i := lnPlateJK + n
		assert.InEpsilon(t, of.Value, again.figures()[n].Value, 1e-9, "figure %d", i)
		assert.GreaterOrEqual(t, again.figures()[n].Sigma, another[i]-1e-12, "figure %d", i)
	}
	more := New(Pot{HeaterW: known.HeaterW, MeltJPerK: 1.3 * known.MeltJPerK})
	more.Recall(&k)
	grown := more.Known()
	assert.InEpsilon(t, 1.3*k.MeltJPerK.Value, grown.MeltJPerK.Value, 1e-9)
	assert.InEpsilon(t, math.Pow(1.3, 2.0/3)*k.CouplingWK.Value, grown.CouplingWK.Value, 1e-9)
	assert.InEpsilon(t, math.Pow(1.3, 2.0/3)*k.MeltLossWK.Value, grown.MeltLossWK.Value, 1e-9)
	assert.Equal(t, again.PlateJPerK, grown.PlateJPerK)
	assert.Greater(t, grown.MeltLossWK.Sigma, again.MeltLossWK.Sigma)
}

// TestFitsOnlyItsOwn heater, and figures that are any.
func TestFitsOnlyItsOwn(t *testing.T) {
	_, f := held(2)
	k := f.Known()
	assert.True(t, k.Fits(known))
	assert.False(t, k.Fits(Pot{HeaterW: 1200, MeltJPerK: known.MeltJPerK}))
	for _, bad := range []float64{math.NaN(), math.Inf(1), 0, -1} {
		for n := range k.figures() {
			spoilt := k
			spoilt.figures()[n].Value = bad
			assert.False(t, spoilt.Fits(known), "figure %d: %v", n, bad)
		}
	}
}

// TestPassageShowsTheCoupling of a pot that is built as the model says: its melt's time
// constant behind the plate, as its hand stirs it, from an ordinary heat-up.
func TestPassageShowsTheCoupling(t *testing.T) {
	for seed := range uint64(5) {
		p, f := held(seed)
		k := f.Known()
		// Stirred for 8 s of 30, and otherwise e^-0.4 of it (newPlant).
		stirred := math.Exp(p.x[lnCouplingWK])
		mean := stirred * (8 + 22*math.Exp(-0.4)) / 30
		series := func(contact, coupling float64) float64 { return 1 / (1/contact + 1/coupling) }
		is := math.Exp(p.x[lnMeltJK]) / series(math.Exp(p.x[lnContactWK]), mean)
		found := k.MeltJPerK.Value / series(k.ContactWK.Value, k.CouplingWK.Value)
		t.Logf("seed %d: a time constant of %.0f s, found %.0f", seed, is, found)
		assert.InEpsilon(t, is, found, 0.12, "seed %d", seed)
	}
}

// TestRestIsWhereAPotRests: at the excess of RestAtC a held melt neither rises nor falls,
// by the slopes themselves.
func TestRestIsWhereAPotRests(t *testing.T) {
	_, f := held(3)
	b := unpack(&f.x, known.HeaterW, f.roomC)
	b.couplingWK = f.thinWK
	const c = 170
	drive, _ := b.excess(c)
	var x vector
	x[melt] = c
	x[wall] = c + b.meltLossWK*drive/b.couplingWK
	x[plate] = c + f.RestAtC(c)
	flow := b.flows(&x)
	d := b.slopes(&x, &flow, 0)
	assert.InDelta(t, 0, d[melt], 1e-9)
	assert.InDelta(t, 0, d[wall], 1e-9)
}

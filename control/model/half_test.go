package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
)

// half lets a pot be heated for some seconds while only one of its probes is seen.
func half(p *plant, f *Filter, duty, forS float64) (inBand float64) {
	in, n := 0.0, 0.0
	for range int(forS / perCycle) {
		p.cycle(New(known), duty) // the plant alone
		plateT, meltT := good(p.x[plateProbe], 0), good(p.x[meltProbe], 0)
		truth, at := p.x[melt], melt
		if f.pot.Probes == reading.MeltOnly {
			truth, at = p.x[plate], plate
			plateT = reading.Temperature{}
		} else {
			meltT = reading.Temperature{}
		}
		f.Step(duty, perCycle, plateT, meltT)
		if n++; math.Abs(truth-f.x[at]) <= f.band(at) {
			in++
		}
	}
	return in / n
}

// TestThePlaceWithoutAProbe: on pots built as the model says the truth lies in the band,
// of which two standard deviations hold 95 % (elementary).
func TestThePlaceWithoutAProbe(t *testing.T) {
	for _, probes := range []reading.Probes{reading.PlateOnly, reading.MeltOnly} {
		in, n := 0.0, 0.0
		for seed := range uint64(20) {
			pot := known
			pot.Probes = probes
			in, n = in+half(newPlant(seed), New(pot), 0.3, 400), n+1
		}
		t.Logf("probes %d: in the band %.1f %% of the time", probes, 100*in/n)
		assert.Greater(t, in/n, 0.85)
	}
}

// TestAHandHeldReadingIsTaken, narrows the band, and however far off it is, the estimate
// comes to it; what is no number changes nothing.
func TestAHandHeldReadingIsTaken(t *testing.T) {
	pot := known
	pot.Probes = reading.PlateOnly
	for _, off := range []float64{0, 3, -10, 40, -60} {
		f := New(pot)
		half(newPlant(1), f, 0.5, 300)
		c := f.x[melt] + off
		wide := f.band(melt)
		f.Hand(math.NaN())
		f.Hand(math.Inf(1))
		require.InDelta(t, c-off, f.x[melt], 1e-12)
		f.Hand(c)
		assert.InDelta(t, c, f.x[melt], 1.0, "%v off", off)
		assert.Less(t, f.band(melt), wide)
		assert.LessOrEqual(t, f.band(melt), 2*handC)
	}
}

// TestTheCovarianceStaysOne after partial updates and readings that are far off: its
// diagonal is never below zero, and it stays symmetric but for rounding.but for rounding.
func TestTheCovarianceStaysOne(t *testing.T) {
	pot := known
	pot.Probes = reading.PlateOnly
	f, p := New(pot), newPlant(3)
	for n := range 20 {
		half(p, f, 0.3, 60)
		f.Hand(f.x[melt] + 15*float64(n%5-2))
		for i := range f.p {
			require.Positive(t, f.p[i][i], "state %d", i)
			for k := range f.p {
				require.InDelta(t, f.p[i][k], f.p[k][i], 1e-6*math.Sqrt(f.p[i][i]*f.p[k][k]))
			}
		}
	}
}

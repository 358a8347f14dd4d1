package judge_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/guard"
	"meltwarden/control/judge"
)

// How hot a melt may get by a thermometer up to 20 °C low (E): a named pot's under the trip
// of 190 °C, the worst random one's over it by 7 °C, because by the time that
// its melt is near its goal the model makes its plate's resting excess more than twice what
// it is. unboundMostC is of a thermometer up to 50 °C low.
const (
	lowBoundC    = 20.0
	namedMostC   = 190.0
	anyMostC     = 197.0
	unboundMostC = 215.0
)

// TestNumbersOfLowThermometers prints how far a thermometer that reads too low takes the
// true melt of a pot without a melt probe, that is to get to 172 °C: nothing else shows it.
func TestNumbersOfLowThermometers(t *testing.T) {
	if testing.Short() {
		t.Skip("dozens of simulated evenings take half a minute")
	}
	t.Parallel()
	random, _ := judge.RandomPots(8, 31)
	lows := []float64{0, 20} // the ends of what is bounded
	if full() {
		lows = []float64{0, 5, 10, 15, 20, 30, 50, -10} // what help claims, and what is between
	}
	t.Log("                          hottest melt, °C      over")
	t.Log("  reads low by     n   named med worst  random worst  190 °C  there  trips")
	for _, lowC := range lows {
		var hottest []float64
		there, trips := 0, 0
		for _, p := range slices.Concat(named(), random) {
			out, h := p.RunLow(lowC, guard.Limits{HeatersProven: true}, firstSeed)
			hottest, trips = append(hottest, h.HottestC), trips+h.Trips
			if !math.IsInf(out[judge.HeatUp].IntoS, 1) {
				there++
			}
		}
		ours, others := hottest[:len(named())], hottest[len(named()):]
		over := len(slices.DeleteFunc(slices.Clone(hottest), func(c float64) bool { return c < namedMostC }))
		t.Logf("%11.0f °C  %4d  %10.1f %5.1f  %12.1f  %6d  %5d  %5d", lowC, len(hottest), middle(ours), slices.Max(ours), slices.Max(others), over, there, trips)
		if lowC <= lowBoundC {
			assert.LessOrEqual(t, slices.Max(ours), namedMostC, "%v low", lowC)
			assert.LessOrEqual(t, slices.Max(others), anyMostC, "%v low", lowC)
		}
		if lowC == 0 {
			assert.GreaterOrEqual(t, there, len(hottest)-1, "honest ones are there within the hour but for one")
		}
		assert.LessOrEqual(t, slices.Max(hottest), unboundMostC, "%v low", lowC)
	}
}

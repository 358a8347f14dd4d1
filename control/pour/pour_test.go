package pour

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const period = 200 * time.Millisecond

// twoLumps is a melt whose vessel is warmer by aboveC, a time after both were lifted: the
// vessel gives that up with its lag while both cool by rate (the analytic solution of two
// lumps of which the melt is much the larger).
func twoLumps(t, c, rate, lagS float64) float64 { return c - rate*fell(t, lagS) }

// see lets a window see a melt that is lifted after a minute, with a module's noise and
// steps of 0.25 °C, for as long after it; mark says when that is marked.
func see(w *Window, melt func(t float64) float64, forS, markS float64, noise *rand.Rand) {
	marked := false
	for atS := -60.0; atS < forS; atS += period.Seconds() {
		w.See(math.Round((melt(max(atS, 0))+0.15*noise.NormFloat64())*4)/4, true, period)
		if !marked && atS >= markS {
			marked = true
			w.Lift(8*time.Second, -4*time.Second, 163)
		}
	}
}

// TestFindsTheEdge: with any lag and rate that pots have, the time that is told comes true
// better the longer the melt was seen.
func TestFindsTheEdge(t *testing.T) {
	for _, forS := range []float64{10, 20, 30} {
		worst, outside, n := 0.0, 0, 0
		for _, rate := range []float64{3, 4.5, 6} {
			for _, lagS := range []float64{12, 30, 60} {
				for seed := range uint64(5) {
					melt := func(t float64) float64 { return twoLumps(t-3, 165, rate/60, lagS) } // 3 s for the probe
					edgeS := after(2/(rate/60), lagS)
					var w Window
					see(&w, melt, forS, 2, rand.New(rand.NewPCG(seed, uint64(lagS))))
					l := w.Left()
					require.True(t, l.Known)
					left := max(0, edgeS-forS)
					worst, n = max(worst, math.Abs(l.In.Seconds()-left)), n+1
					if left < l.Low.Seconds()-1 || left > l.High.Seconds()+1 {
						outside++
					}
					assert.Equal(t, forS < assumedS, l.Assumed)
				}
			}
		}
		fmt.Printf("seen for %.0f s: off by at most %.0f s; %d of %d outside the range\n", forS, worst, outside, n)
		assert.LessOrEqual(t, worst, 45.0-forS/2)
		assert.LessOrEqual(t, outside, n/3)
	}
}

// TestInverse: after is the inverse of fell, and fell that of a first-order lag (its limits
// are elementary: t²/2·lag at first, t - lag in the end).
func TestInverse(t *testing.T) {
	for _, lagS := range lagsS {
		for _, at := range []float64{1, 10, 60, 300} {
			assert.InEpsilon(t, at, after(fell(at, lagS), lagS), 1e-3, "%v %v", at, lagS)
		}
		assert.InEpsilon(t, 0.01/(2*lagS), fell(0.1, lagS), 0.01)
		assert.InDelta(t, 1000-lagS, fell(1000, lagS), 0.1)
	}
}

// TestCyclesAreNeverEven: a second is one, whether its cycles take a little less than that or
// more, and also where some are missing.
func TestCyclesAreNeverEven(t *testing.T) {
	const over = time.Minute
	left := func(cycles ...time.Duration) time.Duration {
		var w Window
		now := time.Duration(0)
		cool := func(forS time.Duration) {
			for i := 0; forS > 0; i++ {
				took := cycles[i%len(cycles)]
				now, forS = now+took, forS-took
				w.See(twoLumps(now.Seconds()-over.Seconds(), 165, 4.5/60, 30), true, took)
			}
		}
		cool(over)
		w.Lift(0, 0, 160)
		cool(over / 2)
		return w.Left().In + now
	}
	even := left(period)
	for _, uneven := range [][]time.Duration{
		{period - time.Millisecond, period}, {period + time.Millisecond, period}, {3 * period / 2}, {7 * period, period},
	} {
		assert.InDelta(t, even.Seconds(), left(uneven...).Seconds(), 2, "%v", uneven)
	}
}

// TestOverAndBack: over is over until the pot is said to be back, and one that has stopped
// cooling looks back; one that goes on cooling does not.
func TestOverAndBack(t *testing.T) {
	var w Window
	assert.Equal(t, Left{}, w.Left(), "on its plate")
	noise := rand.New(rand.NewPCG(1, 1))
	see(&w, func(t float64) float64 { return twoLumps(t, 165, 4.5/60, 30) }, 150, 0, noise)
	assert.True(t, w.Left().Over)
	assert.Zero(t, w.Left().In)
	assert.False(t, w.LooksBack())
	for range int(time.Minute / period) {
		w.See(157+0.15*noise.NormFloat64(), true, period)
	}
	assert.True(t, w.LooksBack())
	assert.True(t, w.Left().Over)
	w.Return()
	assert.False(t, w.LooksBack())
	assert.Equal(t, Left{}, w.Left())
}

// TestUnseenIsNotKnown: no figure stands for a melt that is not read.
func TestUnseenIsNotKnown(t *testing.T) {
	var w Window
	see(&w, func(t float64) float64 { return twoLumps(t, 165, 4.5/60, 30) }, 20, 0, rand.New(rand.NewPCG(1, 1)))
	require.True(t, w.Left().Known)
	for range int(6 * time.Second / period) {
		w.See(math.NaN(), false, period)
	}
	assert.False(t, w.Left().Known)
}

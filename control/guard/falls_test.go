package guard

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// poured is how far a reading has dipped t seconds after a cold addition was begun that
// takes depthC off the melt, poured in over some seconds, by a probe of that lag: the
// step response of a first-order lag, and its mean over the pouring.
func poured(t, depthC, over, lag float64) float64 {
	ramp := func(t float64) float64 { return max(t, 0) - lag*-math.Expm1(-max(t, 0)/lag) }
	return depthC / over * (ramp(t) - ramp(t-over))
}

// TestAToppedUpPotDoesNotTrip: its heater is off while the reading falls, and comes back
// when that holds. The depths are those of mixing at 170 °C with liquid of 20 °C, by
// the energy balance: 60 mL into 180 mL 37.5 °C, 100 mL into 180 mL 53.6 °C.
func TestAToppedUpPotDoesNotTrip(t *testing.T) {
	for _, c := range []struct {
		depthC, over, lag float64
		marked, told      bool
	}{
		{37.5, 1, 3, false, false}, {37.5, 5, 3, false, true}, {37.5, 1, 5, false, true},
		{37.5, 10, 3, true, false}, {53.6, 1, 5, true, false}, {53.6, 15, 3, true, false}, {75, 10, 3, true, false},
	} {
		r := enabledFrom(limits, func(s *Sight) { s.Pots[0].Melt.C += 20 })
		r.begin(func(s *Sight, t float64) {
			s.Pots[0].Coloured = c.marked
			s.Pots[0].Melt.C += 20 - poured(t, c.depthC, c.over, c.lag)
		})
		inhibited, told := time.Duration(0), false
		for range time.Minute / period {
			if r.step()[0] == 0 {
				inhibited += period
			}
			told = told || r.condition(FastFall).Active
			require.False(t, r.latched(MeltNotFollowing), "%+v", c)
		}
		fmt.Printf("%4.1f °C of cold addition over %2.0f s, the probe's lag %.0f s: the heater is off for %.1f s\n", c.depthC, c.over, c.lag, inhibited.Seconds())
		assert.Equal(t, c.told, told, "%+v", c)
		assert.Equal(t, full, r.step(), "%+v", c)
	}
}

// TestAProbeThatIsOutIsFoundWhateverIsMarked: a bare probe loses its heat with some 50 s
// (estimate: a bead in still air), faster in a draught.
func TestAProbeThatIsOutIsFoundWhateverIsMarked(t *testing.T) {
	for _, fromC := range []float64{170, 130, 90} {
		for _, lag := range []float64{8, 20, 40, 50, 60} {
			for _, marked := range []bool{false, true} {
				r := enabledFrom(limits, func(s *Sight) { s.Pots[0].Melt.C += fromC - 150 })
				r.begin(func(s *Sight, t float64) {
					s.Pots[0].Coloured = marked
					s.Pots[0].Melt.C = 25 + (s.Pots[0].Melt.C+fromC-150-25)*math.Exp(-t/lag)
				})
				r.run(5 * time.Second)
				heated := time.Duration(0)
				found := time.Duration(0)
				for ; !r.latched(MeltNotFollowing); found += period {
					require.Less(t, found, 3*time.Minute, "from %v °C, lag %v s, marked %v", fromC, lag, marked)
					if r.step()[0] > 0 {
						heated += period
					}
				}
				fmt.Printf("a probe out at %v °C, lag %2.0f s, marked %-5v: latched after %.1f s\n", fromC, lag, marked, (found + 5*time.Second).Seconds())
				assert.Zero(t, heated, "from %v °C, lag %v s, marked %v", fromC, lag, marked)
			}
		}
	}
}

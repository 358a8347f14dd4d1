package guard

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestAHotPotOnACoolPlateCrossesNothing: its melt warms that plate while the other pot's
// plate is held down by a cold potful. What the plate rises above its melt tells again.
func TestAHotPotOnACoolPlateCrossesNothing(t *testing.T) {
	beside := func(s *Sight, seconds, plateC float64) {
		s.Pots[0].Melt.C, s.Pots[0].Duty = s.Pots[0].Melt.C-120+seconds/10, 1
		s.Pots[1].Duty = 0
		s.Pots[1].Plate.C += plateC - 180
	}
	r := enabledFrom(limits, func(s *Sight) { beside(s, 0, 60); s.Pots[0].Duty = 0 })
	r.run(90 * time.Second)
	r.begin(func(s *Sight, t float64) { beside(s, t, 60+85*(1-math.Exp(-t/60))) })
	r.run(5 * time.Minute)
	require.Empty(t, r.latchedCodes())
	r.begin(func(s *Sight, t float64) { beside(s, 300+t, 144+0.5*t) })
	took := r.told(t, ProbesCrossed, time.Minute)
	fmt.Printf("a plate that goes on above its melt: crossed after %.1f s\n", took.Seconds())
}

// latchedCodes lists what is latched now.
func (r *rig) latchedCodes() (codes []Code) {
	for _, c := range r.g.Append(nil) {
		if c.Latched {
			codes = append(codes, c.Code)
		}
	}
	return codes
}

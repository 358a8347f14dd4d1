package guard

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// TestAPotThatRestsFollows: at any temperature that is poured at, however far below its
// cure, with a plate up to 55 °C warmer; one that takes the heat of a pot that is being
// warmed, or hangs in the air, does not.
func TestAPotThatRestsFollows(t *testing.T) {
	for _, c := range []struct {
		restsC, gapC, duty, driftCS float64
		trips                       bool
	}{
		{176, 55, 0.3, 0, false}, {158, 42, 0.35, 0, false}, {150, 42, 0.45, 0, false}, {142, 55, 0.3, 0, false},
		{170, 42, 0.3, -0.03, false},
		{158, 42, 0.7, 0, true}, {120, 42, 0.35, 0, true}, {170, 42, 0.4, -0.1, true},
	} {
		at := func(meltC, duty float64) func(*Sight, float64) {
			return func(s *Sight, t float64) {
				s.Pots[0].Plate.C += meltC + c.gapC - 180
				s.Pots[0].Melt.C += meltC + c.driftCS*t - 150
				s.Pots[0].Duty = duty
			}
		}
		r := enabledFrom(limits, func(s *Sight) { at(176, 0)(s, 0) })
		r.begin(func(s *Sight, t float64) { // it is cured first, and cools with its heater off
			at(max(176-0.1*t, c.restsC), 0)(s, 0)
		})
		r.run(10 * time.Minute)
		r.begin(at(c.restsC, c.duty))
		r.run(4 * time.Minute)
		assert.Equal(t, c.trips, r.latched(MeltNotFollowing), "%+v", c)
	}
}

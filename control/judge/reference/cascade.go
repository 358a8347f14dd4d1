package reference

import (
	"math"

	"meltwarden/control/cascade"
)

// Cascade tunes PI loops of the melt that ask a PI loop of the plate for a plate, both
// by SIMC with τc = θ, the plate's first. To the melt loop the plate's is a lag of its
// τc and a delay. What it returns makes a new pair each time.
func Cascade(s StepTest) func() Loop {
	plate := plateModel(s)
	m := Behind(s.T, risen(s.PlateC, s.DutyStep), risen(s.MeltC, s.DutyStep))
	both := Process{
		K: m.K, Theta: m.Theta + plate.Theta + s.period()/2, Lags: []float64{m.Tau1, plate.Theta},
	}.HalfRule(1)
	outer, inner := SIMC(both, both.Theta), SIMC(plate, plate.Theta)
	return func() Loop { return newLimited(&pair{outer: follow(outer), inner: follow(inner)}, inner) }
}

// pair is a cascade. The outer loop's output is how much warmer than the melt's
// target the plate should be.
type pair struct {
	outer, inner *follower
	targetC      float64
}

func (c *pair) ask(m cascade.Measure, dt float64) float64 {
	c.targetC = m.TargetC
	excess := c.outer.output(m.TargetC, m.MeltC, dt, math.Inf(-1), m.LimitC-marginC-m.TargetC)
	return c.inner.output(m.TargetC+excess, m.PlateC, dt, 0, 1)
}

// applied lets the inner loop follow the heater, and the outer one the plate that
// was asked for or, where the heater can give no more or no less, the plate that is.
func (c *pair) applied(duty, dt float64) {
	given := c.inner.setpoint
	if duty <= 0 || duty >= 1 {
		given = c.inner.measured
	}
	c.outer.applied(given-c.targetC, dt)
	c.inner.applied(duty, dt)
}

func (c *pair) rest() {
	c.outer.rest()
	c.inner.rest()
}

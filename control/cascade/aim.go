package cascade

import "math"

// Aim is the melt loop alone, of a plate that a device of its own holds: how warm it should
// be, in degrees Celsius; dt is in seconds. It is NaN where the measure has no finite number.
// What the loops learn from what a heater gave is not learnt: the plate's heat capacity stays
// what it is taken for, with which it is cut early.
func (c *Cascade) Aim(m Measure, dt float64) float64 {
	c.seen, c.shown = m, m
	if !finite(m.MeltC, m.PlateC, m.MeltSlope, m.PlateSlope, m.TargetC, m.LimitC, dt) || dt <= 0 {
		c.Rest()
		return math.NaN()
	}
	if !c.running {
		c.begin(m)
	}
	c.retune(m)
	c.aimPlate(m, dt)
	c.settle(unsaturated, dt)
	if _, is := c.known.flow(m, dt, c.pot); is && m.TargetC-m.MeltC > nearC && !c.rested {
		c.outer.SetIntegral(c.known.restingExcess(c.pot))
	}
	return c.plateSP
}

// unsaturated is any duty that is neither none nor all.
const unsaturated = 0.5

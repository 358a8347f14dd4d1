// Package judge has what judges the loops: a zoo of pots, a rig that runs a loop
// on them, the physical limit of each, and the loops of today in the rig's terms.
// It decides nothing and is for tests only; TestOnlyTestsAreJudged (control) sees
// to it that nothing else imports it.
package judge

import (
	"time"

	"meltwarden/control"
	"meltwarden/control/cascade"
	"meltwarden/control/estimate"
	"meltwarden/control/guard"
	"meltwarden/control/judge/rig"
)

// cascaded is today's loop as a pot of the bench runs it: pot.sense and pot.ask of
// package control, with a guard that doubts nothing but a reading's freshness.
type cascaded struct {
	loop        *cascade.Cascade
	melt, plate estimate.Temperature
	now         time.Duration
	upset       time.Duration // left of what an announced addition excuses
	lifted      bool
	asked       float64
}

// FromCascade returns today's loop for a pot of which so much is known.
func FromCascade(k rig.Known) rig.Loop {
	return &cascaded{
		loop: cascade.New(cascade.Pot{HeaterW: k.RatedW, MeltJPerK: k.TypedML * control.MeltJPerMLK}),
		melt: estimate.OfMelt(), plate: estimate.OfPlate(),
	}
}

// Step is a cycle: filter what is fresh, then ask the cascade.
func (c *cascaded) Step(v *rig.View) float64 {
	c.hear(v)
	c.now += v.Elapsed
	melt, plate := v.Melt.Usable(guard.MaxAge), v.Plate.Usable(guard.MaxAge)
	c.melt.Take(v.Melt, melt, c.now, guard.MaxAge)
	c.plate.Take(v.Plate, plate, c.now, guard.MaxAge)
	if c.asked = 0; !melt || !plate || c.lifted {
		c.loop.Rest()
		return 0
	}
	c.asked = c.loop.Step(cascade.Measure{
		MeltC: c.melt.C(), PlateC: c.plate.C(), MeltSlope: c.melt.Slope(), PlateSlope: c.plate.Slope(),
		TargetC: v.TargetC, LimitC: v.PlateLimitC, Upset: c.upset > 0,
	}, v.Elapsed.Seconds())
	return c.asked
}

func (c *cascaded) hear(v *rig.View) {
	for _, m := range v.Marks {
		switch m {
		case rig.Colour:
			c.upset = control.ColourUpset
		case rig.Lift, rig.Return:
			c.lifted = m == rig.Lift
		}
	}
	c.upset -= v.Elapsed
}

// Applied tells the cascade the duty before the relay's window, as the bench does:
// its windows are the devices' own.
func (c *cascaded) Applied(_, dt float64) { c.loop.Applied(c.asked, dt) }

// Package cascade holds one pot: a melt loop tells a plate loop how warm the
// plate should be, and the plate loop tells the heater.
//
// What a plate has stored goes on flowing into the melt after the power is cut,
// and decides the overshoot. So the melt loop asks for the plate temperature
// from which plate and melt, left alone, would settle at the target: with r the
// melt's heat capacity over the plate's and d the plate's resting excess over a
// held melt, that is target + d + r × (target − melt). The same line is a
// proportional law, so heat-up, hold and recovery are one loop. r is learnt from
// the first heat-up by an energy balance; until then it is taken low, which is
// slow and safe.
package cascade

import (
	"math"

	"meltwarden/control/pid"
)

// Pot is what is known of a pot before it has ever been heated.
type Pot struct {
	// HeaterW is the heater's rated power in watts.
	HeaterW float64
	// MeltJPerK is the melt's heat capacity in joules per kelvin.
	MeltJPerK float64
}

// Measure is one cycle's view of a pot. Temperatures in degrees Celsius.
type Measure struct {
	MeltC, PlateC float64
	// MeltSlope is the melt's filtered slope in kelvin per second.
	MeltSlope float64
	TargetC   float64
	// LimitC is the highest temperature the plate may be asked for.
	LimitC float64
	// Upset suspends the melt loop's integration: a cold addition is being
	// stirred in, and what it did to the melt is not the plate's fault.
	Upset bool
}

// The loop's constants. Grades: E estimate by calculation, C common practice.
const (
	plateJPerW      = 0.8  // E: a plate's heat capacity per rated watt, before it is learnt
	storedShare     = 0.85 // E: aim the coast low, a little in proportion to what is still to rise
	ratioFirst      = 0.35 // E: capacity ratio before it is learnt, taken low on purpose
	ratioMin        = 0.15
	ratioMax        = 2.0
	learnRiseC      = 60.0 // E: a plate rise that makes the balance worth believing
	restingLossW    = 35.0 // E: what a held pot of this size loses by its surface and sides
	couplingFirst   = 6.0  // E: W/K between plate and melt before it is learnt
	couplingMin     = 2.0
	couplingMax     = 25.0
	couplingGapC    = 25.0 // E: a gap that makes flow ÷ gap worth believing
	couplingFromC   = 120  // above the thickening stage
	plateDeadS      = 5.0  // E: probe lag, dead time and half a cycle
	plateLagS       = 6.0  // E: element behind plate
	integralLow     = -0.15
	integralHigh    = 0.5
	integratesNearC = 10.0 // the melt loop integrates only while the plate follows this well
)

// Cascade is the memory of one pot's loops.
type Cascade struct {
	pot      Pot
	inner    *pid.PID
	outer    *pid.PID
	running  bool
	learn    balance
	coupling float64 // W/K
	plateSP  float64
	freeSP   float64 // before the limit
	innerSP  float64
	feed     float64 // feed-forward duty
	seen     Measure
}

// New returns the loops of a pot, at rest.
func New(p Pot) *Cascade {
	c := &Cascade{pot: p, coupling: couplingFirst, plateSP: math.NaN(), learn: balance{ratio: ratioFirst, plateJPerK: plateJPerW * p.HeaterW}}
	c.inner = pid.New(c.innerGains())
	c.outer = pid.New(c.outerGains())
	return c
}

func (c *Cascade) innerGains() pid.Gains {
	return pid.SIMCIntegrating(c.pot.HeaterW/c.learn.plateJPerK, plateDeadS, plateLagS, plateDeadS)
}

func (c *Cascade) outerGains() pid.Gains {
	return pid.Gains{
		Kp: 1 + c.learn.ratio, Weight: 1,
		// The melt behind its plate is a first-order lag; its own time constant is
		// the integral time (SIMC: τI = τ where the delay is short).
		Ti: math.Min(math.Max(c.pot.MeltJPerK/c.coupling, 40), 300),
	}
}

// Rest takes the loops out of service: nothing is integrated, and the next Step
// starts without a bump. What was learnt is kept.
func (c *Cascade) Rest() {
	c.running = false
	c.plateSP = math.NaN()
	c.learn.stop()
}

// PlateTargetC is what the plate is held at now; NaN at rest.
func (c *Cascade) PlateTargetC() float64 { return c.plateSP }

// CapacityRatio is the melt's heat capacity over the plate's, as now believed.
func (c *Cascade) CapacityRatio() float64 { return c.learn.ratio }

// Step returns the duty asked for, 0 to 1. dt is in seconds. Anything in the
// measure that is no finite number gives zero.
func (c *Cascade) Step(m Measure, dt float64) float64 {
	c.seen = m
	if !finite(m.MeltC, m.PlateC, m.MeltSlope, m.TargetC, m.LimitC, dt) || dt <= 0 {
		c.Rest()
		return 0
	}
	if !c.running {
		c.begin(m)
	}
	c.learnCoupling(m)
	c.retune(m)
	c.freeSP = c.outer.Output(m.TargetC, m.MeltC, dt, 0, math.Inf(1)) + m.MeltC
	c.plateSP = math.Min(c.freeSP, m.LimitC)
	// An error beyond the proportional band says nothing more than "full power";
	// clipped, it does not charge the anti-windup either.
	c.innerSP = math.Min(c.plateSP, m.PlateC+1/c.inner.Gains().Kp)
	c.feed = math.Max(0, c.pot.MeltJPerK*m.MeltSlope/c.pot.HeaterW)
	return c.inner.Output(c.innerSP, m.PlateC, dt, -c.feed, 1-c.feed) + c.feed
}

// begin starts both loops without a bump: the melt loop from the plate's
// expected resting excess, the plate loop from nothing.
func (c *Cascade) begin(m Measure) {
	c.running = true
	if c.outer.Integral() == 0 {
		c.outer.SetIntegral(restingLossW / c.coupling)
	}
	c.inner.Begin(0, m.PlateC, m.PlateC)
	c.learn.start(m)
}

// retune follows what has been learnt, without a bump.
func (c *Cascade) retune(m Measure) {
	if g := c.outerGains(); g != c.outer.Gains() {
		rest := c.outer.Integral()
		c.outer.Retune(g, m.TargetC, m.MeltC)
		// The jump is wanted here: a better ratio is a better place to coast from,
		// and the integral stays what it is, the plate's resting excess.
		c.outer.SetIntegral(rest)
	}
	if g := c.innerGains(); g != c.inner.Gains() {
		c.inner.Retune(g, c.innerSP, m.PlateC)
	}
}

// Applied tells the loops what the heater really gets, after the circuit's
// share and the guard.
func (c *Cascade) Applied(duty, dt float64) {
	if !c.running {
		return
	}
	m := c.seen
	c.inner.Applied(duty-c.feed, c.innerSP, m.PlateC, dt, 0, saturated(duty))
	c.inner.SetIntegral(math.Min(math.Max(c.inner.Integral(), integralLow), integralHigh))
	follows := math.Abs(m.PlateC-c.plateSP) < integratesNearC && c.plateSP == c.freeSP && !saturated(duty)
	if follows && !m.Upset {
		c.outer.Applied(c.plateSP-m.MeltC, m.TargetC, m.MeltC, dt, 0, false)
	}
	c.learn.add(m, duty*c.pot.HeaterW*dt, c.pot)
}

func saturated(duty float64) bool { return duty <= 0 || duty >= 1 }

// learnCoupling takes the watts that enter the melt over the gap that drives them.
func (c *Cascade) learnCoupling(m Measure) {
	gap := m.PlateC - m.MeltC
	if gap < couplingGapC || m.MeltC < couplingFromC || m.MeltSlope <= 0 {
		return
	}
	now := math.Min(math.Max((c.pot.MeltJPerK*m.MeltSlope+restingLossW)/gap, couplingMin), couplingMax)
	c.coupling += (now - c.coupling) * 0.01 // E: some twenty seconds at five cycles a second
}

// balance learns the capacity ratio: what the heater put in, less what the melt
// took up, over the plate's rise, is the plate's capacity (element included,
// which is right, because its heat is on its way too).
type balance struct {
	ratio, plateJPerK float64
	open              bool
	from              Measure
	joules            float64
}

func (b *balance) start(m Measure) { b.open, b.from, b.joules = true, m, 0 }
func (b *balance) stop()           { b.open = false }

func (b *balance) add(m Measure, joules float64, p Pot) {
	if !b.open {
		return
	}
	b.joules += joules
	rise := m.PlateC - b.from.PlateC
	if rise < learnRiseC {
		return
	}
	plate := (b.joules - p.MeltJPerK*(m.MeltC-b.from.MeltC)) / rise
	if plate < 0.1*p.HeaterW || plate > 5*p.HeaterW { // E: no plate is so light or so heavy
		return
	}
	b.plateJPerK = plate
	b.ratio = math.Min(math.Max(storedShare*p.MeltJPerK/plate, ratioMin), ratioMax)
	// The first part of the rise is worth most: losses are small, the melt is thin.
	b.open = m.MeltC < meltLearnToC && rise < 2*learnRiseC
}

// meltLearnToC ends the learning before the melt thickens and its probe stops
// speaking for all of it.
const meltLearnToC = 70.0

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// Package cascade holds one pot: a melt loop tells a plate loop how warm the
// plate should be, and the plate loop tells the heater.
//
// What a plate has stored goes on flowing into the melt after the power is cut,
// and decides the overshoot. So however much the melt loop would like, it never
// asks for a plate from which the melt would coast past its target (package coast).
// What the coast needs to know (the plate's heat capacity and losses, the
// coupling) is learnt by heat balances during the ordinary heat-up; until then
// it is taken so that the plate is cut early, which is slow and safe.
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
	// MeltSlope and PlateSlope are filtered slopes in kelvin per second.
	MeltSlope, PlateSlope float64
	TargetC               float64
	// LimitC is the highest temperature the plate may be asked for.
	LimitC float64
	// Upset suspends the melt loop's integration: a cold addition is being
	// stirred in, and what it did to the melt is not the plate's fault.
	Upset bool
	// Doubted says that the pot is known to be built otherwise than it is taken to be:
	// there may be heat on its way that shows nowhere.
	Doubted bool
	// CoastC is the warmest plate from which the melt does not coast past its target, by
	// somebody who sees more of the pot than the loops do; zero where nobody does.
	CoastC float64
}

// MarginC is how far below its limit a plate is held, in kelvin (E): its probe may be a
// degree off, and shows what is under way too late.
const MarginC = 1.8

// The loops' constants. Grades: E estimate by calculation, C common practice.
const (
	storedShare  = 0.85 // E: aim the coast a little low, in proportion to what is still to rise
	doubtedShare = 0.65 // E: and lower where more may be stored than shows
	surelyShare  = 0.93 // E: of a pot that has been held, and that somebody sees more of
	surelyFromC  = 2.5  // E: a melt further than this under its target is not left to the melt loop
	surelyPerK   = 20.0 // E: how much more of a plate it is given, in kelvin, for each further one
	plateDeadS   = 4.0  // E: probe lag, dead time, filter and half a cycle
	plateLagS    = 10.0 // E: element behind plate
	meltDeadS    = 30.0 // E: the plate loop, probe lag, filter and half a cycle
	limitLeadS   = 15.0 // E: probe lag, dead time, filters, and what the element still holds
	limitInS     = 20.0 // E: how fast the plate may close in on its limit
	gainMin      = 1.0
	gainMax      = 6.5
	waryGainMax  = 5.0 // E: where there is heat under way that nobody sees
	mostLean     = 1.5 // E: times what is guessed
	outerTiMaxS  = 600.0
	integralLow  = -0.15
	integralHigh = 0.5
	followsC     = 8.0   // the melt loop integrates only while the plate follows this well
	nearC        = 5.0   // and only this near the target,
	stalledKS    = 0.004 // or where the melt has stopped short of it,
	stuckC       = 0.7   // by so much, where no coast brings it any nearer (E)
	stuckForS    = 120.0 // for so long: one that coasts slowly looks like it for less (E)
)

// Cascade is the memory of one pot's loops.
type Cascade struct {
	pot     Pot
	inner   *pid.PID
	outer   *pid.PID
	running bool
	began   bool
	stuckS  float64 // how long the melt has rested short of its target
	rested  bool    // the melt loop's integral is the plate's own resting excess, no longer the guess
	wary    bool
	known   balance
	guess   *balance // what would be known without what was recalled; nil where nothing was
	tuned   *Tuning  // by a trial; nil where there was none
	plateSP float64
	innerSP float64
	bound   bool    // the coast or the limit holds the plate lower than the melt loop asks
	feed    float64 // feed-forward duty
	seen    Measure
	shown   Measure // what the balances go by
}

// New returns the loops of a pot, at rest.
func New(p Pot) *Cascade {
	c := &Cascade{pot: p, plateSP: math.NaN(), known: newBalance(p)}
	c.inner = pid.New(c.innerGains())
	c.outer = pid.New(c.outerGains())
	return c
}

// innerGains treat the plate as an integrator with the element as a second lag.
func (c *Cascade) innerGains() pid.Gains {
	if c.goesByTrial(c.ownGains().Kp) {
		return c.tuned.Plate
	}
	return pid.SIMCIntegrating(c.pot.HeaterW/c.known.plateJPerK, plateDeadS, plateLagS, plateDeadS)
}

// outerGains are the melt loop's. The output is the plate's excess over the target.
func (c *Cascade) outerGains() pid.Gains {
	own := c.ownGains()
	if c.goesByTrial(own.Kp) {
		g := c.tuned.Melt
		g.Kp, g.Ti = math.Max(g.Kp, gainMin), math.Min(g.Ti, outerTiMaxS)
		return g
	}
	return own
}

// ownGains treat the melt as a first-order lag behind its plate.
func (c *Cascade) ownGains() pid.Gains {
	tau := c.pot.MeltJPerK / c.known.coupling
	g := pid.SIMCFirstOrder(1, meltDeadS, tau, meltDeadS)
	most := gainMax
	if c.wary {
		most = waryGainMax
	}
	g.Kp = math.Min(math.Max(g.Kp, gainMin), most)
	// For a gain held down, the rule's own integral time for that gain: 4τ/Kc.
	g.Ti = math.Min(math.Min(tau, 4*tau/g.Kp), outerTiMaxS)
	return g
}

// Rest takes the loops out of service: nothing is integrated, and the next Step
// starts without a bump. What was learnt is kept.
func (c *Cascade) Rest() {
	c.running = false
	c.plateSP = math.NaN()
}

// PlateTargetC is what the plate is held at now; NaN at rest.
func (c *Cascade) PlateTargetC() float64 { return c.plateSP }

// Step returns the duty asked for, 0 to 1. dt is in seconds. Anything in the
// measure that is no finite number gives zero.
func (c *Cascade) Step(m Measure, dt float64) float64 {
	return c.StepBy(m, m, dt)
}

// StepBy is Step with a measure of its own for what is learnt, which must come from
// the same filters all the time: a step from one to another would be taken for heat.
func (c *Cascade) StepBy(m, shown Measure, dt float64) float64 {
	return c.step(m, shown, dt, func() { c.aimPlate(m, dt) })
}

func (c *Cascade) step(m, shown Measure, dt float64, aim func()) float64 {
	c.seen, c.shown = m, shown
	if !finite(m.MeltC, m.PlateC, m.MeltSlope, m.PlateSlope, m.TargetC, m.LimitC, dt) || dt <= 0 {
		c.Rest()
		return 0
	}
	if !c.running {
		c.begin(m)
	}
	c.wary = c.wary || m.Doubted
	c.retune(m)
	aim()
	// An error beyond the proportional band, and what a rising plate takes off, says
	// nothing more than "full power"; clipped, it does not charge the anti-windup either.
	g := c.inner.Gains()
	c.innerSP = math.Min(c.plateSP, m.PlateC+1/g.Kp+g.Td*math.Max(m.PlateSlope, 0))
	c.feed = c.feedForward(m)
	duty := c.inner.Output(c.innerSP, m.PlateC, dt, -c.feed, 1-c.feed) + c.feed
	return math.Min(duty, c.mostDuty(m))
}

// mostDuty is the most with which the plate does not run over its limit: where it
// will be when what is under way has shown, and the heat that takes it no further. Where
// it would run over, it is reckoned to give off no more than it was given of late less
// what warmed it (its heat balance): a melt that thickens takes less than it seems to.
func (c *Cascade) mostDuty(m Measure) float64 {
	coming := m.PlateC + limitLeadS*math.Max(m.PlateSlope, 0)
	room := (m.LimitC - MarginC - coming) * c.known.plateJPerK / c.pot.HeaterW
	gives := c.feed
	if room < 0 {
		gives = math.Min(gives, c.known.dutyS-c.known.plateJPerK*m.PlateSlope/c.pot.HeaterW)
	}
	return math.Max(gives+room/limitInS, 0)
}

// aimPlate chooses the plate's temperature: what the melt loop asks for, but no
// more than coasts to the target, and no more than the limit.
func (c *Cascade) aimPlate(m Measure, dt float64) {
	want := m.TargetC + c.outer.Output(m.TargetC, m.MeltC, dt, math.Inf(-1), math.Inf(1))
	most := m.LimitC - MarginC
	coasts := c.coastC(m, most)
	if c.recovers(m) {
		want += surelyPerK * math.Max(m.TargetC-m.MeltC-surelyFromC, 0)
	}
	if m.MeltC >= m.TargetC {
		coasts = math.Inf(1) // the melt loop alone is low enough
	}
	c.plateSP = math.Min(want, math.Min(coasts, most))
	c.bound = c.plateSP < want
}

// coastC is the warmest plate from which the melt does not coast past its target, up to
// most: by what the loops have learnt and, once they have found the plate's resting
// excess, by whoever sees more.
func (c *Cascade) coastC(m Measure, most float64) float64 {
	share := storedShare
	switch {
	case m.Doubted:
		share = doubtedShare
	case c.recovers(m):
		share = surelyShare
	}
	// The coast rests where the melt loop's integral says that the plate does.
	k := c.known.coast(c.pot, c.outer.Integral())
	coasts := m.MeltC + k.Gap(share*(m.TargetC-m.MeltC), most-m.MeltC)
	if c.recovers(m) {
		coasts = math.Min(coasts, m.CoastC)
	}
	return coasts
}

// recovers reports whether a melt that is too cold is so after it has been held: what the
// plate has to be is known, and all heat may be given until it coasts there.
func (c *Cascade) recovers(m Measure) bool { return c.rested && m.CoastC > 0 }

// feedForward is the duty that replaces what the plate gives off.
func (c *Cascade) feedForward(m Measure) float64 {
	w := c.pot.MeltJPerK*math.Max(m.MeltSlope, 0) + c.known.plateLossW(m.PlateC)
	return math.Min(w/c.pot.HeaterW, 1)
}

// begin starts both loops without a bump: the melt loop from the plate's
// expected resting excess, the plate loop from nothing.
func (c *Cascade) begin(m Measure) {
	c.running = true
	c.inner.Begin(0, m.PlateC, m.PlateC)
	if !c.began {
		c.began = true
		c.outer.SetIntegral(c.known.restingExcess(c.pot))
	}
}

// Excess is how much warmer than the held melt the plate is taken to be.
func (c *Cascade) Excess() float64 { return c.outer.Integral() }

// LeanTo moves the plate's resting excess, which the melt loop integrates, a share of
// the way to one that is known from elsewhere, until the loop has found its own; to no
// more than a pot may need, because a melt that never follows would take it anywhere.
//
// The bound takes nothing away of what the loop has found, or a melt that needs more would
// rest short of its target, what is found being taken back as fast as it is found.
func (c *Cascade) LeanTo(excess, share float64) {
	at := c.outer.Integral()
	if excess > at {
		excess = math.Max(at, math.Min(excess, mostLean*c.known.restingExcess(c.pot)))
	}
	if finite(excess, share) {
		c.outer.SetIntegral(at + (excess-at)*math.Min(share, 1))
	}
}

// Wary reports whether the pot has ever been doubted: there may be heat on its way that
// shows nowhere.
func (c *Cascade) Wary() bool { return c.wary }

// Found reports whether the loop has found the plate's resting excess by itself.
func (c *Cascade) Found() bool { return c.rested }

// retune follows what has been learnt. The melt loop's integral is the plate's
// resting excess whatever the gains, so it stays; far from the target its
// proportional part is bound by the coast, so that nothing jumps.
func (c *Cascade) retune(m Measure) {
	if g := c.outerGains(); g != c.outer.Gains() {
		excess := c.outer.Integral()
		c.outer.Retune(g, m.TargetC, m.MeltC)
		c.outer.SetIntegral(excess)
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
	c.settle(duty, dt)
	if c.guess != nil {
		c.guess.add(c.shown, duty, dt, c.pot)
	}
	// In a later recovery the guess must not take the place of what was learnt.
	if c.known.add(c.shown, duty, dt, c.pot) && !c.rested {
		c.outer.SetIntegral(c.known.restingExcess(c.pot))
	}
}

// settle has the melt loop integrate, where the melt's error says something about the
// plate's resting excess.
func (c *Cascade) settle(duty, dt float64) {
	m := c.seen
	if c.mayIntegrate(duty) {
		c.outer.Applied(c.plateSP-m.TargetC, m.TargetC, m.MeltC, dt, 0, false)
		c.rested = true
	} else if c.stuck(dt) {
		g := c.outer.Gains()
		c.outer.SetIntegral(c.outer.Integral() + g.Kp/g.Ti*(m.TargetC-m.MeltC)*dt)
	}
}

func saturated(duty float64) bool { return duty <= 0 || duty >= 1 }

// mayIntegrate reports whether the melt's error says anything about the plate's
// resting excess: the plate follows, nothing is saturated, bound or upset, and
// the melt is near its target or has stopped short of it.
func (c *Cascade) mayIntegrate(duty float64) bool {
	m := c.seen
	follows := math.Abs(m.PlateC-c.plateSP) < followsC && !saturated(duty)
	near := math.Abs(m.TargetC-m.MeltC) < nearC || math.Abs(m.MeltSlope) < stalledKS
	return follows && near && !c.bound && !m.Upset
}

// stuck reports whether the melt has rested short of its target for long, on a plate that
// rests where the coast lets it go no further: no coast comes, so the plate's resting
// excess is more than it is taken for, and nothing else would ever find it.
func (c *Cascade) stuck(dt float64) bool {
	m := c.seen
	rests := math.Abs(m.MeltSlope) < stalledKS && math.Abs(m.PlateSlope) < steadyKS && math.Abs(m.PlateC-c.plateSP) < followsC
	if c.bound && rests && m.MeltC < m.TargetC-stuckC && c.plateSP < m.LimitC-MarginC && !m.Upset {
		c.stuckS += dt
	} else {
		c.stuckS = 0
	}
	return c.stuckS > stuckForS
}

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

package cascade

import (
	"math"

	"meltwarden/control/coast"
)

// Estimates (E) by calculation, used before a pot has shown its own.
const (
	platePerW      = 0.65  // J/K of plate and element per rated watt
	couplingPerJPK = 0.003 // W/K between plate and melt per J/K of melt
	restingPerJPK  = 0.035 // W that a held pot loses by its surface and sides per J/K of melt
	plateLossPerW  = 3e-4  // W/K from plate to room per rated watt; low, so that the coast is not taken short
	roomC          = 21.0
	hotK           = 150.0 // above the room: no plate that loses all of its heater's power there brings a melt to its cure

	leastPlatePerW, mostPlatePerW = 0.15, 3.0 // J/K of plate and element per rated watt

	learnRiseC    = 60.0  // a plate rise that makes the balance worth believing
	learnMeltToC  = 70.0  // before the melt thickens and its probe stops speaking for all of it
	couplingGapC  = 25.0  // a gap that makes flow over gap worth believing
	couplingFromC = 125.0 // above the worst of the thickening stage
	learnS        = 60.0  // as long as a stir or two
	steadyKS      = 0.06  // slower than this a plate says what it loses
)

// balance learns from where the heat went.
type balance struct {
	plateJPerK float64
	coupling   float64 // W/K, plate to melt
	plateWPerK float64 // W/K, plate to room

	open   bool // the first rise is being watched
	begun  bool
	from   Measure
	joules float64
	dutyS  float64 // duty, low-passed like the slopes
}

func newBalance(p Pot) balance {
	return balance{
		plateJPerK: platePerW * p.HeaterW, coupling: couplingPerJPK * p.MeltJPerK,
		plateWPerK: plateLossPerW * p.HeaterW,
	}
}

// Known is what the loops of a pot have learnt of it.
type Known struct {
	// PlateJPerK is the heat capacity of plate and element in J/K.
	PlateJPerK float64
	// CouplingWK is from plate to melt, PlateLossWK from plate to room, in W/K.
	CouplingWK, PlateLossWK float64
}

// farOff is how many times what is guessed of a coupling it may be (E).
const farOff = 30.0

// Fits reports whether it can be said of a pot: bounds that what is learnt keeps to, or
// that no hot plate is beyond.
func (k Known) Fits(p Pot) bool {
	guess := couplingPerJPK * p.MeltJPerK
	return k.PlateJPerK >= leastPlatePerW*p.HeaterW && k.PlateJPerK <= mostPlatePerW*p.HeaterW &&
		k.CouplingWK >= guess/farOff && k.CouplingWK <= guess*farOff &&
		k.PlateLossWK >= 0 && k.PlateLossWK*hotK <= p.HeaterW
}

// Known returns what was learnt by now.
func (c *Cascade) Known() Known {
	return Known{c.known.plateJPerK, c.known.coupling, c.known.plateWPerK}
}

// Recall starts loops that have not run yet from what is known of their pot.
func (c *Cascade) Recall(k Known) {
	guess := c.known
	c.guess = &guess
	c.known.plateJPerK, c.known.coupling, c.known.plateWPerK = k.PlateJPerK, k.CouplingWK, k.PlateLossWK
}

// Forget goes on as if nothing had been known: with what was learnt since the start from
// no more than a guess.
func (c *Cascade) Forget() {
	if c.guess == nil {
		return
	}
	c.known, c.guess = *c.guess, nil
	if !c.rested {
		c.outer.SetIntegral(c.known.restingExcess(c.pot))
	}
}

// Resize goes on with some times the melt, above zero, and some times the coupling to it.
func (c *Cascade) Resize(melt, coupling float64) {
	c.pot.MeltJPerK *= melt
	c.known.coupling *= coupling
	if c.guess != nil {
		c.guess.coupling *= coupling
	}
}

func (b *balance) restingW(p Pot) float64 { return restingPerJPK * p.MeltJPerK }

// restingExcess is how much warmer than a held melt the plate has to be.
func (b *balance) restingExcess(p Pot) float64 { return b.restingW(p) / b.coupling }

func (b *balance) plateLossW(plateC float64) float64 {
	return b.plateWPerK * math.Max(0, plateC-roomC)
}

// coast is the model that follows from what is known, resting at an excess.
func (b *balance) coast(p Pot, restC float64) coast.Pot {
	return coast.Pot{
		PlateJPerK: b.plateJPerK, MeltJPerK: p.MeltJPerK, CouplingWK: b.coupling,
		PlateLossW: b.plateLossW(180), MeltLossW: math.Max(restC, 1) * b.coupling,
	}
}

// add takes in one cycle. It reports whether the coupling moved while the melt
// was still far from its target, so that the resting excess follows it.
func (b *balance) add(m Measure, duty, dt float64, p Pot) bool {
	const slopeFilterS = 10
	b.dutyS += (duty - b.dutyS) * math.Min(dt/slopeFilterS, 1)
	b.watchRise(m, duty*p.HeaterW*dt, p)
	return b.watchFlow(m, dt, p)
}

// watchRise learns the plate's heat capacity, element included, because its heat
// is on its way too: what the heater put in, less what the melt took up and the
// room got, over the plate's rise.
func (b *balance) watchRise(m Measure, joules float64, p Pot) {
	if !b.begun {
		b.begun, b.open, b.from = true, true, m
	}
	if !b.open {
		return
	}
	b.joules += joules
	rise := m.PlateC - b.from.PlateC
	if rise >= learnRiseC {
		plate := (b.joules - p.MeltJPerK*(m.MeltC-b.from.MeltC)) / rise
		b.plateJPerK = math.Min(math.Max(plate, leastPlatePerW*p.HeaterW), mostPlatePerW*p.HeaterW)
	}
	b.open = m.MeltC < learnMeltToC && rise < 2*learnRiseC
}

// watchFlow learns the coupling from the watts that enter the melt and the gap
// that drives them, and the plate's loss from what is left of the heater's.
func (b *balance) watchFlow(m Measure, dt float64, p Pot) bool {
	into, is := b.flow(m, dt, p)
	if !is {
		return false
	}
	share := math.Min(dt/learnS, 1)
	lost := (b.dutyS*p.HeaterW - into - b.plateJPerK*m.PlateSlope) / (m.PlateC - roomC)
	b.plateWPerK += (math.Max(lost, 0) - b.plateWPerK) * share
	return m.TargetC-m.MeltC > nearC
}

// flow learns the coupling alone, and returns the watts that enter the melt; false where
// they say nothing.
func (b *balance) flow(m Measure, dt float64, p Pot) (into float64, is bool) {
	gap := m.PlateC - m.MeltC
	if gap < couplingGapC || m.MeltC < couplingFromC || m.MeltSlope <= 0 || math.Abs(m.PlateSlope) > steadyKS {
		return 0, false
	}
	into = p.MeltJPerK*m.MeltSlope + b.restingW(p)
	b.coupling += (into/gap - b.coupling) * math.Min(dt/learnS, 1)
	return into, true
}

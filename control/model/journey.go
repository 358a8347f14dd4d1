package model

import (
	"math"

	"meltwarden/control/coast"
)

// Journey is what a pot still has to go through before it can be poured.
type Journey struct {
	// CureC is what the melt has to reach and to stay above for DwellS seconds, and
	// HeldC what it is held at meanwhile. A cured pot has DwellS zero and goes to
	// PourC at once.
	CureC, HeldC float64
	Cured        bool
	DwellS       float64
	// PourC and BandC are where it is poured, SteadyS how long it has to be there.
	PourC, BandC float64
	SteadyS      float64
	// PlateC is the most that its plate is heated to.
	PlateC float64
	// WaitS is for how many seconds it is kept at WaitC for the sake of others. What is
	// foreseen comes later by so much; the way is no longer by it.
	WaitC, WaitS float64
}

// LongestWayS is the longest way in seconds that is worth telling.
const LongestWayS = 2 * 3600.0

// Grades: E estimate; M from memory.
const (
	journeyStepS  = 1.0
	stirredOverS  = 120.0 // E: four stirs or so: over that the coupling is a mean
	arrivedC      = 0.3   // E: from here on the loop holds
	holdGain      = 5.0   // E: as the melt loop's, which is 1 to 6.5
	aimShare      = 0.85  // as the cascade's storedShare
	plateFollowsS = 5.0
	// approachS is what a melt takes longer than this to its cure temperature, because
	// the loop aims low, and until it is called steady: 30 to 80 s on pots that fit.
	approachS = 50.0

	// The thickening stage of raw paste (M: gelation papers): from gelC on the coupling
	// falls, to gelShare of itself at thickC, and comes back between looseC and thinC.
	gelC, thickC, looseC, thinC = 77.0, 90.0, 110.0, 140.0
	gelShare                    = 0.4 // E
)

// Way is what a journey takes at full power.
type Way struct {
	// S is in seconds: NaN where it is not known, +Inf where two hours are not enough.
	S float64
	// J is what the heater draws on it, in joules.
	J float64
	// CureS is how much of S the melt is below its cure temperature on its way up; zero of
	// one that is cured, +Inf of one that two hours do not bring there.
	CureS float64
}

// gel is what thickening leaves of the coupling of raw paste at its hottest so far, with
// the share that it leaves of it at its thickest.
func gel(c, share float64) float64 {
	switch {
	case c <= gelC || c >= thinC:
		return 1
	case c < thickC:
		return 1 - (1-share)*(c-gelC)/(thickC-gelC)
	case c <= looseC:
		return share
	}
	return share + (1-share)*(c-looseC)/(thinC-looseC)
}

// Ready is the way from now on at full power until the pot is ready to pour, as far as
// a hand does its part at once. What the melt goes through meanwhile is put into ahead,
// unless that is nil.
func (f *Filter) Ready(j Journey, ahead *Ahead) Way {
	see := lookout{into: ahead, mostC: max(j.HeldC, f.x[melt])}
	see.forget()
	if !f.begun {
		return Way{S: math.NaN(), J: math.NaN()}
	}
	sees, x := f.foreseen(), f.x
	approach := 0.0
	if !j.Cured && x[melt] < j.CureC {
		approach = approachS
	}
	way := Way{S: approach, CureS: approach}
	for !j.there(x[melt]) {
		see.stop(&j.WaitS, j.WaitC, x[melt])
		see.stop(&approach, j.CureC, x[melt])
		if !j.Cured && x[melt] < j.CureC {
			way.CureS += journeyStepS
		}
		way.J += sees.along(&x, &j, &see)
		if way.S += journeyStepS; way.S >= LongestWayS {
			way.S = math.Inf(1)
			if !j.Cured && x[melt] < j.CureC {
				way.CureS = way.S
			}
			return way
		}
	}
	for see.wants(aheadHeld) {
		sees.along(&x, &j, &see)
	}
	return way
}

// along goes one step of a journey, and returns the joules drawn in it.
func (s *foresight) along(x *vector, j *Journey, see *lookout) float64 {
	b := s.fall
	if !j.Cured {
		b = s.rise
		b.couplingWK *= gel(x[melt], s.gelShare)
	}
	w := b.pass(x, j.target(), j.PlateC)
	x[melt] = min(x[melt], see.mostC) // the way overshoots, and the loop does not
	see.pass(journeyStepS, x[melt])
	return w * journeyStepS
}

// there takes in a step at a melt's temperature, and reports whether all is done.
func (j *Journey) there(meltC float64) bool {
	if !j.Cured {
		if meltC >= j.CureC {
			j.DwellS -= journeyStepS
		}
		j.Cured = j.DwellS <= 0
		return false
	}
	if math.Abs(meltC-j.PourC) > j.BandC {
		return false
	}
	j.SteadyS -= journeyStepS
	return j.SteadyS <= 0
}

func (j *Journey) target() float64 {
	if j.Cured {
		return j.PourC
	}
	return j.HeldC
}

// pass lets a step go by in which the heater does what the loop would: all that the
// plate may have until what it holds brings the melt there, and then what it takes.
// It returns the watts drawn.
func (b *body) pass(x *vector, targetC, plateC float64) float64 {
	flow := b.flows(x)
	restC := b.restC(&flow)
	held := b.heldC(x, &flow)
	short := targetC - x[melt]
	aim := targetC + restC + holdGain*short
	if short > arrivedC {
		k := coast.Pot{
			PlateJPerK: b.elementJK + b.plateJK, MeltJPerK: b.meltJK + b.wallJK,
			CouplingWK: 1 / (1/b.contactWK + 1/b.couplingWK), PlateLossW: flow.plateLoss,
		}
		k.MeltLossW = restC * k.CouplingWK
		warm := (b.meltJK*x[melt] + b.wallJK*x[wall]) / k.MeltJPerK
		if aim = plateC; k.Rise(held-warm) >= aimShare*short {
			aim = warm // nothing more for now
		}
	}
	w := flow.in + flow.plateLoss + (b.elementJK+b.plateJK)*(min(aim, plateC)-held)/plateFollowsS
	w = min(max(w, 0), b.w)
	d := b.slopes(x, &flow, w/b.w)
	for i := range int(melt) + 1 {
		x[i] += d[i] * journeyStepS
	}
	return w
}

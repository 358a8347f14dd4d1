package control

import (
	"time"

	"meltwarden/control/guard"
	"meltwarden/control/model"
	"meltwarden/control/pour"
	"meltwarden/control/reading"
)

// A lift is marked, or noticed by what the readings do. Either takes the pot's heat away
// until a person says that it is back and presses the button; what is noticed wrongly ends
// in the same way. Until a lift is told from a stir or a draught, heat is only held back.

// Grades: E estimate.
const (
	markedBefore = 8 * time.Second // E: hands are full, so a lift is marked some seconds before or after
	markedAfter  = 4 * time.Second
	toldWithin   = 12 * time.Second // E: a pot that is noticed has been gone for longer
)

// lift takes in that somebody marked one.
func (p *pot) lift(here bool) {
	if !p.lifted || p.returned {
		p.open(markedBefore, -markedAfter)
	}
	p.lifted, p.noticed, p.returned, p.inBandFor = true, false, false, 0
	p.liftedHere = p.liftedHere || here
	p.loop.Moved()
}

// open begins the pour window of a pot that has left its plate some time between most and
// least ago: of one that could be shot then.
func (p *pot) open(most, least time.Duration) {
	lowerC := p.set.SetpointC - p.set.BandC
	if p.cured && p.melt.Valid() && p.melt.C() >= lowerC {
		p.window.Lift(most, least, lowerC)
	}
}

// notice looks whether the pot has left its plate without a word. While no heat may flow
// nothing depends on it.
func (p *pot) notice(mayHeat bool) {
	is, atMost := p.loop.Away()
	whole := p.set.Probes == reading.BothProbes // an unmarked lift shows only by both probes
	p.mayBeOff = mayHeat && whole && is == model.MaybeOff
	if !mayHeat || !whole || p.lifted || is != model.OffPlate {
		return
	}
	p.open(atMost, min(toldWithin, atMost))
	p.lifted, p.noticed, p.returned, p.inBandFor = true, true, false, 0
	p.loop.Moved()
}

// putBack is a press of the button on a pot that is said to be back.
func (p *pot) putBack() {
	p.lifted, p.noticed, p.returned, p.inBandFor = false, false, false, 0
	p.said.forget(Return)
	p.window.Return()
}

// outOf reports whether the melt of a lifted pot has become too cold to be shot in this
// cycle: it is called once.
func (p *pot) outOf() bool {
	over := p.window.Left().Over
	is := over && !p.wasOver && !p.returned
	p.wasOver = over
	return is
}

// seesOfLift is what the guard sees of it.
func (p *pot) seesOfLift(s *guard.PotSight) {
	s.Lifted, s.LiftNoticed, s.LiftSuspected = p.lifted, p.noticed, p.mayBeOff && !p.lifted
}

// reportLift writes what the frame says of it.
func (p *pot) reportLift(out *PotFrame) {
	out.Noticed, out.MaybeLifted = p.noticed, p.mayBeOff && !p.lifted
	if !p.returned {
		out.LooksBack, out.Pour = p.window.LooksBack(), p.window.Left()
	}
}

// leastLeft is the one that runs out first.
func leastLeft(pots []PotFrame) (least pour.Left) {
	for i := range pots {
		if l := pots[i].Pour; l.Known && (!least.Known || l.Over && !least.Over || l.In < least.In) {
			least = l
		}
	}
	return least
}

package guard

import (
	"time"

	"meltwarden/control/reading"
)

// pot is what is remembered of one pot.
type pot struct {
	found       []finding // by Code
	phase       Phase
	waits       bool // the last press reset a trip of it; the next one lets it heat
	ratedW      float64
	whole       bool // it may draw all of that while it is told less
	melt, plate probe
	probes      reading.Probes // those that it has

	follow              follow
	meltFall, plateFall fall
	reversed            reversed
	doubts              [HeaterDead - MeltImplausible + 1]doubted // by Code, from MeltImplausible
	heater              heater
	strength            strength
	crossing            crossing
	budget              budget
	warming             warming
	onPlate             backSince
	unread              unread
}

// lookAtPot updates the findings of one pot.
func (g *Guard) lookAtPot(i int, s *PotSight, took time.Duration) {
	p, elapsed := &g.pots[i], watched(took)
	p.ratedW, p.whole, p.phase, p.probes = s.RatedW, s.Whole, phaseOf(s), s.Probes
	p.budget.book(s, took)
	p.onPlate.look(s.Lifted, took)
	p.unread.look(s, g.limits.MeltTripC, took)
	g.lookAtProbes(p, s, took)
	p.heater.look(s.Duty, &p.plate.trend, elapsed, took)
	g.lookForFalls(p, s, elapsed)
	g.lookAtHeater(p, s, elapsed)
	g.lookAtTemperatures(p, s, elapsed)
	g.lookAtLift(p, s, elapsed)
	g.lookAtController(p, &s.Controller, s.Plate, elapsed)
	g.note(p.found, HeldLong, s.HeldFor >= g.limits.HeldLong, elapsed)
}

// mostW is what the heater may draw at an instant, in watts, while it is told a duty.
func (p *pot) mostW(duty float64) float64 {
	if p.whole {
		return p.ratedW
	}
	return duty * p.ratedW
}

func phaseOf(s *PotSight) (p Phase) {
	if s.Coloured {
		p |= AfterColour
	}
	if s.Lifted {
		p |= OffItsPlate
	}
	return p
}

// lookAtProbes judges both readings by themselves.
func (g *Guard) lookAtProbes(p *pot, s *PotSight, took time.Duration) {
	melt, plate := absent, absent
	if p.probes.HasMelt() {
		melt = p.melt.look(s.Melt, took, p.meltMustMove(s))
	}
	if p.probes.HasPlate() {
		plate = p.plate.look(s.Plate, took, s.Duty >= realDuty)
	}
	f, elapsed := p.found, watched(took)
	f[MeltUnusable].cameOf(melt.unusable, melt.silent)
	f[PlateUnusable].cameOf(plate.unusable, plate.silent)
	f[PotUnseen].cameOf(melt.untrusted() && plate.untrusted(), melt.silent && plate.silent)
	g.note(f, PotUnseen, melt.untrusted() && plate.untrusted(), elapsed)
	g.note(f, MeltUnusable, melt.unusable, elapsed)
	g.note(f, PlateUnusable, plate.unusable, elapsed)
	g.noteDoubted(p, MeltImplausible, melt.implausible, s, elapsed)
	g.noteDoubted(p, PlateImplausible, plate.implausible, s, elapsed)
	g.note(f, MeltFrozen, melt.frozen, elapsed)
	g.note(f, PlateFrozen, plate.frozen, elapsed)
	g.note(f, MeltNoisy, p.melt.noise.sigma() >= noisyC, elapsed)
	g.note(f, PlateNoisy, p.plate.noise.sigma() >= noisyC, elapsed)
}

// lookForFalls finds readings that do not do what their heater makes them do.
func (g *Guard) lookForFalls(p *pot, s *PotSight, elapsed time.Duration) {
	f, melt, plate := p.found, &p.melt.trend, &p.plate.trend
	falls := p.meltFall.look(melt, fastFallC, elapsed)
	lost := p.meltFall.lost(melt, s.Coloured) && !s.Lifted
	stuck := p.follow.look(s, melt, falls, elapsed) || p.warming.look(s, melt, falls, elapsed)
	g.note(f, FastFall, falls, elapsed)

	heated := s.Duty >= realDuty && p.heater.duty >= realDuty || p.plateFall.falling
	plateFalls := heated && p.plateFall.look(plate, plateFastFallC, elapsed)
	if !heated {
		p.plateFall = fall{fromC: plate.c}
	}
	below := plateFalls && p.belowMelt() && !s.Lifted
	g.note(f, PlateFastFall, plateFalls, elapsed)

	meltWrong, plateWrong := p.reversed.look(s, melt, plate, elapsed)
	g.noteDoubted(p, MeltNotFollowing, lost || stuck && !meltWrong, s, elapsed)
	g.noteDoubted(p, MeltReversed, meltWrong, s, elapsed)
	g.noteDoubted(p, PlateNotFollowing, below, s, elapsed)
	g.noteDoubted(p, PlateReversed, plateWrong, s, elapsed)
}

// noteDoubted updates a finding whose cause can not show once its trip has taken
// the heat away, or that of a hot probe whose reading has leapt, with heat blocked too:
// it stays until somebody has seen to the probe, or the pot is cold.
func (g *Guard) noteDoubted(p *pot, c Code, active bool, s *PotSight, elapsed time.Duration) {
	d, f, t, probe := &p.doubts[c-MeltImplausible], &p.found[c], s.Melt, &p.melt
	switch c {
	case PlateImplausible, PlateNotFollowing, PlateReversed, HeaterDead:
		t, probe = s.Plate, &p.plate
	}
	was, doubtful := f.latched, d.doubtful
	lasts := doubtful && d.look(c, s, t, probe, elapsed)
	g.note(p.found, c, active || lasts, elapsed)
	leapt := c.leaps() && active && probe.leapt.fromC >= TouchC && t.C < probe.leapt.fromC && f.held >= table[c].after
	if !doubtful && (leapt || !was && f.latched) {
		d.begin(c, t.C, probe)
	}
}

// lookAtHeater finds heaters that do not do what they are told.
func (g *Guard) lookAtHeater(p *pot, s *PotSight, elapsed time.Duration) {
	f, melt, plate := p.found, &p.melt.trend, &p.plate.trend
	risesNot := p.heater.risesNot(plate, melt, p.probes, elapsed)
	g.note(f, NoRise, risesNot, elapsed)
	g.noteDoubted(p, HeaterDead, risesNot, s, elapsed)
	weak := !s.Controller.Is && p.strength.look(s.Duty, plate, melt, elapsed) // nobody knows what a controller gives
	g.note(f, HeaterWeak, weak, elapsed)
}

// lookForRunaway finds a plate that rises though its heater is told zero.
func (g *Guard) lookForRunaway(i int, elapsed time.Duration) {
	p := &g.pots[i]
	rises := p.risesOff(g.limits.MeltTripC, elapsed)
	g.note(p.found, RiseWhileOff, rises && !g.suspected(i), elapsed)
}

// lookAtTemperatures holds the readings against their limits.
func (g *Guard) lookAtTemperatures(p *pot, s *PotSight, elapsed time.Duration) {
	f, t, hot := p.found, &p.melt.trend, s.hotMelt()
	// "Not below" instead of "above": a limit that is no number trips at once.
	g.note(f, MeltOverTemperature, over(hot, g.limits.MeltTripC, f[MeltOverTemperature].latched), elapsed)
	g.note(f, PlateOverTemperature, p.unread.tooLong || over(s.Plate, s.plateTripC(g.limits.PlateTripC), f[PlateOverTemperature].latched), elapsed)
	warnAt := g.limits.MeltWarnC
	if f[MeltHigh].active {
		warnAt -= warnDeadbandC
	}
	g.note(f, MeltHigh, measured(hot) && hot.C >= warnAt, elapsed)
	forecast := t.c + t.slope()*s.leadS()
	g.note(f, MeltForecast, t.seen && t.slope() > overshootSlopeC && forecast >= g.limits.MeltTripC, elapsed)
}

// over reports whether a temperature is over its limit; once that has tripped, it
// is over until it has cooled well below.
func over(t reading.Temperature, limitC float64, tripped bool) bool {
	if tripped {
		limitC -= coolDeadbandC
	}
	return measured(t) && !(t.C < limitC)
}

// knownHot reports whether anything was too hot to touch when it was last seen.
func (g *Guard) knownHot() bool {
	for i := range g.pots {
		for _, p := range g.pots[i].wired() {
			if p.seen && p.last >= g.pots[i].touchC() {
				return true
			}
		}
	}
	return false
}

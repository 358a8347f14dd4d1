package control

import (
	"math"
	"time"

	"meltwarden/control/cascade"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// All pots are pushed at one moment, so they have to be ready at one. Each needs some
// time from now on at full power, and who needs the longest decides; the others wait
// where they do not age, and who is latest has the circuit first. They set out again
// early, because a way is not known any better: one that turns out to be early after all
// waits once more on its way up, and what is left is made up for on the way down from the
// cure, just over the band. Grades: E estimate, tuned on twelve random parties of seed 1.
const (
	plannedOver = 10               // cycles in which every pot's way is worked out once
	waitsAtC    = 142.0            // E: past the thickening, which is hard to foresee, and not yet ageing
	waitsUnderC = 7.0              // E: a melt this near where it gets goes on
	waitsMost   = 45 * time.Minute // E: one that never gets there must not keep the others
	waitsS      = 20.0             // E: nobody begins to wait for less than this,
	waitsShare  = 0.4              // E: and this share of its own way, nor goes on for less than half of both
	staysShare  = 0.08             // E: of one that is poured where it cures, and can not pause on a way down
	comesLastS  = 40.0             // E: so it sets out so much later than those that can,
	comesShare  = 0.1              // E: and this share of its own way
	pausesOverC = 1.5              // E: a cured pot pauses so far over its band,
	pausesMost  = 15 * time.Minute // E: no longer, because it is not called ready meanwhile,
	pausesForS  = 10.0             // E: and likewise not for less than this,
	pausesShare = 0.1              // E: and this share, as it is known better by then
	lateS       = 80.0             // E: a pot that is so much later has e times the weight on the circuit
	showsC      = 50.0             // E: a plate this warm has answered its heater
	unshown     = 6.0              // E: until then, this much weight, or a broken heater would show late
	arrivedC    = 6.0              // E: a melt this near where it gets is held, before anybody is heated
	coastsDuty  = 0.1              // E: less than a hot plate loses, so that the melt lives on what it holds,
	heatsDuty   = 0.5              // E: and more than a pot is held with
	heldFirst   = 100.0
)

// journey is what the pot still has to go through.
func (p *pot) journey() model.Journey {
	return model.Journey{
		CureC: p.set.CureC, HeldC: p.goal(), Cured: p.cured || p.uncured, DwellS: (p.set.Dwell - p.dwelled).Seconds(),
		PourC: p.set.SetpointC, BandC: p.set.BandC, SteadyS: (p.set.SteadyFor - p.inBandFor).Seconds(),
		PlateC: p.set.PlateLimitC - cascade.MarginC,
		WaitC:  math.Max(p.target(), p.melt.C()), WaitS: p.spareS,
	}
}

// onItsWay reports whether the pot may be heated and is not there yet.
func (p *pot) onItsWay(mayHeat bool) bool { return mayHeat && p.believed && !p.lifted }

// plan works out a pot's way in every cycle, one after the other, and with it who
// waits and who is served first.
func (b *Bench) plan(elapsed time.Duration) {
	turn := int(b.cycle % uint64(max(plannedOver, len(b.pots))))
	latestS, pausesS := 0.0, 0.0
	for i, p := range b.pots {
		if p.set.Probes != reading.BothProbes || p.set.Controller.Is() {
			p.way.S = math.NaN() // nobody can foretell what is not seen
		} else if p.set.FirstHeat.Is() {
			p.way.S, p.peakC = math.NaN(), p.loop.PeakC() // no pour is on the way
		} else if i == turn {
			p.way = p.loop.Ready(p.journey(), &p.ahead)
			p.peakC = p.loop.PeakC()
		} else if p.way.S == 0 {
			p.way = p.loop.Ready(p.journey(), nil)
		}
		if p.onItsWay(b.guard.PotMayHeat(i)) && !math.IsNaN(p.way.S) {
			latestS = max(latestS, p.way.S)
			if !p.straight() {
				pausesS = max(pausesS, p.way.S)
			}
		}
	}
	for i, p := range b.pots {
		b.need[i] = p.urgency(latestS)
		spareS := latestS - p.way.S
		if p.straight() && pausesS > 0 {
			spareS = max(spareS, pausesS-p.way.S+comesLastS+comesShare*p.way.S)
		}
		p.wait(spareS, elapsed)
		p.follow(b.guard.PotMayHeat(i), elapsed)
	}
}

// straight reports whether the pot is poured where it cures: once there, it is ready, and
// can not make up for having come early.
func (p *pot) straight() bool { return p.set.SetpointC+p.set.BandC >= p.set.CureC }

// urgency is a pot's weight where the circuit can not serve all.
func (p *pot) urgency(latestS float64) float64 {
	switch {
	case !p.known():
		return 0
	case math.Abs(p.goal()-p.melt.C()) < arrivedC:
		return heldFirst
	case p.plate.C() < showsC:
		return unshown
	case math.IsNaN(p.way.S) || math.IsInf(p.way.S, 0):
		return 1
	case math.IsInf(latestS, 0):
		latestS = model.LongestWayS
	}
	return math.Exp((p.way.S - latestS) / lateS)
}

// falls reports whether the pot is on its way down from the cure.
func (p *pot) falls() bool { return p.cured && p.melt.C() > p.set.SetpointC }

// wait lets a pot that would be ready so many seconds before the others wait for them.
func (p *pot) wait(spareS float64, elapsed time.Duration) {
	spent, most := &p.waited, waitsMost
	if p.falls() {
		spent, most = &p.paused, pausesMost
	}
	left := (most - *spent).Seconds()
	p.waiting = left > 0 && p.mayWait(spareS)
	if p.spareS = 0; p.waiting {
		*spent += elapsed
		p.spareS = min(spareS, left)
	}
}

// mayWait reports whether a pot with some time to spare is where it can wait, and that is
// worth it.
func (p *pot) mayWait(spareS float64) bool {
	least, can := waitsS+waitsShare*p.way.S, (p.cured || p.uncured || p.dwelled == 0) && p.melt.C() < p.goal()-waitsUnderC
	if p.straight() {
		least = waitsS + staysShare*p.way.S
	}
	if p.falls() {
		least, can = pausesForS+pausesShare*p.way.S, p.melt.C() > p.set.SetpointC+p.set.BandC*bandSlack
	}
	if p.waiting {
		least /= 2 // or a stir would send it on and call it back
	}
	return can && p.melt.Valid() && spareS > least
}

// foreseen is the melt of the coming minutes; nothing of a pot that is not heated, or that
// the model has been found wrong about.
func (p *pot) foreseen(mayHeat bool) model.Ahead {
	if !p.onItsWay(mayHeat) || !p.loop.Trusted() {
		return model.NothingAhead()
	}
	return p.ahead
}

// How far off such a word was in 9 of 10 first heat-ups of the zoo, as a share of what
// was left (E): before the thickening is over, and after.
const (
	offBefore, offAfter = 0.35, 0.2
	offLeast            = 20 * time.Second
	// offRecalled is that of second evenings whose pot was known by its first.
	offRecalled = 0.17
)

// readyIn is the pot's way as a time, and how far that may be off; negative when not
// known.
func (p *pot) readyIn() (in, within time.Duration) {
	s, off := p.way.S, offAfter
	if p.creep.is() {
		s += p.creepS() - p.way.CureS
	}
	if in = seconds(s); in < 0 || p.lifted {
		return -1, 0
	}
	if p.melt.C() < waitsAtC && !p.cured {
		off = offBefore
	}
	switch {
	case p.creep.is():
		off = offCreeping
	case p.loop.Foresees():
		off = offRecalled
	}
	return in, max(offLeast, time.Duration(off*float64(in)))
}

// allReadyIn is when every pot is ready: as late as the latest, and not before the
// circuit has brought all of them the heat they need.
func (b *Bench) allReadyIn(out *Frame) (in, within time.Duration) {
	joules := 0.0
	for i := range out.Pots {
		p := &out.Pots[i]
		if p.ReadyIn < 0 || out.Heat != HeatEnabled {
			return -1, 0
		}
		if p.ReadyIn > in {
			in, within = p.ReadyIn, p.ReadyWithin
		}
		joules += b.pots[i].way.J
	}
	byCircuit := time.Duration(joules / b.settings.Circuit.ContinuousW * float64(time.Second))
	return max(in, byCircuit), within
}

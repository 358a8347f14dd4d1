package control

import (
	"math"
	"time"

	"meltwarden/control/cascade"
	"meltwarden/control/model"
)

// All pots are pushed at one moment, so they have to be ready at one. Each needs some
// time from now on at full power, and who needs the longest decides; the others wait
// where they do not age, and who is latest has the circuit first. Grades: E estimate.
const (
	plannedOver = 10               // cycles in which every pot's way is worked out once
	waitsAtC    = 142.0            // E: past the thickening, which is hard to foresee, and not yet ageing
	waitsBelowC = 147.0            // E: from there on nobody waits any more
	waitsMost   = 45 * time.Minute // E: one that never gets there must not keep the others
	waitsS      = 10.0             // E: nobody begins to wait for less than this,
	waitsShare  = 0.08             // E: and this share of its own way, which is not known any better
	lateS       = 120.0            // E: a pot that is so much later has e times the weight on the circuit
	showsC      = 50.0             // E: a plate this warm has answered its heater
	unshown     = 6.0              // E: until then, this much weight, or a broken heater would show late
	arrivedC    = 6.0              // E: a melt this near where it gets is held, before anybody is heated
	heldFirst   = 100.0
)

// journey is what the pot still has to go through.
func (p *pot) journey() model.Journey {
	return model.Journey{
		CureC: p.set.CureC, HeldC: p.goal(), Cured: p.cured, DwellS: (p.set.Dwell - p.dwelled).Seconds(),
		PourC: p.set.SetpointC, BandC: p.set.BandC, SteadyS: (p.set.SteadyFor - p.inBandFor).Seconds(),
		PlateC: p.set.PlateLimitC - cascade.MarginC,
		WaitC:  p.target(), WaitS: p.spareS,
	}
}

// onItsWay reports whether the pot may be heated and is not there yet.
func (p *pot) onItsWay(mayHeat bool) bool { return mayHeat && p.believed && !p.lifted }

// plan works out a pot's way in every cycle, one after the other, and with it who
// waits and who is served first.
func (b *Bench) plan(elapsed time.Duration) {
	turn := int(b.cycle % uint64(max(plannedOver, len(b.pots))))
	latestS := 0.0
	for i, p := range b.pots {
		if i == turn {
			p.way = p.loop.Ready(p.journey(), &p.ahead)
		} else if p.way.S == 0 {
			p.way = p.loop.Ready(p.journey(), nil)
		}
		if p.onItsWay(b.guard.PotMayHeat(i)) && !math.IsNaN(p.way.S) {
			latestS = max(latestS, p.way.S)
		}
	}
	for i, p := range b.pots {
		b.need[i] = p.urgency(latestS)
		p.spareS = 0
		if p.waiting = p.waits(latestS); p.waiting {
			p.waited += elapsed
			p.spareS = min(latestS-p.way.S, (waitsMost - p.waited).Seconds())
		}
	}
}

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

// waits decides whether a pot that would be ready before the others is to wait.
func (p *pot) waits(latestS float64) bool {
	least := waitsS + waitsShare*p.way.S
	if p.waiting {
		least /= 2 // or a stir would send it on and call it back
	}
	return latestS-p.way.S > least && p.waited < waitsMost && p.melt.Valid() && p.melt.C() < waitsBelowC
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
	if math.IsNaN(p.way.S) || math.IsInf(p.way.S, 0) || p.lifted {
		return -1, 0
	}
	off := offAfter
	if p.melt.C() < waitsAtC && !p.cured {
		off = offBefore
	}
	if p.loop.Foresees() {
		off = offRecalled
	}
	in = time.Duration(p.way.S * float64(time.Second))
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

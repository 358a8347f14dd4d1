// Package rig runs a loop on a plant of the zoo and measures what became of the
// true temperatures. It is for tests only. All randomness is the source it is given.
package rig

import (
	"math"
	"math/rand/v2"
	"time"

	"meltwarden/control/judge/zoo"
	"meltwarden/control/reading"
)

// BandC is how far from its target, either way, the true melt still counts as there.
const BandC = 1.0

// Mark is what a person said about the pot, with ML of it in millilitres, zero where that
// was left out.
type Mark struct {
	Kind Kind
	ML   float64
}

// Kind is what a mark is about.
type Kind uint8

// The kinds of mark.
const (
	Stir   Kind = iota // a hand begins to stir
	Colour             // something cold was added
	Draw
	Lift
	Return // it is back, and the button has been pressed
)

// View is what is known in a cycle.
type View struct {
	Melt, Plate          reading.Temperature
	TargetC, PlateLimitC float64
	Elapsed              time.Duration // since the previous cycle; zero in the first
	Marks                []Mark        // reused by the next cycle
}

// Loop is what is judged: one pot's controller.
type Loop interface {
	// Step returns the duty, 0 to 1, for what is known in this cycle.
	Step(v *View) float64
	// Applied tells what is really given, of a relay's windows in the mean, and what of
	// it the heater draws now, for dt seconds.
	Applied(duty, drawn, dt float64)
}

// Known is all that a controller is told before: what stands on the heater, the
// volume as typed, and the plate's limit.
type Known struct{ RatedW, TypedML, PlateLimitC float64 }

// KnownOf is what is known of a pot.
func KnownOf(s *zoo.Spec) Known { return Known{s.RatedW, s.TypedML(), s.PlateLimitC} }

// Options are how loop and plant are joined.
type Options struct {
	Period time.Duration // in whole steps of the zoo
	// Age is how old a reading is in the cycle that first sees it.
	Age time.Duration
	// LostOneIn is how many readings there are to one that never comes, of each
	// probe by itself; zero loses none. The one before it grows older in its place.
	LostOneIn int
	// Window is the relay's, switched as on the bench. Zero gives the duty.
	Window time.Duration
	// See, where it is set, is shown every cycle after the loop's step.
	See func(atS float64, p *zoo.Plant, v *View, duty float64)
}

// Usual are five cycles a second and fresh readings.
func Usual() Options { return Options{Period: 200 * time.Millisecond, Age: 50 * time.Millisecond} }

// Late are readings that are 0.3 s old, one in fifty of them missing.
func Late() Options {
	return Options{Period: 200 * time.Millisecond, Age: 300 * time.Millisecond, LostOneIn: 50}
}

// Phase is a part of a run with one target.
type Phase struct {
	TargetC float64
	ForS    float64 // in whole cycles
	Events  []zoo.Event
}

// Outcome is what became of the true temperatures in a phase. Times are seconds
// from its beginning; the bulk is the mean of all the melt.
type Outcome struct {
	// IntoS is when the bulk came to stay within BandC of the target; +Inf where it
	// had not at the end.
	IntoS float64
	// OverC and UnderC are how far the melt's top went over the target, and the bulk
	// under it, once the bulk had been within BandC; OverAllC and UnderAllC
	// are the same at any time.
	OverC, UnderC, OverAllC, UnderAllC float64
	// OverLateC is over the target after IntoS.
	OverLateC float64
	// PlateOverC is the most by which the plate was over its limit, negative below it;
	// ShownPlateOverC is the same less the plate probe's constant error.
	PlateOverC, ShownPlateOverC float64
	// RMSC and MeanC are of the bulk about the target over the whole phase.
	RMSC, MeanC float64
	// ShownRMSC is RMSC about the target less the melt probe's constant offset: about
	// the bulk of which the probe shows the target. Nobody who has only the probe can
	// hold any other.
	ShownRMSC float64
	// LayerC is how far the unstirred layer, or the melt, is from the target at the end.
	LayerC  float64
	EnergyJ float64 // what the heater drew
}

// Run lets a loop run a plant through phases, one outcome each.
func Run(p *zoo.Plant, loop Loop, o Options, from *rand.Rand, phases []Phase) []Outcome {
	r := rig{plant: p, loop: loop, o: o, line: newLine(o, from), window: newWindow(o)}
	r.view.PlateLimitC = p.Spec().PlateLimitC
	all := make([]Outcome, len(phases))
	for i := range phases {
		all[i] = r.phase(&phases[i])
	}
	return all
}

// steps is a duration in whole steps of the zoo.
func steps(d time.Duration) int { return int(math.Round(d.Seconds() / zoo.StepS)) }

type rig struct {
	plant    *zoo.Plant
	loop     Loop
	o        Options
	line     line
	window   window
	view     View
	step     int
	stirring bool
	duty     float64
}

func (r *rig) phase(ph *Phase) Outcome {
	t := newTally(ph.TargetC, r.plant)
	r.view.TargetC = ph.TargetC
	next, energy := 0, r.plant.Ledger().InJ
	for n := range steps(time.Duration(ph.ForS * float64(time.Second))) {
		atS := float64(n) * zoo.StepS
		for next < len(ph.Events) && ph.Events[next].AtS <= atS {
			r.happen(ph.Events[next])
			next++
		}
		r.tick(&t, atS)
	}
	out := t.outcome()
	out.EnergyJ = r.plant.Ledger().InJ - energy
	return out
}

// happen changes the plant, and tells the loop what is told.
func (r *rig) happen(e zoo.Event) {
	r.plant.Happen(e)
	if !e.Told {
		return
	}
	switch e.Kind {
	case zoo.Colour, zoo.Salt, zoo.Refill:
		r.mark(Colour, r.toldML(e))
	case zoo.Draw:
		r.mark(Draw, r.toldML(e))
	case zoo.Lift:
		r.mark(Lift, 0)
	case zoo.Return:
		r.mark(Return, 0)
	}
}

func (r *rig) mark(k Kind, ml float64) { r.view.Marks = append(r.view.Marks, Mark{k, ml}) }

// toldML is how much of something the loop hears of, in millilitres; zero is not said.
func (r *rig) toldML(e zoo.Event) float64 {
	switch {
	case !e.Measured:
		return 0
	case e.Kind == zoo.Colour:
		return e.Amount
	}
	return e.Amount * r.plant.Spec().VolumeML
}

// tick is one step of the plant, with a cycle of the loop where one is due.
func (r *rig) tick(t *tally, atS float64) {
	r.line.sample(r.step, r.plant)
	if stirring := r.plant.Stirring(); stirring != r.stirring {
		r.stirring = stirring
		if stirring {
			r.mark(Stir, 0)
		}
	}
	if r.step%r.line.period == 0 {
		t.see(atS, r.plant)
		r.cycle(atS)
	}
	r.plant.Step(r.duty)
	r.step++
}

func (r *rig) cycle(atS float64) {
	v := &r.view
	v.Melt, v.Plate = r.line.melt.at(r.step), r.line.plate.at(r.step)
	asked := r.loop.Step(v)
	if !(asked > 0 && asked <= 1) {
		asked = 0 // as the guard does: a loop that asks for more than there is is broken
	}
	var mean float64
	r.duty, mean = r.window.tick(asked)
	r.loop.Applied(mean, r.duty, r.o.Period.Seconds())
	if r.o.See != nil {
		r.o.See(atS, r.plant, v, r.duty)
	}
	v.Elapsed, v.Marks = r.o.Period, v.Marks[:0]
}

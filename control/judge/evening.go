package judge

import (
	"math/rand/v2"

	"meltwarden/control/judge/limit"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// What an evening heats to: a cure temperature of 171 °C and the bench's margin of
// 1 °C, then an injection temperature (C).
const (
	CureC = 172.0
	PourC = 165.0
)

// The phases of an evening.
const (
	HeatUp = iota // from the room to the cure temperature
	Hold          // there
	Cool          // into the band of the injection temperature
	Cold          // 20 mL of cold colour, announced
	phases
)

const minuteS = 60.0

func coldColour() []zoo.Event { return []zoo.Event{{Kind: zoo.Colour, Amount: 20, Told: true}} }

// Evening is what every loop is judged by. Phases are whole minutes, so that a
// hand's habit is as far in each as in the limit's.
func Evening() []rig.Phase {
	return []rig.Phase{
		HeatUp: {TargetC: CureC, ForS: 60 * minuteS},
		Hold:   {TargetC: CureC, ForS: 30 * minuteS},
		Cool:   {TargetC: PourC, ForS: 30 * minuteS},
		Cold:   {TargetC: PourC, ForS: 40 * minuteS, Events: coldColour()},
	}
}

// Pot is a pot with the limits of its evening; where a phase has none, zero.
type Pot struct {
	Spec  zoo.Spec
	Limit [phases]limit.Result
}

// NewPot finds a pot's limits: a tenth of a second, so do it once.
func NewPot(s zoo.Spec) *Pot {
	p := &Pot{Spec: s}
	into := func(b zoo.Body, targetC float64, events []zoo.Event) limit.Result {
		return limit.Into(b, limit.Task{TargetC: targetC, BandC: rig.BandC, PlateLimitC: s.PlateLimitC, Events: events})
	}
	p.Limit[HeatUp] = into(zoo.New(&p.Spec, zoo.Start{}).Body, CureC, nil)
	p.Limit[Cool] = into(limit.Held(&p.Spec, CureC), PourC, nil)
	p.Limit[Cold] = into(limit.Held(&p.Spec, PourC), PourC, coldColour())
	return p
}

// NewPots finds the limits of many.
func NewPots(specs []zoo.Spec) []*Pot {
	var all []*Pot
	for _, s := range specs {
		all = append(all, NewPot(s))
	}
	return all
}

// RandomPots draws a number of pots with their limits.
func RandomPots(n int, seed uint64) []*Pot {
	from := rand.New(rand.NewPCG(seed, 1))
	var all []*Pot
	for range n {
		all = append(all, NewPot(zoo.Sample(from)))
	}
	return all
}

// Run lets a loop have an evening with the pot; the seed is of the readings.
func (p *Pot) Run(loop rig.Loop, o rig.Options, seed uint64) []rig.Outcome {
	plant := zoo.New(&p.Spec, zoo.Start{})
	return rig.Run(&plant, loop, o, rand.New(rand.NewPCG(seed, 2)), Evening())
}

// Known is what a loop is told of the pot.
func (p *Pot) Known() rig.Known { return rig.KnownOf(&p.Spec) }

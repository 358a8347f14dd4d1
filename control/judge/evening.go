package judge

import (
	"math/rand/v2"
	"strconv"

	"meltwarden/control/judge/limit"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// What an evening heats to: a cure temperature of 171 °C and the bench's margin of
// 1 °C, then an injection temperature (C).
const (
	CureC = 172.0
	PourC = 165.0
	// HotC is from where on a melt is said to age.
	HotC = 150.0
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
	p.Limit[HeatUp] = p.into(zoo.New(&p.Spec, zoo.Start{}).Body, CureC, nil)
	p.Limit[Cool] = p.into(limit.Held(&p.Spec, CureC), PourC, nil)
	p.Limit[Cold] = p.into(limit.Held(&p.Spec, PourC), PourC, coldColour())
	return p
}

func (p *Pot) into(b zoo.Body, targetC float64, events []zoo.Event) limit.Result {
	return limit.Into(b, limit.Task{TargetC: targetC, BandC: rig.BandC, PlateLimitC: p.Spec.PlateLimitC, Events: events, HotC: HotC})
}

// NewPots finds the limits of many.
func NewPots(specs []zoo.Spec) []*Pot {
	var all []*Pot
	for _, s := range specs {
		all = append(all, NewPot(s))
	}
	return all
}

// slowestS is the slowest heat-up that anybody would wait for, with everything known
// (E): the trade expects 8 to 20 minutes.
const slowestS = 40 * minuteS

// RandomPots draws a number of pots with their limits, and says how many it refused
// because no loop could heat them in 40 minutes, if at all.
func RandomPots(n int, seed uint64) (pots []*Pot, refused int) {
	from := rand.New(rand.NewPCG(seed, 1))
	for len(pots) < n {
		s := zoo.Sample(from)
		s.Name = "random " + strconv.Itoa(len(pots)+1)
		if p := NewPot(s); p.Limit[HeatUp].IntoS <= slowestS {
			pots = append(pots, p)
		} else {
			refused++
		}
	}
	return pots, refused
}

// Maker makes a new loop for a pot of which so much is known.
type Maker func(rig.Known) rig.Loop

// Run lets a new loop have an evening with the pot. The seed is of the readings, and
// of what the maker gets wrong about the pot.
func (p *Pot) Run(loop Maker, o rig.Options, seed uint64) []rig.Outcome {
	return p.run(loop, o, seed, zoo.Start{}, Evening())
}

func (p *Pot) run(loop Maker, o rig.Options, seed uint64, start zoo.Start, evening []rig.Phase) []rig.Outcome {
	s := p.Spec
	from := rand.New(rand.NewPCG(seed, stream(s.Name)))
	s.Misjudge(from)
	plant := zoo.New(&s, start)
	return rig.Run(&plant, loop(rig.KnownOf(&s)), o, from, evening)
}

// stream is a stream of random numbers for every pot of another name.
func stream(name string) (n uint64) {
	for _, b := range []byte(name) {
		n = 31*n + uint64(b)
	}
	return n
}

// Hold lets a new loop go through other phases with the raw pot.
func (p *Pot) Hold(loop Maker, o rig.Options, seed uint64, phases []rig.Phase) []rig.Outcome {
	return p.run(loop, o, seed, zoo.Start{}, phases)
}

package judge

import (
	"math"
	"math/rand/v2"
	"time"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/reading"
)

// What a maker with a kitchen thermometer does (E): types what it shows every few
// minutes, and whenever the pot waits for it. It is off by up to HandOffC in all, half of
// it all evening long.
const (
	HandEvery = 3 * time.Minute
	HandOffC  = 1.5
	handTakes = 20 * time.Second
	coldC     = 21.0 // where a thermometer that reads low in a hot melt reads right
)

// Half is a whole bench of one pot with one probe, guard and all, and the maker beside
// it. It heats to CureC until it is told another target, and is cured then.
type Half struct {
	bench   *control.Bench
	probes  reading.Probes
	in      control.Input
	f       control.Frame
	now     time.Duration
	from    *rand.Rand
	biasC   float64
	lowC    float64 // at CureC the thermometer reads so much too low besides
	typesIn time.Duration
	unread  time.Duration // since the maker last typed
	unstuck time.Duration // since the pot has waited for it
	bulkC   float64       // in truth, when last seen
	poured  bool
	// HottestC is the most that the melt was in truth.
	HottestC float64
	// Typed is how many readings were typed, Trips are the cycles in which the guard listed
	// any; In and Out are the cycles with the truth in the told band, and out of it.
	Typed, Trips, In, Out int
}

// HalfOf makes the bench of a pot of which so much is known. Of the limits it sets the
// temperatures; whether its heaters count as proven is the caller's word.
func HalfOf(probes reading.Probes, limits guard.Limits, seed uint64) func(rig.Known) *Half {
	return func(k rig.Known) *Half {
		limits.MeltWarnC, limits.MeltTripC, limits.PlateTripC = CureC+4, 190, k.PlateLimitC+20
		s := control.Settings{
			Period:  rig.Usual().Period,
			Circuit: circuit.Rating{MaxW: 2 * k.RatedW, ContinuousW: 2 * k.RatedW},
			Limits:  limits,
			Pots: []control.PotSettings{{
				Name: "half", HeaterW: k.RatedW, VolumeML: k.TypedML, SetpointC: PourC, BandC: 2, CureC: CureC - 1,
				Dwell: 90 * time.Second, SteadyFor: 20 * time.Second, StirWithin: 2 * time.Minute,
				PlateLimitC: k.PlateLimitC, Probes: probes,
			}},
		}
		from := rand.New(rand.NewPCG(seed, 7))
		return &Half{
			bench: control.NewBench(s), probes: probes, from: from, biasC: HandOffC / 2 * (2*from.Float64() - 1),
			bulkC: math.NaN(), typesIn: HandEvery,
		}
	}
}

// Step is a cycle of the bench.
func (h *Half) Step(v *rig.View) float64 {
	h.now += v.Elapsed
	h.in.Elapsed = v.Elapsed
	h.in.Pots = append(h.in.Pots[:0], control.PotReadings{Melt: v.Melt, Plate: v.Plate})
	if !h.probes.HasMelt() {
		h.in.Pots[0].Melt = reading.Temperature{}
	}
	if !h.probes.HasPlate() {
		h.in.Pots[0].Plate = reading.Temperature{}
	}
	h.in.Contacts = control.Contacts{Enable: h.button(), Link: reading.Contact{Closed: true, Fault: reading.None}}
	h.in.Commands = h.said(v)
	h.in.Round()
	h.bench.Step(&h.in, &h.f)
	for _, c := range h.f.Conditions {
		if c.Severity == guard.Trip {
			h.Trips++
		}
	}
	return h.f.Outputs.Duty[0]
}

// button is pressed whenever the pot waits for it, in the fourth second of a half minute.
func (h *Half) button() reading.Contact {
	phase := h.now % (30 * time.Second)
	pressed := phase >= 3*time.Second && phase < 4*time.Second && h.f.Pots != nil && h.f.Pots[0].Wait == control.WaitEnable
	return reading.Contact{Closed: pressed, Fault: reading.None}
}

// said are the marks of a cycle.
func (h *Half) said(v *rig.View) (said []control.Command) {
	mark := func(k control.CommandKind, c float64) { said = append(said, control.Command{Kind: k, C: c}) }
	for _, m := range v.Marks {
		switch m.Kind {
		case rig.Stir:
			mark(control.Stir, 0)
		case rig.Colour:
			mark(control.ColourAdded, 0)
		case rig.Draw:
			mark(control.Draw, 0)
		case rig.Lift:
			mark(control.Lift, 0)
		case rig.Return:
			mark(control.Return, 0)
		}
	}
	if h.now%time.Minute < v.Elapsed {
		mark(control.Stir, 0)
	}
	if v.TargetC == PourC && !h.poured {
		h.poured = true
		mark(control.ArrivedCured, 0)
	}
	if c, types := h.reads(v.Elapsed); types {
		mark(control.HandReading, c)
		h.Typed++
	}
	return said
}

// reads is the maker with the thermometer.
func (h *Half) reads(elapsed time.Duration) (c float64, types bool) {
	if h.probes.HasMelt() || math.IsNaN(h.bulkC) {
		return 0, false
	}
	h.unread += elapsed
	p := &h.f.Pots[0]
	if p.Wait == control.WaitHand || !math.IsNaN(p.Hand.DoubtedC) {
		h.unstuck += elapsed
	} else {
		h.unstuck = 0
	}
	if h.unread < h.typesIn && h.unstuck < handTakes {
		return 0, false
	}
	h.unread, h.unstuck = 0, 0
	low := h.lowC * (h.bulkC - coldC) / (CureC - coldC)
	return h.bulkC - low + h.biasC + HandOffC/2*(2*h.from.Float64()-1), true
}

// Applied is nothing to it: the bench knows what it gives.
func (h *Half) Applied(_, _, _ float64) {}

// See holds what was told against the truth, after the bench's step.
func (h *Half) See(p *zoo.Plant) {
	h.bulkC = p.BulkC()
	h.HottestC = max(h.HottestC, h.bulkC)
	told, truthC := h.f.Pots[0].MeltEstimate, h.bulkC
	if h.probes == reading.MeltOnly {
		told, truthC = h.f.Pots[0].PlateEstimate, p.PlateC()
	}
	if !told.Known() || p.Lifted() {
		return
	}
	if math.Abs(truthC-told.C) > told.WithinC {
		h.Out++
	} else {
		h.In++
	}
}

// RunHalf lets a pot with one probe have an evening.
func (p *Pot) RunHalf(probes reading.Probes, limits guard.Limits, o rig.Options, seed uint64) ([]rig.Outcome, *Half) {
	var h *Half
	o.See = func(_ float64, pl *zoo.Plant, _ *rig.View, _ float64) { h.See(pl) }
	out := p.Run(func(k rig.Known) rig.Loop { h = HalfOf(probes, limits, seed)(k); return h }, o, seed)
	return out, h
}

// LowEvery is how often a maker types what a thermometer shows that reads too low (E).
const LowEvery = 2 * time.Minute

// RunLow lets a pot without a melt probe be heated and held by a maker whose thermometer
// reads lowC kelvin too low at CureC, and less in proportion in a colder melt, as a tip by
// the wall does.
func (p *Pot) RunLow(lowC float64, limits guard.Limits, seed uint64) ([]rig.Outcome, *Half) {
	var h *Half
	o := rig.Usual()
	o.See = func(_ float64, pl *zoo.Plant, _ *rig.View, _ float64) { h.See(pl) }
	out := p.run(func(k rig.Known) rig.Loop {
		h = HalfOf(reading.PlateOnly, limits, seed)(k)
		h.lowC, h.typesIn = lowC, LowEvery
		return h
	}, o, seed, zoo.Start{}, Evening()[:Cool])
	return out, h
}

package judge

import (
	"meltwarden/control/judge/limit"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// Case is one thing to come through: a pot that arrives as Start says, or, where
// Held, one that has been heated and held and to which Events then happen.
type Case struct {
	Name   string
	Start  zoo.Start
	Held   bool
	Before []zoo.Event // ten minutes before, while it is held
	Events []zoo.Event
}

// Cases are all arrivals and upsets.
func Cases() []Case {
	cases := []Case{
		{Name: "cured and cold", Start: zoo.Start{Cured: true}},
		{Name: "hot on a cold plate", Start: zoo.Start{MeltC: 150, Cured: true}},
		{Name: "cold on a hot plate", Start: zoo.Start{PlateC: 200}},
		{Name: "hot on a hot plate", Start: zoo.Start{MeltC: 158, PlateC: 200, Cured: true}},
		{Name: "too hot", Start: zoo.Start{MeltC: 176, PlateC: 190, Cured: true}},
	}
	for _, u := range zoo.Upsets() {
		c := Case{Name: u.Name, Held: true, Events: u.Events}
		if u.Events[0].Kind == zoo.StirOn {
			c.Before = []zoo.Event{{Kind: zoo.StirOff}}
		}
		cases = append(cases, c)
	}
	// What is left of a drawn pot is another pot.
	for _, measured := range []bool{false, true} {
		name := "20 mL cold, half drawn"
		if measured {
			name += ", its mL"
		}
		cases = append(cases, Case{
			Name: name, Held: true, Before: []zoo.Event{{Kind: zoo.Draw, Amount: 0.5, Told: true, Measured: measured}},
			Events: []zoo.Event{{Kind: zoo.Colour, Amount: 20, Told: true, Measured: measured}},
		})
	}
	return cases
}

// LimitOf is the fastest way of a pot through a case to PourC.
func (p *Pot) LimitOf(c *Case) limit.Result {
	if c.Held {
		return p.into(limit.Held(&p.Spec, PourC, c.Before...), PourC, c.Events)
	}
	return p.into(zoo.New(&p.Spec, c.Start).Body, PourC, nil)
}

// RunCase lets a loop bring a pot through a case to PourC.
func (p *Pot) RunCase(c *Case, loop Maker, o rig.Options, seed uint64) rig.Outcome {
	evening := []rig.Phase{{TargetC: PourC, ForS: 60 * minuteS}}
	if c.Held {
		evening = append(evening,
			rig.Phase{TargetC: PourC, ForS: 10 * minuteS, Events: c.Before},
			rig.Phase{TargetC: PourC, ForS: 40 * minuteS, Events: c.Events})
	}
	out := p.run(loop, o, seed, c.Start, evening)
	return out[len(out)-1]
}

package estimate

import (
	"fmt"
	"math"

	"meltwarden/config/quantity"
	"meltwarden/control/flow"
	"meltwarden/control/injector"
	"meltwarden/control/melt"
	"meltwarden/control/mould"
)

// What every estimate takes for granted, and what some do.
var (
	assumesPlastisol = fmt.Sprintf("Plastisol conducts %.2f to %.2f W/(m K), weighs %.2f to %.2f g/mL and stores %.1f to %.1f kJ/(kg K): published figures and one from memory, none of them of this base.",
		melt.Plastisol.K.Low, melt.Plastisol.K.High, melt.Plastisol.Rho.Low/1000, melt.Plastisol.Rho.High/1000, melt.Plastisol.C.Low/1000, melt.Plastisol.C.High/1000)
	assumesTube   = "The injector's wall stores from 0.6 times what its melt does to so much that it keeps its temperature. What stirs the melt as it is drawn, and what the wall loses to the room, make it a little colder than that."
	assumesFaces  = "Both faces of the body touch the mould; the high counts a gap from shrinking, of 1250 W/(m² K), from memory."
	notForOpening = "It does not say when a mould may be opened: a core stays hot, and may be liquid and under pressure, for longer than any figure here."
)

func quantityOf(name, label, typed string, k kind) Input { return Input{name, label, typed, nil, k} }

// inputs that several questions have
var (
	meltInput      = quantityOf("melt", "Melt", "168 C", meltTemperature)
	mouldInput     = quantityOf("mould", "Mould", "25 C", otherTemperature)
	metalInput     = Input{"metal", "Metal of the mould", melt.Aluminium.Name, metals(), metal}
	thicknessInput = func(typed string) Input { return quantityOf("thickness", "Thickness of the body", typed, thickness) }
)

var questions = []Question{
	{
		Name: "injector", Title: "Melt in an injector", OfBench: true,
		Asks: "How much colder a melt gets in its injector, in the mean, and how long there is left to push it.",
		Inputs: []Input{
			quantityOf("melt", "Melt as it was drawn", "168 C", meltTemperature),
			quantityOf("preheat", "Injector at the draw", "25 C", otherTemperature),
			quantityOf("bore", "Bore", "25 mm", bore),
			quantityOf("after", "Time since the draw", "10 s", shortTime),
			quantityOf("band", "Half of the band", "2 C", difference),
			quantityOf("lowest", "Lowest mean to push", "150 C", meltTemperature),
		},
		Assumes: []string{assumesTube, "Below 150 °C (302 °F) a melt is a paste, from memory.", assumesPlastisol},
		answer:  ofInjector,
	},
	{
		Name: "mould", Title: "Body in its mould",
		Caution: notForOpening,
		Asks:    "How the middle of a body cools between the two faces of its mould.",
		Inputs:  []Input{meltInput, mouldInput, thicknessInput("12 mm"), quantityOf("after", "Time since the push", "60 s", longTime), metalInput},
		Assumes: []string{assumesFaces, assumesPlastisol},
		answer:  ofMould,
		check:   colder,
	},
	{
		Name: "seam", Title: "Seam where colours meet",
		Caution: notForOpening,
		Asks:    "How soon two colours that meet in the mould hardly flow into each other any more.",
		Inputs:  []Input{meltInput, mouldInput, thicknessInput("2 mm"), metalInput},
		Assumes: []string{"At the skin it is too late at once: only the inside knits.", assumesFaces, assumesPlastisol},
		answer:  ofSeam,
		check:   colder,
	},
	{
		Name: "contact", Title: "Melt against mould",
		Caution: notForOpening,
		Asks:    "How warm the skin is where the melt meets the mould, at the first moment, and how thick a skin has set soon after.",
		Inputs:  []Input{meltInput, mouldInput, metalInput, quantityOf("after", "Time since they met", "2 s", shortTime)},
		Assumes: []string{"They touch perfectly, and neither feels its far side yet.", assumesPlastisol},
		answer:  ofContact,
		check:   colder,
	},
	{
		Name: "warming", Title: "Mould from shot to shot",
		Caution: notForOpening,
		Asks:    "How warm a mould gets, shot after shot.",
		Inputs: []Input{
			quantityOf("shot", "Mass of a shot", "60 g", shotMass),
			quantityOf("mass", "Mass of the mould", "1.5 kg", mouldMass),
			metalInput, thicknessInput("12 mm"), meltInput,
			quantityOf("mould", "Mould before the first shot", "25 C", otherTemperature),
			quantityOf("room", "Room", "25 C", otherTemperature),
			quantityOf("closed", "Time from push to demoulding", "3 min", longTime),
			quantityOf("every", "Time from push to push", "4 min", longTime),
			quantityOf("shots", "Shots", "10", count),
		},
		Assumes: []string{
			"The mould is one lump that loses 4 to 15 W/(m² K) to the room: no fan, no water, no cold plate under it.",
			"Sprue and runner count as part of the shot.", assumesPlastisol,
		},
		answer: ofWarming, check: oneEvening,
	},
	{
		Name: "flow", Title: "Neighbours that differ",
		Asks:    "How unlike two colours flow because one is warmer than it should be beside the other.",
		Inputs:  []Input{quantityOf("apart", "Apart, beside their own targets", "11 C", difference)},
		Assumes: []string{assumesFlow},
		answer:  ofFlow,
	},
}

const assumesFlow = "A melt flows 5 to 11 % more easily for every 5 °F (2.8 °C): an estimate without a source, because no viscosity of hot fused plastisol was found. The thinner colour tends to wrap the thicker."

func ofInjector(g given, u Unit) []Figure {
	i := injector.Injector{BoreM: g["bore"]}
	colder := i.Colder(g["melt"], g["preheat"], g["after"])
	after := fmt.Sprintf("%s s after the draw", trimmed(g["after"]))
	return []Figure{
		u.figure("colder in the mean, "+after, Difference, colder),
		u.figure("mean of the melt, "+after, Temperature, below(g["melt"], colder)),
		u.figure(fmt.Sprintf("until the mean is %s colder", u.difference(g["band"])), Time, i.Until(g["melt"], g["preheat"], g["melt"]-g["band"])),
		u.figure("until the mean is below "+u.Temperature(g["lowest"]), Time, i.Until(g["melt"], g["preheat"], g["lowest"])),
	}
}

// below is a temperature less what it may have lost: the least is left where most is lost.
func below(c float64, lost melt.Range) melt.Range {
	return melt.Range{Low: c - lost.High, Mid: c - lost.Mid, High: c - lost.Low}
}

func ofMould(g given, u Unit) []Figure {
	return []Figure{
		u.figure(fmt.Sprintf("middle of the body, %s s after the push", trimmed(g["after"])), Temperature,
			mould.Middle(g["thickness"], g["melt"], g["mould"], g["after"], g.metal())),
		u.sets("until the middle hardly flows", g, melt.PasteC),
		u.sets("until the middle keeps its shape", g, melt.SetC),
	}
}

// sets is how long the middle of a body takes to fall to a temperature.
func (u Unit) sets(what string, g given, toC float64) Figure {
	f := u.figure(what+", below "+u.Temperature(toC), Time, mould.Sets(g["thickness"], g["melt"], g["mould"], toC, g.metal()))
	if !f.Low.Known() {
		f.Shown = "never in a mould so warm"
	}
	return f
}

func ofSeam(g given, u Unit) []Figure {
	return []Figure{
		u.figure("skin, at once", Temperature, mould.Skin(g["melt"], g["mould"], g.metal())),
		u.sets("until even the middle hardly flows", g, melt.PasteC),
		u.sets("until it is frozen through", g, melt.SetC),
	}
}

func ofContact(g given, u Unit) []Figure {
	deep := mould.Depth(g["melt"], g["mould"], melt.SetC, g["after"], g.metal())
	return []Figure{
		u.figure("where they meet", Temperature, mould.Skin(g["melt"], g["mould"], g.metal())),
		u.figure(fmt.Sprintf("skin that is set, below %s, %s s after", u.Temperature(melt.SetC), trimmed(g["after"])), Length,
			melt.Range{Low: 1000 * deep.Low, Mid: 1000 * deep.Mid, High: 1000 * deep.High}),
	}
}

// colder refuses a mould that is not colder than its melt: nothing sets in it.
func colder(g given) (key string, fault *quantity.Fault) {
	if g["mould"] < g["melt"] {
		return "", nil
	}
	return "mould", &quantity.Fault{Wrong: "not colder than the melt", Fix: "check number and unit of both"}
}

// oneEvening refuses a mould that is not colder than its melt, or shut for longer than from
// push to push.
func oneEvening(g given) (key string, fault *quantity.Fault) {
	if g["closed"] <= g["every"] {
		return colder(g)
	}
	return "closed", &quantity.Fault{Wrong: "longer than from push to push", Fix: "write at most what stands for every"}
}

func ofWarming(g given, u Unit) []Figure {
	s := mould.Session{
		Metal: g.metal(), MouldKg: g["mass"], ShotKg: g["shot"], ThickM: g["thickness"], MeltC: g["melt"],
		StartC: g["mould"], RoomC: g["room"], InMouldS: g["closed"], EveryS: g["every"],
	}
	figures := []Figure{u.figure("one shot warms it by", Difference, s.Rise(s.StartC))}
	for i, c := range s.Before(int(g["shots"])) {
		if i > 0 {
			figures = append(figures, u.figure(fmt.Sprintf("before shot %d", i+1), Temperature, c))
		}
	}
	return figures
}

func ofFlow(g given, u Unit) []Figure {
	return []Figure{u.figure(u.difference(g["apart"])+" apart: the colder, beside the warmer", Ratio, thicker(g["apart"]))}
}

// thicker has no middle.
func thicker(apartK float64) melt.Range {
	least, most := flow.Ratio(apartK)
	return melt.Range{Low: least, Mid: math.NaN(), High: most}
}

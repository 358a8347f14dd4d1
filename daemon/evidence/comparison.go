package evidence

import (
	"cmp"
	"encoding/json"
	"math"
	"slices"

	"meltwarden/control"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// Difference is one figure of two shots.
type Difference struct {
	// Name says what it is of: "rust beside its own target".
	Name string     `json:"figure"`
	Kind cause.Kind `json:"-"`
	// Within is how far two shots may be apart in it for no other reason than how it is
	// measured.
	Within      float64       `json:"uncertainty"`
	This, Other frames.Figure `json:"-"`
	// colour is the pot's; "" is the whole shot. causes are the figures in which the trade
	// looks for a cause and that this one is, or is part of.
	colour string
	causes []*cause.Figure
	// A melt that was still curing has not been cured for any time: that is no gap in what
	// was recorded.
	thisCuring, otherCuring bool
}

// By is how much more this shot has than the other; unknown where either is.
func (d Difference) By() frames.Figure { return d.This - d.Other }

// Times is how many uncertainties apart they are, without a side.
func (d Difference) Times() float64 { return math.Abs(float64(d.By())) / d.Within }

type plainDifference Difference

// differenceJSON is a difference as JSON has it.
type differenceJSON struct {
	plainDifference
	This  frames.Figure `json:"this"`  // what this shot has
	Other frames.Figure `json:"other"` // what the one beside it has
	// By is how much more this shot has than the other.
	By frames.Figure `json:"difference"`
	// Times is how many uncertainties apart they are, without a side.
	Times frames.Figure `json:"times_uncertainty"`
}

// JSONShape is the type that JSON has it as.
func (Difference) JSONShape() any { return differenceJSON{} }

// MarshalJSON implements json.Marshaler.
func (d Difference) MarshalJSON() ([]byte, error) {
	return json.Marshal(differenceJSON{plainDifference(d), d.This, d.Other, d.By(), frames.Figure(d.Times())})
}

// quantity is a figure of a pot, measured as one of the whole shot is.
type quantity struct {
	name   string
	kind   cause.Kind
	within float64
	of     func(shot.Pot) frames.Figure
	causes []*cause.Figure
}

// slopeWithin is how well the slope of a melt repeats, in kelvins a minute (E: half a
// kelvin over the minute that it is taken from).
const slopeWithin = 0.5

var quantities = []quantity{
	{"beside its own target", cause.Hottest.Kind, cause.Hottest.Within, func(p shot.Pot) frames.Figure { return p.DeviationC },
		[]*cause.Figure{cause.Hottest, cause.Coldest}},
	{"slope", cause.Rate, slopeWithin, func(p shot.Pot) frames.Figure { return p.SlopeCPerMin }, nil},
	{held, cause.Held.Kind, cause.Held.Within, func(p shot.Pot) frames.Figure { return p.HeldMin }, []*cause.Figure{cause.Held, cause.HeldLeast}},
	{cause.Dose.Name, cause.Dose.Kind, cause.Dose.Within, func(p shot.Pot) frames.Figure { return p.DoseMin }, []*cause.Figure{cause.Dose}},
	{cause.SinceStir.Name, cause.SinceStir.Kind, cause.SinceStir.Within, func(p shot.Pot) frames.Figure { return p.SinceStirS },
		[]*cause.Figure{cause.SinceStir}},
	{"plate", cause.Plate.Kind, cause.Plate.Within, func(p shot.Pot) frames.Figure { return p.PlateC }, []*cause.Figure{cause.Plate}},
	{"draw to push", cause.Draw.Kind, cause.Draw.Within, func(p shot.Pot) frames.Figure { return p.DrawToPushS }, []*cause.Figure{cause.Draw}},
}

const held = "held since cured"

// ofTheWhole are the figures that no single pot has.
var ofTheWhole = []*cause.Figure{cause.Spread, cause.Mould, cause.Room, cause.Draw, cause.Number}

// Figures are the figures of two shots, by what can be told of them.
type Figures struct {
	// Apart are further from each other than their uncertainty, the furthest first in
	// multiples of it. Alike are not. NotRecorded are unknown at one shot at least.
	Apart       []Difference `json:"apart"`
	Alike       []Difference `json:"no_difference_the_sensors_could_tell"`
	NotRecorded []Difference `json:"not_recorded"`
}

// compare holds a shot against another one; pots are matched by their colours.
func compare(this, other cause.Shot) Figures {
	f := Figures{[]Difference{}, []Difference{}, []Difference{}}
	for _, d := range differences(this, other) {
		switch {
		case !d.By().Known():
			f.NotRecorded = append(f.NotRecorded, d)
		case d.Times() > 1:
			f.Apart = append(f.Apart, d)
		default:
			f.Alike = append(f.Alike, d)
		}
	}
	slices.SortStableFunc(f.Apart, func(a, b Difference) int { return -cmp.Compare(a.Times(), b.Times()) })
	return f
}

func differences(this, other cause.Shot) []Difference {
	var all []Difference
	for _, p := range this.Card.Pots {
		q, found := potOf(other.Card, p.Colour)
		if !found {
			continue // the recipes differ, and say so
		}
		for _, m := range quantities {
			d := Difference{
				Name: p.Colour + " " + m.name, Kind: m.kind, Within: m.within, This: m.of(p), Other: m.of(q), colour: p.Colour, causes: m.causes,
			}
			d.thisCuring, d.otherCuring = m.name == held && isCuring(p), m.name == held && isCuring(q)
			all = append(all, d)
		}
	}
	for _, m := range ofTheWhole {
		all = append(all, Difference{Name: m.Name, Kind: m.Kind, Within: m.Within, This: m.Of(this), Other: m.Of(other), causes: []*cause.Figure{m}})
	}
	return all
}

func potOf(c shot.Card, colour string) (shot.Pot, bool) {
	i := slices.IndexFunc(c.Pots, func(p shot.Pot) bool { return p.Colour == colour })
	if i < 0 {
		return shot.Pot{}, false
	}
	return c.Pots[i], true
}

func isCuring(p shot.Pot) bool { return p.State == control.Curing.String() }

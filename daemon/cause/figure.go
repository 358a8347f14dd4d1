package cause

import (
	"math"
	"slices"

	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// Shot is what a figure is taken from: a card, the shot's number in its run, and the
// colours that a fault concerns; none of them is the whole bait.
type Shot struct {
	Card    shot.Card
	Number  int
	Colours []string
}

// pots are those of the card that the fault concerns.
func (s Shot) pots() []shot.Pot {
	if len(s.Colours) == 0 {
		return s.Card.Pots
	}
	return slices.DeleteFunc(slices.Clone(s.Card.Pots), func(p shot.Pot) bool { return !slices.Contains(s.Colours, p.Colour) })
}

// Kind is what a figure is in.
type Kind int

// The kinds of figure.
const (
	Difference  Kind = iota // kelvins
	Temperature             // degrees Celsius
	Seconds
	Minutes
	Count
	Rate // kelvins a minute
)

// Figure is one of the figures that are kept with every shot.
type Figure struct {
	Name string
	Kind Kind
	// Within is how far two shots may be apart in it for no other reason than how it is
	// measured (E): the same probe in the same pot repeats within less than its class,
	// a hand marks a moment within seconds.
	Within float64
	of     func(Shot) frames.Figure
}

// Of is the figure of a shot; unknown where it was not recorded.
func (f *Figure) Of(s Shot) frames.Figure { return f.of(s) }

// The figures that a cause can show in.
var (
	Hottest = &Figure{"hottest pot beside its own target", Difference, 0.5, func(s Shot) frames.Figure {
		return most(s.pots(), func(p shot.Pot) frames.Figure { return p.DeviationC })
	}}
	Coldest = &Figure{"coldest pot beside its own target", Difference, 0.5, func(s Shot) frames.Figure {
		return -most(s.pots(), func(p shot.Pot) frames.Figure { return -p.DeviationC })
	}}
	Spread    = &Figure{"spread of the pots", Difference, 0.7, func(s Shot) frames.Figure { return s.Card.SpreadC }}
	Mould     = &Figure{"mould", Temperature, 2, func(s Shot) frames.Figure { return s.Card.MouldC }}
	Room      = &Figure{"room", Temperature, 1, func(s Shot) frames.Figure { return s.Card.RoomC }}
	Draw      = &Figure{"first draw to push", Seconds, 3, func(s Shot) frames.Figure { return s.Card.DrawToPushS }}
	Held      = &Figure{"held since cured", Minutes, 0.5, func(s Shot) frames.Figure { return most(s.pots(), heldMin) }}
	HeldLeast = &Figure{"since the last pot was cured", Minutes, 0.5, func(s Shot) frames.Figure {
		return -most(s.pots(), func(p shot.Pot) frames.Figure { return -heldMin(p) })
	}}
	Dose      = &Figure{"heat dose", Minutes, 0.5, func(s Shot) frames.Figure { return most(s.pots(), func(p shot.Pot) frames.Figure { return p.DoseMin }) }}
	SinceStir = &Figure{"since the last stir", Seconds, 5, func(s Shot) frames.Figure {
		return most(s.pots(), func(p shot.Pot) frames.Figure { return p.SinceStirS })
	}}
	Plate  = &Figure{"hottest plate", Temperature, 2, func(s Shot) frames.Figure { return most(s.pots(), func(p shot.Pot) frames.Figure { return p.PlateC }) }}
	Number = &Figure{"shot of its run", Count, 0.5, func(s Shot) frames.Figure { return frames.Figure(s.Number) }}
)

// Figures lists all in which the shots with a fault are held against others. How long
// pots were held counts once, by the pot that the table asks for, the longest held where it
// asks for none: the two are so alike that to look at both would only make it harder to
// tell anything.
func (f Fault) Figures() []*Figure {
	held := Held
	if slices.ContainsFunc(f.Seen, func(c Cause) bool { return c.Figure == HeldLeast }) {
		held = HeldLeast
	}
	return []*Figure{Hottest, Coldest, Spread, Mould, Draw, held, Dose, SinceStir, Plate, Room, Number}
}

// heldMin is for how many minutes a melt has been cured; one that is still curing has been
// for none, and that is known.
func heldMin(p shot.Pot) frames.Figure {
	if !p.HeldMin.Known() && p.State == control.Curing.String() {
		return 0
	}
	return p.HeldMin
}

// most is the largest of a figure among pots; unknown unless each of them has it,
// because the one that is missing may be the largest.
func most(pots []shot.Pot, of func(shot.Pot) frames.Figure) frames.Figure {
	largest := frames.Figure(math.Inf(-1))
	for _, p := range pots {
		f := of(p)
		if !f.Known() {
			return frames.Unknown()
		}
		largest = max(largest, f)
	}
	if !largest.Known() {
		return frames.Unknown()
	}
	return largest
}

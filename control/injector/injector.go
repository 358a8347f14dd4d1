// Package injector foresees how a melt that has been drawn cools in its injector. It is a
// long cylinder in a tube that takes up its heat; how much of it the tube can store, and
// how well the melt conducts, is known from a low to a high. A melt gives up most in the
// first seconds, so a warm injector is worth more than a quick hand.
//
// What the tube loses to the room meanwhile is left out (E: a degree or two in half a
// minute), and so is what stirs the melt as it is drawn: the melt may be that much colder.
// It decides nothing about heat.
package injector

import (
	"math"

	"meltwarden/control/conduct"
	"meltwarden/control/melt"
)

// Injector is what melt is drawn into. The zero value is one of which nothing is said.
type Injector struct {
	// BoreM is the inner diameter in metres; zero is not said.
	BoreM float64 `json:",omitzero"`
	// PreheatC is what the tube is warmed to before the draw, in degrees Celsius; zero is
	// the room's temperature.
	PreheatC float64 `json:",omitzero"`
	// LowestC is the mean temperature below which nothing is to be pushed, in degrees
	// Celsius; zero is melt.PasteC.
	LowestC float64 `json:",omitzero"`
}

// AssumedBoreM is the bore where none is said (C: 25 mm).
const AssumedBoreM = 0.025

// mostS is as far as anything is foreseen: nobody pushes what was drawn so long ago.
const mostS = 300.0

// A tube stores 0.6 times what its melt does (E: 25 mm bore, 3 mm of aluminium) to so much
// that it keeps its temperature; in the middle, as much (E: 4 to 5 mm).
var thin, usual, held = conduct.NewCylinder(0.6), conduct.NewCylinder(1), conduct.NewCylinder(math.Inf(1))

// Bore is the bore in metres, an assumed one where none is said.
func (i Injector) Bore() float64 {
	if i.BoreM > 0 {
		return i.BoreM
	}
	return AssumedBoreM
}

// TubeC is how warm the tube is at the draw, in degrees Celsius, in a room of roomC.
func (i Injector) TubeC(roomC float64) float64 {
	if i.PreheatC > 0 {
		return i.PreheatC
	}
	return roomC
}

// Lowest is the mean temperature below which nothing is to be pushed, in degrees Celsius.
func (i Injector) Lowest() float64 {
	if i.LowestC > 0 {
		return i.LowestC
	}
	return melt.PasteC
}

// Colder is by how many kelvins the melt is colder in the mean, afterS seconds after it was
// drawn at drawnC into a tube of tubeC. It is zero in a tube that is as warm.
func (i Injector) Colder(drawnC, tubeC, afterS float64) melt.Range {
	apart := max(0, drawnC-tubeC)
	fo := i.fourier(afterS)
	return melt.Range{Low: apart * thin.Lost(fo.Low), Mid: apart * usual.Lost(fo.Mid), High: apart * held.Lost(fo.High)}
}

// Until is in how many seconds after the draw the mean falls to toC; +Inf where it never
// does, or after more than five minutes. It is zero where the melt was colder when it was
// drawn.
func (i Injector) Until(drawnC, tubeC, toC float64) melt.Range {
	if drawnC <= toC {
		return melt.Range{}
	}
	share := (drawnC - toC) / (drawnC - tubeC)
	if drawnC <= tubeC {
		share = 1 // it warms up
	}
	one := i.fourier(1)
	in := func(c *conduct.Cylinder, perS float64) float64 {
		if s := c.Loses(share) / perS; s <= mostS {
			return s
		}
		return math.Inf(1)
	}
	return melt.Range{Low: in(held, one.High), Mid: in(usual, one.Mid), High: in(thin, one.Low)}
}

// fourier is α·t/R².
func (i Injector) fourier(afterS float64) melt.Range {
	radius := i.Bore() / 2
	alpha := melt.Plastisol.Diffusivity()
	per := afterS / (radius * radius)
	return melt.Range{Low: alpha.Low * per, Mid: alpha.Mid * per, High: alpha.High * per}
}

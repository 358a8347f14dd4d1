// Package physics is a pot of liquid vinyl on a hot plate, as heat sees it:
// element, plate, vessel wall and melt as four lumped bodies, and the probes in
// it. It is honest before it is convenient: the numbers come from the trade,
// handbooks and estimates, each marked with its grade of evidence, a seed draws
// them afresh for every bench, and none of them was chosen to suit a controller.
//
// It is pure: time passes only by Step, randomness comes only from the sources
// it is given, and nothing here knows of registers or of anybody who reads it.
package physics

import "time"

// Step is the time that one step of every model here stands for. It is a
// hundredth or less of the fastest time constant in a pot, which keeps the
// explicit integration stable and within a few tenths of a per cent.
const Step = 25 * time.Millisecond

const stepS = float64(Step) / float64(time.Second)

// stefanBoltzmann in W/(m² K⁴): CODATA 2018.
const stefanBoltzmann = 5.670374419e-8

const kelvin = 273.15

// body is a lump at one temperature. Heat is gathered in w during a step and
// taken up at its end, so that the order of exchanges does not matter.
type body struct {
	c        float64 // degrees Celsius
	capacity float64 // J/K
	w        float64 // net heat flow of this step, W
}

// exchange moves heat between two bodies in proportion to their difference.
func exchange(from, to *body, wPerK float64) {
	w := wPerK * (from.c - to.c)
	from.w -= w
	to.w += w
}

// settle ends the step.
func (b *body) settle() {
	b.c += b.w * stepS / b.capacity
	b.w = 0
}

func (b *body) storedJ() float64 { return b.capacity * b.c }

// surface is what a body loses heat through.
type surface struct {
	areaM2     float64
	convection float64 // W/(m² K)
	emissivity float64 // 0 to 1
}

// Air is what surrounds a pot.
type Air struct {
	C float64 // degrees Celsius, of the air and of the walls of the room
	// DraughtWM2K is what moving air adds to the heat transfer coefficient of
	// every surface, in W/(m² K); zero in still air.
	DraughtWM2K float64
}

// lossW is the heat a surface at temperature c gives to the room, in W:
// Newton's law of cooling and the Stefan-Boltzmann law for a small grey body in
// a large enclosure (Incropera, Fundamentals of Heat and Mass Transfer, 1.2.2
// and 1.2.3; section numbers from memory).
func (a Air) lossW(s surface, c float64) float64 {
	radiation := s.emissivity * stefanBoltzmann * (pow4(c+kelvin) - pow4(a.C+kelvin))
	return s.areaM2 * ((s.convection+a.DraughtWM2K)*(c-a.C) + radiation)
}

func pow4(x float64) float64 { return x * x * x * x }

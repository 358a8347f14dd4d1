// Package coast is what becomes of a melt on a plate whose power has been cut: what
// the plate has stored flows on into it, and decides how far it overshoots.
package coast

import "math"

// Pot is a plate and its melt with the power cut: what the plate has stored flows on
// into the melt and into the room.
//
// With the losses taken as constant, the gap between plate and melt falls as
// gap(t) = (g + b/a)·exp(-a·t) - b/a, with a = U(1/Cp + 1/Cm) and
// b = Lp/Cp - Lm/Cm, and the melt rises until the gap is Lm/U (two lumped
// bodies, Newton's law; elementary, derived here).
type Pot struct {
	PlateJPerK, MeltJPerK float64 // Cp, Cm
	CouplingWK            float64 // U, W/K
	PlateLossW, MeltLossW float64 // Lp, Lm
}

// Rest is the gap at which the melt neither rises nor falls, in kelvin.
func (c Pot) Rest() float64 { return c.MeltLossW / c.CouplingWK }

// Rise is how far the melt still rises from a gap in kelvin when the power is cut.
func (c Pot) Rise(gap float64) float64 {
	rest := c.Rest()
	if gap <= rest {
		return 0
	}
	a := c.CouplingWK * (1/c.PlateJPerK + 1/c.MeltJPerK)
	b := c.PlateLossW/c.PlateJPerK - c.MeltLossW/c.MeltJPerK
	peak := math.Log((gap+b/a)/(rest+b/a)) / a
	return c.CouplingWK/c.MeltJPerK*((gap-rest)/a-b/a*peak) - c.MeltLossW/c.MeltJPerK*peak
}

// Gap is the inverse of Rise: the gap from which the melt coasts up by rise
// kelvin, up to most.
func (c Pot) Gap(rise, most float64) float64 {
	low, high := c.Rest(), most
	if rise <= 0 || high <= low {
		return low
	}
	for range 24 { // to a hundred-thousandth of the range
		mid := (low + high) / 2
		if c.Rise(mid) < rise {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

package cascade

import "math"

// coast is a plate and its melt with the power cut: what the plate has stored
// flows on into the melt and into the room.
//
// With the losses taken as constant, the gap between plate and melt falls as
// gap(t) = (g + b/a)·exp(-a·t) - b/a, with a = U(1/Cp + 1/Cm) and
// b = Lp/Cp - Lm/Cm, and the melt rises until the gap is Lm/U (two lumped
// bodies, Newton's law; elementary, derived here).
type coast struct {
	plateJPerK, meltJPerK float64 // Cp, Cm
	coupling              float64 // U, W/K
	plateLossW, meltLossW float64 // Lp, Lm
}

// rest is the gap at which the melt neither rises nor falls, in kelvin.
func (c coast) rest() float64 { return c.meltLossW / c.coupling }

// rise is how far the melt still rises from a gap in kelvin when the power is cut.
func (c coast) rise(gap float64) float64 {
	rest := c.rest()
	if gap <= rest {
		return 0
	}
	a := c.coupling * (1/c.plateJPerK + 1/c.meltJPerK)
	b := c.plateLossW/c.plateJPerK - c.meltLossW/c.meltJPerK
	peak := math.Log((gap+b/a)/(rest+b/a)) / a
	return c.coupling/c.meltJPerK*((gap-rest)/a-b/a*peak) - c.meltLossW/c.meltJPerK*peak
}

// gap is the inverse of rise: the gap from which the melt coasts up by rise
// kelvin, up to most.
func (c coast) gap(rise, most float64) float64 {
	low, high := c.rest(), most
	if rise <= 0 || high <= low {
		return low
	}
	for range 24 { // to a hundred-thousandth of the range
		mid := (low + high) / 2
		if c.rise(mid) < rise {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

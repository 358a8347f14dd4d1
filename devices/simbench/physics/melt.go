package physics

import "math"

// couplingWK is the conductance between vessel and melt now, in W/K: best while
// stirred, falling off in a melt left alone, and down to a share of that while
// raw plastisol is a thick gel.
func (p *Pot) couplingWK() float64 {
	s := p.spec
	stirring := s.StillShare + (1-s.StillShare)*math.Exp(-p.stirredS/s.StirFade.Seconds())
	return s.StirredWK * stirring * s.thinness(p.hottestC)
}

// thinness is the share of the coupling that the gel leaves, by the hottest the
// melt has ever been: what has once become thin does not gel again.
func (s PotSpec) thinness(hottestC float64) float64 {
	const onset = 10 // °C from the first gel to the thickest; estimate
	switch {
	case hottestC <= s.GelFromC:
		return 1
	case hottestC < s.GelFromC+onset:
		return 1 - (1-s.GelShare)*(hottestC-s.GelFromC)/onset
	case hottestC <= s.GelUntilC:
		return s.GelShare
	case hottestC < s.ThinFromC:
		return s.GelShare + (1-s.GelShare)*(hottestC-s.GelUntilC)/(s.ThinFromC-s.GelUntilC)
	default:
		return 1
	}
}

// fuse sets aside the part of this step's heat that fuses the melt instead of
// warming it: fusing is spread evenly from the first gel to the thin liquid.
func (p *Pot) fuse() {
	s := p.spec
	melting := p.melt.w > 0 && p.melt.c >= p.hottestC &&
		p.melt.c >= s.GelFromC && p.melt.c < s.ThinFromC
	if !melting {
		return
	}
	extra := p.meltKG * s.FusingJKg / (s.ThinFromC - s.GelFromC) // J/K
	w := p.melt.w * extra / (extra + p.melt.capacity)
	p.melt.w -= w
	p.ledger.FusedJ += w * stepS
}

// clearingRate is how fast the melt clears, 1 at ClearAtC, by the Arrhenius law.
// The activation energy is an estimate, taken as that of the other slow change
// of hot vinyl (about 150 kJ/mol, J. Therm. Anal. Calorim.) for want of a figure.
func clearingRate(c float64) float64 {
	const activationJMol, gasJMolK = 150e3, 8.314462618 // gas constant: CODATA 2018
	return math.Exp(activationJMol / gasJMolK * (1/(ClearAtC+kelvin) - 1/(c+kelvin)))
}

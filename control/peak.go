package control

import "math"

// How far off such a word may be (E): a share of the rise, and at least so much. It was no
// further in any of 34 cuts of the named pots, which it was set by, and in 15 of 18 of others.
const peakOffShare, peakOffLeastC = 0.35, 2.5

// peak is the warmest that the melt becomes if its heat is cut now, and how far off that may
// be; NaN of a pot that is off its plate, or that the model has been found wrong about.
func (p *pot) peak() (c, within float64) {
	if p.lifted || !p.melt.Valid() || !p.loop.Trusted() || math.IsNaN(p.peakC) {
		return math.NaN(), math.NaN()
	}
	return p.peakC, max(peakOffLeastC, peakOffShare*(p.peakC-p.melt.C()))
}

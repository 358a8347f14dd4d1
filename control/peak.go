package control

import "math"

// How far off such a word was in about 9 of 10 cuts of first heat-ups (E): a share of
// the rise, and at least so much.
const peakOffShare, peakOffLeastC = 0.35, 2.5

// peak is the warmest that the melt becomes if its heat is cut now, and how far off that may
// be; NaN of a pot that is off its plate, or that the model has been found wrong about.
func (p *pot) peak() (c, within float64) {
	if p.lifted || !p.melt.Valid() || !p.loop.Trusted() || math.IsNaN(p.peakC) {
		return math.NaN(), math.NaN()
	}
	return p.peakC, max(peakOffLeastC, peakOffShare*(p.peakC-p.melt.C()))
}

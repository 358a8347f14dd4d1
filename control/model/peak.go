package model

import "math"

// Grades: E estimate.
const (
	peakStepS = 1.0
	peakLagS  = 40.0  // E: no heat is longer on its way to the melt
	peakMostS = 900.0 // E: and no melt coasts for longer
	leastLoss = 0.5   // E: what may be left of a loss that was taken for more than it is
	// perKShare is how much of what plate and pot hold decides how far a warmer plate takes
	// the melt: the rest goes to the room meanwhile (E). Looked at anew every cycle, it
	// decides no more than how fast the plate gets there.
	perKShare = 0.7
)

// CoastC is how warm the plate may be, in degrees Celsius, for the melt to coast to a
// temperature with the power off from then on. restC is how much warmer than a held melt
// the plate was found to be, in kelvin: where the model makes more of it, it takes the pot
// to lose too much, and is believed no further.
func (f *Filter) CoastC(targetC, restC float64) float64 {
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	b.couplingWK = f.thinWK
	if share := max(restC/f.RestAtC(targetC), leastLoss); share < 1 {
		b.wallLossWK, b.meltLossWK = share*b.wallLossWK, share*b.meltLossWK
	}
	flow := b.flows(&f.x)
	plateJK := b.elementJK + b.plateJK
	perK := perKShare * plateJK / (plateJK + b.wallJK + b.meltJK)
	return b.heldC(&f.x, &flow) + (targetC-b.peakC(f.x))/perK
}

// PeakC is the warmest that the melt becomes if the power is off from now on, in degrees
// Celsius: element, plate and wall go on giving it what they hold. NaN while nothing is
// known. It cuts the heat of a first heat, and decides nothing else; CoastC does.
func (f *Filter) PeakC() float64 {
	if !f.begun {
		return math.NaN()
	}
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	b.couplingWK = max(b.couplingWK, f.thinWK) // it will not stay as thick as it may be now
	return b.peakC(f.x)
}

// peakC is the warmest that a melt becomes with the power off.
func (b *body) peakC(x vector) float64 {
	most := x[melt]
	for s := 0.0; s < peakMostS; s += peakStepS {
		flow := b.flows(&x)
		d := b.slopes(&x, &flow, 0)
		if s > peakLagS && d[melt] <= 0 {
			break
		}
		for i := range int(melt) + 1 {
			x[i] += d[i] * peakStepS
		}
		most = max(most, x[melt])
	}
	return most
}

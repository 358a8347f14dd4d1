package model

import "math"

// Figure is one figure of a pot, and how well it is known: the standard deviation of
// its logarithm.
type Figure struct{ Value, Sigma float64 }

// Known is what a pot was found to be: J/K, W/K and seconds.
type Known struct {
	// Pot is what was known of it before, by the watts and the volume of that time.
	Pot Pot
	// PlateJPerK is the heat capacity of plate and element, ElementS the time constant
	// of the one behind the other, MeltJPerK the melt's heat capacity.
	PlateJPerK, ElementS, MeltJPerK Figure
	// ContactWK is from plate to vessel, CouplingWK from vessel to melt as a thin liquid,
	// where raw paste is as thin as it gets; GelShare is what is left of it at its thickest.
	// PlateLossWK and MeltLossWK are to the room, at no excess.
	ContactWK, CouplingWK, PlateLossWK, MeltLossWK Figure
	GelShare                                       float64
	// Whole says that the two and the share are such that they come to what a whole heat-up
	// has shown.
	Whole bool
	// PlateProbeS and MeltProbeS are the probes' lags.
	PlateProbeS, MeltProbeS Figure
	// Warmed says that the pot was warmed a little only: what it does as it thickens and what
	// a hot melt loses are guesses still.
	Warmed bool `json:",omitempty"`
}

// figures are all of them, in the order of the states from lnPlateJK on.
func (k *Known) figures() [states - lnPlateJK]*Figure {
	return [...]*Figure{
		&k.PlateJPerK, &k.ElementS, &k.MeltJPerK, &k.ContactWK, &k.CouplingWK,
		&k.PlateLossWK, &k.MeltLossWK, &k.PlateProbeS, &k.MeltProbeS,
	}
}

// another says by how much a figure of the same pot differs on another evening: the
// standard deviation of its logarithm (E). Volumes are typed to ±10 % on both, a vessel
// never stands twice in the same way, and no hand stirs alike.
var another = vector{
	lnPlateJK: 0.05, lnElementS: 0.1, lnMeltJK: 0.08, lnContactWK: 0.15, lnCouplingWK: 0.2,
	lnPlateLossWK: 0.2, lnMeltLossWK: 0.2, lnPlateProbeS: 0.2, lnMeltProbeS: 0.2,
}

// wetted is by which power of the volume a figure grows: what the melt holds with it,
// what passes through the wetted surface with its two thirds, and of the plate nothing.
var wetted = vector{lnMeltJK: 1, lnCouplingWK: WettedPower, lnMeltLossWK: WettedPower}

const (
	// WettedPower is the power of the volume with which a wetted surface grows, where
	// all lengths grow alike.
	WettedPower = 2.0 / 3
	// wettedSigma is how well that power is known (E): one vessel filled higher is wetted
	// with anything from half the power to all of it.
	wettedSigma = 0.3
)

// Fits reports whether what is known may be said of a pot: the same heater, and figures
// that are any.
func (k *Known) Fits(p Pot) bool {
	fit := k.Pot.HeaterW == p.HeaterW && k.Pot.Probes == p.Probes && sound(k.Pot.MeltJPerK) && k.GelShare > 0 && k.GelShare <= 1
	for _, f := range k.figures() {
		fit = fit && sound(f.Value) && f.Sigma >= 0
	}
	return fit
}

func sound(x float64) bool { return x > 0 && !math.IsInf(x, 0) }

// Recall starts a filter that has seen nothing yet from what is known of its pot.
func (f *Filter) Recall(k *Known) {
	grown := math.Log(f.pot.MeltJPerK / k.Pot.MeltJPerK)
	for n, of := range k.figures() {
		i := lnPlateJK + n
		if k.Warmed && (i == lnPlateLossWK || i == lnMeltLossWK) {
			continue // a pot that is hardly warm loses too little to tell
		}
		f.x[i] = math.Log(of.Value) + wetted[i]*grown
		sigma := max(of.Sigma, another[i])
		if wetted[i] > 0 {
			sigma = math.Hypot(sigma, wettedSigma*grown)
		}
		sigma = min(sigma, f.first[i].sigma)
		f.p[i][i] = sigma * sigma
	}
	f.bound()
	f.thinWK, f.gelShare = math.Exp(f.x[lnCouplingWK]), k.GelShare
	if k.Whole {
		b := unpack(&f.x, f.pot.HeaterW, f.roomC)
		f.found = &b
	}
}

// Foresees reports whether Ready goes by an earlier heat-up.
func (f *Filter) Foresees() bool { return f.found != nil }

// Live lets Ready go by what is seen now: the heat-up that was known of is over.
func (f *Filter) Live() { f.found = nil }

// Known returns what the pot is found to be by now. It means something only where
// Trusted, and where the pot has been held.
func (f *Filter) Known() (k Known) {
	k.Pot = f.pot
	for n, of := range k.figures() {
		i := lnPlateJK + n
		*of = Figure{math.Exp(f.x[i]), math.Sqrt(max(f.p[i][i], 0))}
	}
	f.whole(&k)
	return k
}

// WarmedOnly returns what the pot of raw paste is found to be by now, which has been warmed a
// little only. It means something only where Trusted.
func (f *Filter) WarmedOnly() (k Known) {
	k = f.Known()
	k.Warmed, k.Whole = true, false
	return k
}

// Passes is what gets from plate to melt over what it was taken for before anything was seen.
func (f *Filter) Passes() float64 {
	k := f.Known()
	return (1/f.first[lnContactWK].value + 1/f.first[lnCouplingWK].value) / (1/k.ContactWK.Value + 1/k.CouplingWK.Value)
}

// RestAtC is how much warmer than a melt that is held at c the plate has to be, in
// kelvin, by what is known now.
func (f *Filter) RestAtC(c float64) float64 {
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	b.couplingWK = f.thinWK
	meltX, _ := b.excess(c)
	var flow flows
	flow.meltLoss = b.meltLossWK * meltX
	wallX, _ := b.excess(c + flow.meltLoss/b.couplingWK)
	flow.wallLoss = b.wallLossWK * wallX
	return b.restC(&flow)
}

// Evidence is the logarithm of how likely the readings were, by what was awaited of
// each: of two filters that saw the same, the better one has more.
func (f *Filter) Evidence() float64 { return f.evidence }

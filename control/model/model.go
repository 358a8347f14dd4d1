// Package model is what a pot is, found out from its own readings while it is
// heated: an element warms a plate, the plate a vessel, the vessel a melt, and all
// lose heat to the room. An extended Kalman filter (Kalman, J. Basic Eng. 82 (1960)
// 35-45; Jazwinski, Stochastic Processes and Filtering Theory, 1970, ch. 8; both from
// memory) follows the temperatures and, as states that hardly move, the logarithms of
// the figures that a pot is made of, each with its uncertainty. It needs no
// experiment: an ordinary heat-up is one.
//
// It decides nothing, and whoever uses it asks Trusted first: a pot may be built
// otherwise than the model, and then its own forecasts go wrong and say so.
package model

import (
	"math"

	"meltwarden/control/reading"
)

// Pot is what is known before it has ever been heated.
type Pot struct {
	// HeaterW is the heater's rated power in watts.
	HeaterW float64
	// MeltJPerK is the melt's heat capacity in joules per kelvin, by the volume typed.
	MeltJPerK float64
	// Probes are those that it has.
	Probes reading.Probes `json:",omitempty"`
}

// The states: temperatures in degrees Celsius, then natural logarithms of figures.
const (
	element = iota
	plate
	wall // of the vessel
	melt
	plateProbe
	meltProbe
	temperatures

	lnPlateJK     = iota - 1 // heat capacity of plate and element
	lnElementS               // time constant, element to plate
	lnMeltJK                 // heat capacity of the melt
	lnContactWK              // plate to vessel
	lnCouplingWK             // vessel to melt
	lnPlateLossWK            // plate to room, at no excess
	lnMeltLossWK             // vessel and melt to room, likewise
	lnPlateProbeS            // lags of the probes
	lnMeltProbeS
	states
)

type vector [states]float64

// matrix is a covariance.
type matrix [states][states]float64

// prior is what is believed of a figure before anything was seen: its value and the
// standard deviation of its logarithm.
type prior struct{ value, sigma float64 }

// priors are estimates (E) from sizes and materials, for any pot of this trade.
func priors(p Pot) (k [states]prior) {
	k[lnPlateJK] = prior{0.45 * p.HeaterW, 0.6}
	k[lnElementS] = prior{10, 0.5}
	k[lnMeltJK] = prior{1.15 * p.MeltJPerK, 0.12}
	k[lnContactWK] = prior{0.006 * p.MeltJPerK, 0.5}
	k[lnCouplingWK] = prior{0.003 * p.MeltJPerK, 0.5}
	k[lnPlateLossWK] = prior{3e-4 * p.HeaterW, 0.7}
	k[lnMeltLossWK] = prior{5e-4 * p.MeltJPerK, 0.6}
	k[lnPlateProbeS] = prior{2.5, 0.7}
	k[lnMeltProbeS] = prior{3.5, 0.7}
	return k
}

// drift is how far each state may wander by itself, in its unit per root second (E).
// What a hand's stirring does to the coupling is most of it.
var drift = vector{
	element: 0.05, plate: 0.03, wall: 0.03, melt: 0.02, plateProbe: 0.005, meltProbe: 0.005,
	lnPlateJK: 1e-4, lnElementS: 1e-4, lnMeltJK: 2e-4, lnContactWK: 2e-4, lnCouplingWK: 0.04,
	lnPlateLossWK: 1e-3, lnMeltLossWK: 2e-3, lnPlateProbeS: 1e-4, lnMeltProbeS: 1e-4,
}

const (
	roomC     = 21.0 // E: until a cold pot shows the room's own
	coldC     = 40.0 // both probes below it, and this near each other: nothing has been heated
	agreeC    = 3.0
	startC    = 0.5  // how well a first reading is known
	heatedC   = 30.0 // how well the element of a plate that may have been heated is
	longestS  = 0.25 // Euler's steps
	mostSigma = 3.0  // how far a figure may go from its prior
)

// Filter is what is known of a pot by now. It allocates nothing once made, and is not
// safe for use by several goroutines.
type Filter struct {
	pot               Pot
	x                 vector
	p                 matrix
	first             [states]prior
	roomC             float64
	begun             bool
	nowS              float64 // since the first pair of readings
	plate, melt       channel
	trust             trust
	thinWK            float64 // the coupling over a few stirs, of the melt as a thin liquid
	evidence          float64
	thin, thick, late passage // thin before it thickens, at its thickest, and thin again
	hot               hot
	found             *body // what the pot was found to be before, as long as that is gone by
	gelShare          float64
	highC             float64 // the melt, followed from above
	fellS             float64 // when it fell unannounced; zero never
	stirredS          float64 // when a hand began to stir
	absence           absence
}

// New returns a filter that knows a pot by its priors only.
func New(p Pot) *Filter {
	f := &Filter{pot: p, first: priors(p), roomC: roomC, gelShare: gelShare}
	f.plate = newChannel(plateProbe, plate, lnPlateProbeS)
	f.melt = newChannel(meltProbe, melt, lnMeltProbeS)
	for i := lnPlateJK; i < states; i++ {
		f.x[i] = math.Log(f.first[i].value)
		f.p[i][i] = f.first[i].sigma * f.first[i].sigma
	}
	return f
}

// Step lets dt seconds pass in which the heater had a duty, 0 to 1, and takes in the
// readings of plate and melt, of those that are believed: pass any other with a fault.
// A duty or dt that is no finite number, or a dt that is not above zero, changes nothing.
func (f *Filter) Step(duty, dt float64, plateT, meltT reading.Temperature) {
	if !(duty >= 0 && duty <= 1) || !(dt > 0) || math.IsInf(dt, 0) {
		return
	}
	if !f.begun && !f.begin(plateT, meltT) {
		return
	}
	f.nowS += dt
	for left := min(dt, mostGapS); left > 1e-9; left -= longestS {
		f.pass(duty, min(left, longestS))
	}
	f.take(&f.plate, plateT)
	f.take(&f.melt, meltT)
	f.bound()
	f.absence.see(f, duty, dt, plateT, meltT)
	f.average(dt)
	f.remember(dt)
	f.follow(dt)
	f.trust.look(max(f.plate.strange, f.melt.strange), dt)
}

// average follows the coupling over a few stirs, where heat flows enough to show it.
func (f *Filter) average(dt float64) {
	if f.thinWK > 0 && f.x[plate]-f.x[melt] < showsC {
		return
	}
	thinWK := math.Exp(f.x[lnCouplingWK]) / gel(f.x[melt], f.gelShare)
	if f.thinWK == 0 {
		f.thinWK = thinWK
	}
	f.thinWK += (thinWK - f.thinWK) * min(dt/stirredOverS, 1)
}

// showsC is how much warmer than the melt a plate has to be for that, in kelvin (E).
const showsC = 25.0

// mostGapS is the longest gap that is worth predicting: nothing is known after it (E).
const mostGapS = 60.0

// begin starts all temperatures from the first pair of readings, or the first of the
// one probe that there is.
func (f *Filter) begin(plateT, meltT reading.Temperature) bool {
	plateT, meltT = f.pair(plateT, meltT)
	if !counts(plateT) || !counts(meltT) {
		return false
	}
	f.begun = true
	f.x[element], f.x[plate], f.x[plateProbe] = plateT.C, plateT.C, plateT.C
	f.x[wall], f.x[melt], f.x[meltProbe] = meltT.C, meltT.C, meltT.C
	f.highC = meltT.C
	for i := range int(temperatures) {
		f.forget(i)
		f.p[i][i] = startC * startC
	}
	cold := plateT.C < coldC && meltT.C < coldC && math.Abs(plateT.C-meltT.C) < agreeC
	if cold {
		f.roomC = (plateT.C + meltT.C) / 2
	} else {
		f.p[element][element], f.p[wall][wall] = heatedC*heatedC, heatedC*heatedC/4
	}
	f.widen(cold)
	return true
}

// forget takes away what a state has to do with others.
func (f *Filter) forget(i int) {
	for k := range int(states) {
		f.p[i][k], f.p[k][i] = 0, 0
	}
}

// Restart begins the temperatures anew with the next readings, as when a pot comes
// back to its plate, or another one in its place. What it is made of stays known.
func (f *Filter) Restart() { f.begun, f.hot.deafS, f.absence = false, deafS, absence{} }

// pass predicts over dt seconds: Euler's step of the temperatures, and of the
// covariance with the derivative F = I + A dt of that step: P becomes F P Fᵀ + Q.
func (f *Filter) pass(duty, dt float64) {
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	flow := b.flows(&f.x)
	d := b.slopes(&f.x, &flow, duty)
	a := b.jacobian(&f.x, &flow, &d, duty)
	for i := range d {
		f.x[i] += d[i] * dt
	}
	f.spread(&a, dt)
	for i := range drift {
		f.p[i][i] += drift[i] * drift[i] * dt
	}
}

// spread is P ← F P Fᵀ. A has rows for the temperatures only, most of them empty.
func (f *Filter) spread(a *[temperatures][states]float64, dt float64) {
	var rows [temperatures][states]float64
	for i := range a {
		for k, g := range a[i] {
			if g != 0 {
				for j := range rows[i] {
					rows[i][j] += g * dt * f.p[k][j]
				}
			}
		}
	}
	for i := range rows {
		for j := range rows[i] {
			f.p[i][j] += rows[i][j]
		}
	}
	var columns [states][temperatures]float64
	for i := range a {
		for k, g := range a[i] {
			if g != 0 {
				for j := range columns {
					columns[j][i] += f.p[j][k] * g * dt
				}
			}
		}
	}
	for j := range columns {
		for i := range columns[j] {
			f.p[j][i] += columns[j][i]
		}
	}
}

// bound keeps the figures within what a pot can be.
func (f *Filter) bound() {
	for i := lnPlateJK; i < states; i++ {
		mid, far := math.Log(f.first[i].value), mostSigma*f.first[i].sigma
		f.x[i] = min(max(f.x[i], mid-far), mid+far)
	}
}

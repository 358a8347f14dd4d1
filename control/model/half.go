package model

import (
	"math"

	"meltwarden/control/reading"
)

// Of a pot with one probe the other temperature is what the heat that went in and the
// probe that is there leave of it, with its band.

// Grades: E estimate.
const (
	bandSigmas = 2.0 // a band holds 19 of 20 where the model fits

	alikeC    = 4.0  // E: how well a cold probe tells of the other one's place
	unlikeC   = 60.0 // E: and a warm one, as a standard deviation: a hot pot on a cold plate
	handC     = 1.0  // E: a kitchen thermometer held in by hand, ±2 °C at two standard deviations
	mostLoose = 6.0  // E: times a variance, by one reading
	mostFarC  = 2.5  // standard deviations between a hand-held reading and what was awaited
)

// Estimate is what is known of both temperatures of a pot by now, in degrees Celsius,
// their bands to either side in kelvin, and their slopes in kelvin per second.
type Estimate struct {
	MeltC, MeltWithinC   float64
	PlateC, PlateWithinC float64
	MeltSlope            float64
	PlateSlope           float64
}

// Begun reports whether there is anything to estimate from.
func (f *Filter) Begun() bool { return f.begun }

// Estimate is what is known while the heater has a duty, 0 to 1. It means something
// only where Begun.
func (f *Filter) Estimate(duty float64) Estimate {
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	flow := b.flows(&f.x)
	d := b.slopes(&f.x, &flow, duty)
	return Estimate{
		MeltC: f.x[melt], MeltWithinC: f.band(melt), MeltSlope: d[melt],
		PlateC: f.x[plate], PlateWithinC: f.band(plate), PlateSlope: d[plate],
	}
}

func (f *Filter) band(i int) float64 { return bandSigmas * math.Sqrt(max(f.p[i][i], 0)) }

// pair takes the one reading that a pot has for both, to begin with.
func (f *Filter) pair(plateT, meltT reading.Temperature) (plate, melt reading.Temperature) {
	switch f.pot.Probes {
	case reading.PlateOnly:
		return plateT, plateT
	case reading.MeltOnly:
		return meltT, meltT
	}
	return plateT, meltT
}

// widen says after the beginning how little one probe tells of the other's place.
func (f *Filter) widen(cold bool) {
	sigma := unlikeC
	if cold {
		sigma = alikeC
	}
	var unseen []int
	switch f.pot.Probes {
	case reading.PlateOnly:
		unseen = []int{wall, melt, meltProbe}
	case reading.MeltOnly:
		unseen = []int{element, plate, plateProbe}
	}
	for _, i := range unseen {
		f.p[i][i] = sigma * sigma
	}
}

// loosen says that all that was thought of the pot is less well known than it seemed. What
// one thing has to do with another stays, so that the figures learn from a reading, too:
// rows and columns grow alike, and no variance beyond what was believed at first.
func (f *Filter) loosen(times float64) {
	var by vector
	for i := range by {
		most := unlikeC * unlikeC
		if i >= lnPlateJK {
			most = f.first[i].sigma * f.first[i].sigma
		}
		by[i] = math.Sqrt(min(max(most/f.p[i][i], 1), times))
	}
	for i := range f.p {
		for k := range f.p[i] {
			f.p[i][k] *= by[i] * by[k]
		}
	}
}

// startled is by how much an addition may have changed the melt, as a standard deviation
// (E). Of one that is read the readings soon show it.
func (f *Filter) startled() float64 {
	if f.pot.Probes == reading.PlateOnly {
		return 8
	}
	return startledC
}

// Hand takes in what a thermometer held into the melt by hand showed, in degrees
// Celsius. What is far from what was awaited is believed all the same: the model had not
// seen the melt.
func (f *Filter) Hand(c float64) {
	if !f.begun || math.IsNaN(c) || math.IsInf(c, 0) {
		return
	}
	off := c - f.x[melt]
	if far := math.Abs(off) / mostFarC; far*far > f.p[melt][melt]+handC*handC {
		f.loosen(min(far*far/f.p[melt][melt], mostLoose))
		f.p[melt][melt] = max(f.p[melt][melt], far*far)
	}
	var ph vector
	for k := range ph {
		ph[k] = f.p[k][melt]
	}
	f.correct(&ph, off, ph[melt]+handC*handC)
	f.bound()
}

// heard is by how much of the filter's own gain the readings of the probe that is there
// move what they only show by way of the model: all of the probe's own place, little of
// the other. Where a pot is not built like the model a full gain runs away with it (partial
// updates after Schmidt, Advances in Control Systems 3 (1966) 293-340, from memory).
func (f *Filter) heard() *vector {
	if f.pot.Probes == reading.PlateOnly {
		return &heardOfPlate
	}
	return &heardOfMelt
}

var (
	heardOfPlate = vector{
		element: 1, plate: 1, wall: plateTells, melt: plateTells, plateProbe: 1, meltProbe: plateTells,
		lnPlateJK: 1, lnElementS: 1, lnMeltJK: plateTells, lnContactWK: plateTells, lnCouplingWK: plateTells,
		lnPlateLossWK: 1, lnMeltLossWK: plateTells, lnPlateProbeS: 1, lnMeltProbeS: plateTells,
	}
	heardOfMelt = vector{
		element: meltTells, plate: meltTells, wall: 1, melt: 1, plateProbe: meltTells, meltProbe: 1,
		lnPlateJK: meltTells, lnElementS: meltTells, lnMeltJK: 1, lnContactWK: meltTells, lnCouplingWK: 1,
		lnPlateLossWK: meltTells, lnMeltLossWK: 1, lnPlateProbeS: meltTells, lnMeltProbeS: 1,
	}
)

const (
	plateTells = 0.2  // E
	meltTells  = 0.05 // E
)

// correctPartly is the update by one measurement with less than the filter's own gain,
// and what that leaves of the covariance.
func (f *Filter) correctPartly(ph *vector, off, variance float64) {
	heard := f.heard()
	for k := range ph {
		f.x[k] += heard[k] * ph[k] / variance * off
		for l := range ph {
			f.p[k][l] -= (heard[k] + heard[l] - heard[k]*heard[l]) * ph[k] * ph[l] / variance
		}
	}
	f.even()
}

// even takes rounding's unevenness out of the covariance: with less than the whole gain it
// would grow.
func (f *Filter) even() {
	for i := range f.p {
		for k := range i {
			f.p[i][k] = (f.p[i][k] + f.p[k][i]) / 2
			f.p[k][i] = f.p[i][k]
		}
	}
}

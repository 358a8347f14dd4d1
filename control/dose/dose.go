// Package dose says how much heat a melt has had, in minutes at 177 °C that would have
// aged it as much. A Heat remembers for how long the melt was at each degree, so that its
// dose can be told for any activation energy, also for one that is chosen later. The
// dose orders a maker's own potfuls; it foretells no yellowing: a stabilised compound
// holds out for a while, which no activation energy describes.
package dose

import (
	"math"
	"time"
)

const (
	// GasConstant is in J/(mol K) (CODATA 2018, exact).
	GasConstant = 8.314462618
	// ReferenceC is the temperature that the minutes are of, in degrees Celsius: 350 °F,
	// the usual cure (C).
	ReferenceC = 177.0
	// CoolC and HotC bound what counts, in degrees Celsius: below the first a
	// melt ages next to nothing (E: under 0.2 % of the pace at the reference at the lowest
	// published energy), above the second it counts as at temperature (E).
	CoolC, HotC = 100.0, 150.0
)

// Published activation energies of the dehydrochlorination of PVC, in kJ/mol:
//
//	117.5 Li, Zhou, Zhao, Polym. Degrad. Stab. 22 (1988) 31, abstract
//	150   Krongauz, Lee, Bourassa, J. Therm. Anal. Calorim. (about 2011), abstract: "about"
//	159.7 non-isothermal, in nitrogen, first step: an abstract whose authors are not known
const (
	LowKJ     = 117.5
	DefaultKJ = 150.0
	HighKJ    = 159.7
)

// Pace is how many times faster than at ReferenceC a melt ages at a temperature in degrees
// Celsius: exp(-E/R (1/T - 1/Tref)), T in kelvins (Arrhenius), for an activation energy in
// kJ/mol.
func Pace(c, kJ float64) float64 {
	const zeroK = 273.15
	return math.Exp(-1000 * kJ / GasConstant * (1/(c+zeroK) - 1/(ReferenceC+zeroK)))
}

// degrees is the number of whole degrees that are told apart, from 0 °C on; a melt below
// or above counts as at the first or the last of them.
const degrees = 261

// longestStep is the longest time between two readings that is no gap (E: twenty cycles).
const longestStep = 4 * time.Second

// What may be unknown in a Heat whose dose counts as known (E): a twentieth of the time
// that matters, or half a minute.
const (
	mostUnknownShare = 0.05
	leastUnknownS    = 30.0
)

// Heat is what a melt has had: how long it was at each degree. The zero value has had
// none.
//
// Between two readings the time is halved between the temperatures at its two ends, which
// makes every sum over it the trapezoid's; and each half is shared between the two whole
// degrees beside it, which takes a pace for straight within a degree: the dose comes out
// up to 0.1 % too high for energies up to 160 kJ/mol.
type Heat struct {
	// S are seconds at each whole degree from 0 °C on, UnknownS those of which nobody knows.
	S        [degrees]float64
	UnknownS float64

	lastC float64
	seen  bool
	gapS  float64 // of the gap that is open
}

// Add takes in a reading in degrees Celsius, NaN where there is no usable one, and the time
// since the one before. Nothing is made up for a gap: it counts as unknown, unless the
// melt was below CoolC at both of its ends.
func (h *Heat) Add(c float64, elapsed time.Duration) {
	s := elapsed.Seconds()
	if !(s >= 0) {
		return
	}
	if math.IsNaN(c) || math.IsInf(c, 0) {
		h.gapS += s
		return
	}
	switch gap := h.gapS > 0 || elapsed > longestStep; {
	case !h.seen && c < CoolC:
		h.gapS = 0
	case !h.seen, gap && math.Max(c, h.lastC) >= CoolC:
		h.UnknownS += h.gapS + s
		h.gapS = 0
	case gap:
		h.gapS = 0
	default:
		h.spend(h.lastC, s/2)
		h.spend(c, s/2)
	}
	h.lastC, h.seen = c, true
}

// Unwatched says that nobody read the melt for a time: a gap. A clock that was set back
// makes none shorter.
func (h *Heat) Unwatched(d time.Duration) {
	h.gapS += max(0, d.Seconds())
	h.seen = false
}

// spend adds a time at a temperature.
func (h *Heat) spend(c, s float64) {
	c = math.Min(math.Max(c, 0), degrees-1)
	low := math.Floor(c)
	i := int(low)
	h.S[i] += s * (1 - (c - low))
	if i+1 < degrees {
		h.S[i+1] += s * (c - low)
	}
}

// Settled is the heat as it can be kept: a gap that is still open counts as unknown.
func (h *Heat) Settled() Heat {
	return Heat{S: h.S, UnknownS: h.UnknownS + h.gapS}
}

// Plus is this heat and another one together.
func (h *Heat) Plus(o Heat) Heat {
	sum := h.Settled()
	for i := range o.S {
		sum.S[i] += o.S[i]
	}
	sum.UnknownS += o.UnknownS + o.gapS
	return sum
}

// Known reports whether little enough is unknown for the dose to be told.
func (h *Heat) Known() bool {
	unknown := h.UnknownS + h.gapS
	return unknown <= leastUnknownS || (1-mostUnknownShare)*unknown <= mostUnknownShare*60*h.MinutesAbove(CoolC)
}

// Minutes is the heat dose in equal minutes at ReferenceC, for an activation energy in
// kJ/mol.
func (h *Heat) Minutes(kJ float64) float64 {
	return h.Sum(func(c float64) float64 { return Pace(c, kJ) }) / 60
}

// Sum is the time in seconds, each weighted by a pace at its temperature in degrees
// Celsius.
func (h *Heat) Sum(pace func(c float64) float64) float64 {
	sum := 0.0
	for i, s := range h.S {
		if s > 0 {
			sum += s * pace(float64(i))
		}
	}
	return sum
}

// MinutesAbove are the minutes at or above a temperature in degrees Celsius, to half a
// degree.
func (h *Heat) MinutesAbove(c float64) float64 {
	return h.Sum(func(at float64) float64 {
		if at >= c {
			return 1
		}
		return 0
	}) / 60
}

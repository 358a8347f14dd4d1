// Package melt is what liquid vinyl, and the metals that it meets, are taken to be: each
// figure with what it lies between, because published values differ and nobody has
// measured this maker's own. Whatever is reckoned from them is an estimate with a low and
// a high.
package melt

import "math"

// Range is a figure that is not known exactly: what it is taken for, and the least and
// the most that it may be.
type Range struct {
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

// Exactly is a figure without a spread.
func Exactly(v float64) Range { return Range{v, v, v} }

// Stuff is what conducts heat.
type Stuff struct {
	Name string
	// K is the thermal conductivity in W/(m K), Rho the density in kg/m³ and C the
	// specific heat in J/(kg K).
	K, Rho, C Range
}

// Grades: P published, M from memory, E our estimate. None is measured on this bench.
var (
	// Plastisol is fused, soft and hot.
	//
	// K: P (two property pages of plasticised PVC: 0.13 to 0.20 and 0.17).
	// Rho: P (flexible PVC, 1.10 to 1.35 g/cm³: Titow, PVC Technology, 1984, appendix 1;
	// PVC institute bulletin 03, 2002); in the middle E: lures are soft.
	// C: M, hot. Of two property pages one has 1.4 and one 0.8 to 0.9 kJ/(kg K), 1.7 times
	// less, both at room temperature; the lower one is left out: it looks low for a
	// soft grade.
	Plastisol = Stuff{"plastisol", Range{0.13, 0.17, 0.20}, Range{1100, 1150, 1350}, Range{1400, 1700, 2100}}

	// Aluminium: M, alloys that moulds and injectors are made of.
	Aluminium = Stuff{"aluminium", Range{120, 170, 235}, Exactly(2700), Exactly(900)}
	// Steel: M, from stainless to plain.
	Steel = Stuff{"steel", Range{15, 50, 60}, Exactly(7850), Exactly(470)}
)

// Where a cooling melt changes, in degrees Celsius (M: a clear paste from 110 to 150 °C,
// gel below it).
const (
	PasteC = 150.0 // below it, it hardly flows any more
	SetC   = 110.0 // below it, it keeps its shape
)

// Metals are those that a mould can be of.
func Metals() []Stuff { return []Stuff{Aluminium, Steel} }

// Diffusivity is k/(ρ·c), in m²/s.
func (s Stuff) Diffusivity() Range {
	return Range{
		s.K.Low / (s.Rho.High * s.C.High), s.K.Mid / (s.Rho.Mid * s.C.Mid), s.K.High / (s.Rho.Low * s.C.Low),
	}
}

// Effusivity is √(k·ρ·c), in W·√s/(m²·K).
func (s Stuff) Effusivity() Range {
	return Range{
		math.Sqrt(s.K.Low * s.Rho.Low * s.C.Low), math.Sqrt(s.K.Mid * s.Rho.Mid * s.C.Mid), math.Sqrt(s.K.High * s.Rho.High * s.C.High),
	}
}

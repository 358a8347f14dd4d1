// Package zoo has pots to judge loops by: physically different ones, drawn from
// what a bench can be and apart from the demo bench, so that no loop is judged on
// the pots it was made on. An element heats a plate, the plate a vessel, the vessel
// the melt; some have more than that. None was chosen to suit a loop.
//
// It is for tests only. Randomness comes from the sources it is given; time passes
// only by Step. Plants are values: a copy goes on by itself.
package zoo

import "math"

// Spec is a pot as built. Every figure is an estimate from trade sizes and
// handbook values of materials, ±30 to 50 %, unless a source is named.
type Spec struct {
	Name string

	VolumeML    float64 // liquid vinyl that is really in it
	TypedShare  float64 // volume typed over volume, 0.9 to 1.1: nobody measures closely
	DepthM      float64 // of the melt
	RatedW      float64 // on the heater's plate
	Gain        float64 // true watts over rated at nominal mains
	PlateLimitC float64 // the loop is told to keep the plate under it

	ElementJKW  float64 // J/K per rated watt
	PlateJKW    float64 // J/K per rated watt, rim included
	ElementWKW  float64 // conductance element to plate, W/K per rated watt
	PlateAreaM2 float64 // open to the room, without what the vessel covers
	PlateGrey   float64 // emissivity of the plate, 0 to 1

	VesselJKM2  float64 // vessel's wall, J/K per m² of wall
	ContactWKM2 float64 // plate or bath to vessel, W/K per m² of bottom
	VesselGrey  float64 // emissivity of the vessel, 0 to 1

	MeltJGK   float64 // specific heat of the melt, J/(g K)
	GramsML   float64 // density of the melt, g/mL
	FusingJG  float64 // taken up once as raw paste fuses, J/g
	MeltGrey  float64 // emissivity of the melt, 0 to 1
	Gel       Gel
	StirredWK float64 // vessel to melt while stirred, W/K per m² of wetted wall
	Still     float64 // what is left of it in a melt long unstirred, 0 to 1
	FadeS     float64 // time constant from stirred to still
	Stir      Stirring

	Layer Layer
	Rim   Rim
	Bath  Bath

	RoomC        float64
	ConvectionWK float64 // free convection of the room's air, W/(m² K)

	MeltProbe, PlateProbe ProbeSpec
}

// Gel is the thickening stage of raw paste, by the hottest it has been: from FromC
// to ThickC the coupling falls to Share of itself, from UntilC to ThinC it recovers.
type Gel struct{ FromC, ThickC, UntilC, ThinC, Share float64 }

// Stirring is what the hand does by habit: it stirs for ForS seconds every EveryS
// seconds; zero EveryS never. Both are in whole steps.
type Stirring struct{ EveryS, ForS float64 }

// Layer is a share of the melt (0: none) that lies unstirred beside it, touches no
// wall, and is not seen by the probe. WK is its conductance to the rest in W/K,
// Stirred how many times that is while a hand stirs.
type Layer struct{ Share, WK, Stirred float64 }

// Rim is a share of the plate (0: none) that takes heat only by way of the rest
// of it, with WK in W/K; the plate's probe is not there.
type Rim struct{ Share, WK float64 }

// Bath is oil between plate and vessel (JK 0: none): its heat capacity in J/K and
// its conductance to the plate in W/K.
type Bath struct{ JK, WK float64 }

// TypedML is the volume that the maker typed.
func (s *Spec) TypedML() float64 { return s.VolumeML * s.TypedShare }

// MeltJK is the heat capacity of the whole melt in J/K.
func (s *Spec) MeltJK() float64 { return s.VolumeML * s.GramsML * s.MeltJGK }

// TrueW is what the heater draws at nominal mains.
func (s *Spec) TrueW() float64 { return s.RatedW * s.Gain }

// bottomM2 and sideM2 are the vessel's bottom and wetted side, a cylinder.
func (s *Spec) bottomM2() float64 { return s.VolumeML * 1e-6 / s.DepthM }
func (s *Spec) sideM2() float64   { return 2 * s.DepthM * math.Sqrt(math.Pi*s.bottomM2()) }

// WallMeltWK is the stirred coupling of vessel and melt in W/K.
func (s *Spec) WallMeltWK() float64 { return s.StirredWK * (s.bottomM2() + s.sideM2()) }

// ContactWK is the coupling of plate, or bath, and vessel in W/K.
func (s *Spec) ContactWK() float64 { return s.ContactWKM2 * s.bottomM2() }

// WallJK is the heat capacity of the vessel in J/K, a quarter of its side above the melt.
func (s *Spec) WallJK() float64 { return s.VesselJKM2 * (s.bottomM2() + 1.25*s.sideM2()) }

// MeltTauS is the melt's time constant behind its plate in seconds, stirred and
// thin: its heat capacity over the conductances in series.
func (s *Spec) MeltTauS() float64 {
	k := 1/s.WallMeltWK() + 1/s.ContactWK()
	if s.Bath.JK > 0 {
		k += 1 / s.Bath.WK
	}
	return s.MeltJK() * k
}

// PlateTauS is how long the plate's stored heat needs into the melt, in seconds,
// stirred and thin: the two heat capacities in series over the conductances.
func (s *Spec) PlateTauS() float64 {
	plate := (s.ElementJKW+s.PlateJKW)*s.RatedW + s.Bath.JK
	return s.MeltTauS() * plate / (plate + s.MeltJK())
}

// thinness is what a gel leaves of the coupling when the hottest has been hottestC.
func (g *Gel) thinness(hottestC float64) float64 {
	switch {
	case hottestC <= g.FromC || hottestC >= g.ThinC:
		return 1
	case hottestC < g.ThickC:
		return 1 - (1-g.Share)*(hottestC-g.FromC)/(g.ThickC-g.FromC)
	case hottestC <= g.UntilC:
		return g.Share
	}
	return g.Share + (1-g.Share)*(hottestC-g.UntilC)/(g.ThinC-g.UntilC)
}

package physics

import (
	"math"
	"time"
)

// PlateKind is how a hot plate is built.
type PlateKind uint8

// The two kinds of hot plate on a small bench.
const (
	// Cast is a heavy cast-iron plate: slow, and full of heat after the cut.
	Cast PlateKind = iota
	// Thin is a sheet-metal or aluminium plate with less than half of that heat.
	Thin
)

// PotSpec is one pot with its plate, element and probes, as built. SI units but
// for temperatures in degrees Celsius and volumes in millilitres.
type PotSpec struct {
	VolumeML float64 // liquid vinyl in the pot
	HeaterW  float64 // rated power
	// HeaterGain is true power over rated power at the nominal mains voltage.
	HeaterGain float64

	ElementJK float64 // heat capacity of the heating element, J/K
	PlateJK   float64 // of the plate
	WallJK    float64 // of the vessel's metal
	MeltJKgK  float64 // specific heat of the melt, J/(kg K)
	FusingJKg float64 // heat taken up once by fusing, J/kg

	ElementPlateWK float64 // conductance element to plate, W/K
	PlateWallWK    float64 // contact of vessel and plate
	StirredWK      float64 // wall to melt while stirred
	// StillShare is what is left of StirredWK in a melt long unstirred, and
	// StirFade the time constant of getting there.
	StillShare float64
	StirFade   time.Duration

	// GelFromC to GelUntilC is where raw plastisol is so thick that it barely
	// mixes, GelShare what is left of its coupling there, and ThinFromC where it
	// is a liquid again.
	GelFromC, GelUntilC, ThinFromC float64
	GelShare                       float64

	// ClearAfter is how long the melt takes to become clear at ClearAtC; the
	// time changes with temperature by the Arrhenius law.
	ClearAfter time.Duration

	MeltAreaM2   float64 // open surface of the melt, and the vessel's bottom
	WallAreaM2   float64 // outside of the vessel, without the bottom
	PlateAreaM2  float64 // of the plate, without what the vessel covers
	ConvectionWK float64 // heat transfer coefficient of still air, W/(m² K)

	MeltProbe, PlateProbe ProbeSpec
}

// DensityKGL is the density of the liquid vinyl in kg/L, as the trade counts it
// (estimate; plasticised PVC compounds proper are 1.10 to 1.35).
const DensityKGL = 1.04

// ClearAtC is the temperature that PotSpec.ClearAfter is stated for.
const ClearAtC = 170

// Nominal returns a pot in the middle of what such a bench can be, from what
// its maker knows of it. Every figure is an estimate of ±30 to 50 % unless a
// source is named; Sample varies them.
func Nominal(volumeML, heaterW float64, kind PlateKind) PotSpec {
	const depthM = 0.04 // usual depth of melt; common practice, no source
	bottom := volumeML * 1e-6 / depthM
	side := math.Pi * math.Sqrt(4*bottom/math.Pi) * depthM
	// Joules per kelvin and watt of rating: a 1 kW cast plate with its element
	// holds about 60 kJ above the pot's temperature when at 275 °C (estimate).
	plateJKW := 0.55
	if kind == Thin {
		plateJKW = 0.2 // estimate
	}
	return PotSpec{
		VolumeML: volumeML, HeaterW: heaterW, HeaterGain: 0.98,
		ElementJK: 0.1 * heaterW,
		PlateJK:   plateJKW * heaterW,
		WallJK:    4500 * (bottom + side), // 1.2 mm of steel, handbook 7900 kg/m³ and 480 J/(kg K)
		// Between the published 1.4 of a compound and about 2 of the plasticiser
		// alone, at pouring temperature; estimate.
		MeltJKgK:  2000,
		FusingJKg: 5000, // a few per cent of crystallites melting; estimate

		ElementPlateWK: 0.01 * heaterW,
		PlateWallWK:    600 * bottom,          // dry metal on metal, not quite flat: 200 to 1000 W/(m² K)
		StirredWK:      145 * (bottom + side), // between the trade's "good" and "vigorous" stirring
		StillShare:     0.4,                   // the trade's "light" stirring
		StirFade:       30 * time.Second,

		// Published: gelation from 75 to 105 °C; upper ends from memory.
		GelFromC: 75, GelUntilC: 110, ThinFromC: 150,
		GelShare: 0.35,

		ClearAfter: 75 * time.Second, // common practice asks for a dwell of 90 s

		MeltAreaM2:  bottom,
		WallAreaM2:  1.25 * side,    // a rim above the melt
		PlateAreaM2: 2e-5 * heaterW, // 200 cm² for 1 kW, the vessel's place left out
		// Free convection of gases 2 to 25 W/(m² K) (Incropera, table 1.1).
		ConvectionWK: 5.5,

		MeltProbe:  ProbeSpec{Lag: 3 * time.Second, Dead: 800 * time.Millisecond, AirLag: 50 * time.Second},
		PlateProbe: ProbeSpec{Lag: 2 * time.Second, Dead: 400 * time.Millisecond, AirLag: 50 * time.Second},
	}
}

// Emissivities: handbook ranges, middle taken. Plastics and dark liquids 0.9 to
// 0.95, bright sheet steel 0.2 to 0.4, oxidised cast iron 0.6 to 0.9.
const (
	meltEmissivity  = 0.9
	wallEmissivity  = 0.3
	plateEmissivity = 0.75
)

func (s PotSpec) meltSurface() surface {
	return surface{s.MeltAreaM2, s.ConvectionWK, meltEmissivity}
}

func (s PotSpec) wallSurface() surface {
	return surface{s.WallAreaM2, s.ConvectionWK, wallEmissivity}
}

func (s PotSpec) bottomSurface() surface {
	return surface{s.MeltAreaM2, s.ConvectionWK, wallEmissivity}
}

func (s PotSpec) plateSurface() surface {
	return surface{s.PlateAreaM2, s.ConvectionWK, plateEmissivity}
}

// coveredSurface is the part of the plate that the vessel keeps warm while it
// stands there.
func (s PotSpec) coveredSurface() surface {
	return surface{s.MeltAreaM2, s.ConvectionWK, plateEmissivity}
}

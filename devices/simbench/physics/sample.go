package physics

import (
	"math/rand/v2"
	"time"
)

// Sample returns a pot that could as well be the one on the bench: each
// parameter of the given one is moved, evenly, within the range that nobody can
// know without measuring.
func Sample(nominal PotSpec, from *rand.Rand) PotSpec {
	s := nominal
	by := func(share float64, values ...*float64) {
		for _, v := range values {
			*v *= around(from, share)
		}
	}
	by(0.05, &s.HeaterGain)
	by(0.15, &s.MeltJKgK, &s.VolumeML) // nobody measures a pot of raw plastisol closely
	by(0.20, &s.ElementJK, &s.PlateJK, &s.WallJK)
	by(0.30, &s.ElementPlateWK, &s.PlateWallWK, &s.StirredWK, &s.StillShare, &s.GelShare)
	by(0.20, &s.MeltAreaM2, &s.WallAreaM2)
	by(0.25, &s.PlateAreaM2, &s.ConvectionWK)
	by(0.50, &s.FusingJKg)
	gel := 5 * (2*from.Float64() - 1)
	s.GelFromC += gel
	s.GelUntilC += gel
	s.StirFade = spread(from, s.StirFade, 0.3)
	s.ClearAfter = spread(from, s.ClearAfter, 0.4)
	s.MeltProbe = sampleProbe(s.MeltProbe, from)
	s.PlateProbe = sampleProbe(s.PlateProbe, from)
	return s
}

// Another returns the same pot on another evening: as much as was measured by hand, of
// another lot, put down and stirred anew. How far these are off, evenly, is an estimate.
func Another(same PotSpec, from *rand.Rand) PotSpec {
	s := same
	s.VolumeML *= around(from, 0.05)
	s.MeltJKgK *= around(from, 0.03)
	s.FusingJKg *= around(from, 0.10)
	s.PlateWallWK *= around(from, 0.15)
	s.StirredWK *= around(from, 0.15)
	s.StillShare *= around(from, 0.15)
	s.ConvectionWK *= around(from, 0.10)
	return s
}

// sampleProbe stays mostly within ±1 °C; class 2 of IEC 60584-1 allows ±2.5 °C.
func sampleProbe(nominal ProbeSpec, from *rand.Rand) ProbeSpec {
	s := nominal
	s.Lag = spread(from, s.Lag, 0.5)
	s.Dead = spread(from, s.Dead, 0.5)
	s.AirLag = spread(from, s.AirLag, 0.2)
	s.OffsetC = max(-classTwoC, min(classTwoC, 0.6*from.NormFloat64()))
	return s
}

// classTwoC is the tolerance of a class 2 thermocouple of type K or J up to
// 333 °C: IEC 60584-1.
const classTwoC = 2.5

func around(from *rand.Rand, share float64) float64 { return 1 + share*(2*from.Float64()-1) }

func spread(from *rand.Rand, d time.Duration, share float64) time.Duration {
	return time.Duration(float64(d) * around(from, share))
}

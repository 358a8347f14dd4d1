package zoo

import "math/rand/v2"

// Range is what a figure of a random pot is drawn from, evenly.
type Range struct {
	Name      string
	Low, High float64
	put       func(s *Spec, x float64)
}

// Ranges lists what every random pot draws, in this order.
func Ranges() []Range {
	return append(misjudged(), []Range{
		{"volume, mL", 150, 500, func(s *Spec, x float64) { s.VolumeML = x }},
		{"depth, m", 0.035, 0.06, func(s *Spec, x float64) { s.DepthM = x }},
		{"true over rated watts", 0.92, 1.08, func(s *Spec, x float64) { s.Gain = x }},
		{"plate limit, °C", 215, 245, func(s *Spec, x float64) { s.PlateLimitC = x }},
		{"element, J/K per W", 0.04, 0.12, func(s *Spec, x float64) { s.ElementJKW = x }},
		{"element to plate, W/K per W", 0.006, 0.015, func(s *Spec, x float64) { s.ElementWKW = x }},
		{"open plate, m²", 0.012, 0.032, func(s *Spec, x float64) { s.PlateAreaM2 = x }},
		{"plate's emissivity", 0.3, 0.9, func(s *Spec, x float64) { s.PlateGrey = x }},
		{"melt, J/(g K)", 1.7, 2.3, func(s *Spec, x float64) { s.MeltJGK = x }},
		{"melt, g/mL", 1.0, 1.1, func(s *Spec, x float64) { s.GramsML = x }},
		{"fusing, J/g", 0, 12, func(s *Spec, x float64) { s.FusingJG = x }},
		{"gel from, °C", 75, 82, func(s *Spec, x float64) { s.Gel.FromC, s.Gel.ThickC = x, x+10 }},
		{"gel until, °C", 102, 112, func(s *Spec, x float64) { s.Gel.UntilC = x }},
		{"thin from, °C", 125, 150, func(s *Spec, x float64) { s.Gel.ThinC = x }},
		{"coupling left by the gel", 0.2, 0.6, func(s *Spec, x float64) { s.Gel.Share = x }},
		{"stirred coupling, W/(m² K)", 90, 190, func(s *Spec, x float64) { s.StirredWK = x }},
		{"coupling left when still", 0.25, 0.7, func(s *Spec, x float64) { s.Still = x }},
		{"stirred to still, s", 15, 50, func(s *Spec, x float64) { s.FadeS = x }},
		{"room, °C", 15, 30, func(s *Spec, x float64) { s.RoomC = x }},
		{"convection, W/(m² K)", 4, 9, func(s *Spec, x float64) { s.ConvectionWK = x }},
		{"melt probe's lag, s", 0.5, 8, func(s *Spec, x float64) { s.MeltProbe.LagS = x }},
		{"melt probe's dead time, s", 0.1, 1.5, func(s *Spec, x float64) { s.MeltProbe.DeadS = x }},
		{"melt probe's noise, °C", 0.05, 0.25, func(s *Spec, x float64) { s.MeltProbe.NoiseC = x }},
		{"plate probe's lag, s", 0.5, 6, func(s *Spec, x float64) { s.PlateProbe.LagS = x }},
		{"plate probe's dead time, s", 0.1, 1.5, func(s *Spec, x float64) { s.PlateProbe.DeadS = x }},
		{"plate probe's noise, °C", 0.05, 0.25, func(s *Spec, x float64) { s.PlateProbe.NoiseC = x }},
	}...)
}

// misjudged is what a maker gets wrong about a pot: the volume, and its probes' errors,
// small because channels are compared cold and set right.
func misjudged() []Range {
	return []Range{
		{"typed over true volume", 0.9, 1.1, func(s *Spec, x float64) { s.TypedShare = x }},
		{"melt probe's offset, °C", -0.3, 0.3, func(s *Spec, x float64) { s.MeltProbe.OffsetC = x }},
		{"plate probe's offset, °C", -1, 1, func(s *Spec, x float64) { s.PlateProbe.OffsetC = x }},
	}
}

// Misjudge draws anew what a maker gets wrong about the pot. Its limits stay.
func (s *Spec) Misjudge(from *rand.Rand) {
	for _, r := range misjudged() {
		r.put(s, between(from, r.Low, r.High))
	}
}

func between(from *rand.Rand, low, high float64) float64 { return low + (high-low)*from.Float64() }

// Sample returns a pot drawn from Ranges, and what it is made of from kinds: half
// of them on cast plates, one of three vessels, one of five wattages that fits the
// volume, and three in eight of a structure that is more than plate, vessel and melt.
func Sample(from *rand.Rand) Spec {
	s := middle()
	for _, r := range Ranges() {
		r.put(&s, between(from, r.Low, r.High))
	}
	sampleVessel(&s, from)
	samplePower(&s, from)
	sampleHand(&s, from)
	sampleProbes(&s, from)
	sampleStructure(&s, from)
	return s
}

// samplePower takes a wattage from 2 to 6 W for each millilitre, as makers do (E).
func samplePower(s *Spec, from *rand.Rand) {
	for {
		s.RatedW = []float64{500, 750, 1000, 1200, 1500}[from.IntN(5)]
		if w := s.RatedW / s.VolumeML; w >= 2 && w <= 6 {
			break
		}
	}
	s.PlateJKW = between(from, 0.12, 0.25)
	if from.IntN(2) == 0 {
		s.PlateJKW = between(from, 0.4, 0.7)
	}
}

func sampleVessel(s *Spec, from *rand.Rand) {
	[]func(*Spec){func(*Spec) {}, alu, glass}[from.IntN(3)](s)
	s.ContactWKM2 *= between(from, 0.7, 1.4)
	s.VesselJKM2 *= between(from, 0.7, 1.4)
}

func sampleHand(s *Spec, from *rand.Rand) {
	s.Stir = []Stirring{{30, 8}, {60, 8}, {20, 6}}[from.IntN(3)]
}

func sampleProbes(s *Spec, from *rand.Rand) {
	for _, p := range []*ProbeSpec{&s.MeltProbe, &s.PlateProbe} {
		p.StepC = []float64{0.1, 0.25}[from.IntN(2)]
		if from.IntN(2) == 0 {
			p.SecondS = p.LagS / 4
		}
	}
}

func sampleStructure(s *Spec, from *rand.Rand) {
	switch from.IntN(8) {
	case 0:
		s.Layer = Layer{Share: between(from, 0.12, 0.3), WK: between(from, 0.3, 0.8), Stirred: between(from, 2, 4)}
	case 1:
		s.Rim = Rim{Share: between(from, 0.3, 0.6), WK: between(from, 1.5, 5)}
	case 2:
		s.Bath = Bath{JK: between(from, 150, 350), WK: between(from, 6, 12)}
	}
}

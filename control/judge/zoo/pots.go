package zoo

// middle is a pot in the middle of what such benches are: 0.25 L in a steel cup on
// a 1 kW cast plate. Grades: E estimate, C common practice, M from memory.
func middle() Spec {
	return Spec{
		VolumeML: 250, TypedShare: 1, DepthM: 0.045, RatedW: 1000, Gain: 1, PlateLimitC: 230, // C
		ElementJKW: 0.08, PlateJKW: 0.55, ElementWKW: 0.01, PlateAreaM2: 0.022, PlateGrey: 0.7, // E
		VesselJKM2: 3800, ContactWKM2: 600, VesselGrey: 0.3, // 1 mm of steel: 7900 kg/m³ × 480 J/(kg K); dry contact E
		MeltJGK: 2.0, GramsML: 1.04, FusingJG: 5, MeltGrey: 0.9, // E
		Gel:       Gel{FromC: 77, ThickC: 90, UntilC: 110, ThinC: 138, Share: 0.4},  // gelation 75 to 110 °C, upper ends M
		StirredWK: 140, Still: 0.45, FadeS: 30, Stir: Stirring{EveryS: 30, ForS: 8}, // E: 10 to 20 minutes' heat-up with a wall at 200 °C
		RoomC: 21, ConvectionWK: 5.5, // free convection of air 2 to 25, handbook
		MeltProbe:  ProbeSpec{LagS: 2.5, DeadS: 0.6, NoiseC: 0.12, StepC: 0.25},
		PlateProbe: ProbeSpec{LagS: 2, DeadS: 0.4, NoiseC: 0.12, StepC: 0.25},
	}
}

func thin(s *Spec)  { s.PlateJKW, s.ElementJKW, s.PlateAreaM2 = 0.18, 0.06, 0.016 }
func glass(s *Spec) { s.VesselJKM2, s.ContactWKM2, s.VesselGrey = 5000, 230, 0.9 } // 3 mm: 2230 kg/m³ × 750 J/(kg K); 1.1 W/(m K)
func alu(s *Spec)   { s.VesselJKM2, s.ContactWKM2, s.VesselGrey = 4900, 900, 0.15 }

// Named returns the pots that are always judged. They differ in what decides how
// a pot heats, and were not moved after a loop had been run on them. What a maker
// gets wrong about them is for Misjudge to draw.
func Named() []Spec {
	var all []Spec
	add := func(name string, differ func(*Spec)) {
		s := middle()
		differ(&s)
		s.Name = name
		all = append(all, s)
	}
	add("small, weak, thin", func(s *Spec) {
		thin(s)
		s.VolumeML, s.RatedW, s.DepthM, s.Gain = 150, 500, 0.04, 0.95
	})
	add("small, strong, fast", func(s *Spec) {
		thin(s)
		alu(s)
		s.VolumeML, s.RatedW, s.DepthM, s.StirredWK, s.Still = 150, 1000, 0.035, 190, 0.6
		s.MeltProbe = ProbeSpec{LagS: 0.6, DeadS: 0.1, NoiseC: 0.2, StepC: 0.25}
		s.PlateProbe = ProbeSpec{LagS: 0.6, DeadS: 0.1, NoiseC: 0.2, StepC: 0.25}
	})
	add("quarter, cast", func(s *Spec) {})
	add("quarter, thin", func(s *Spec) {
		thin(s)
		s.RatedW, s.Gain, s.TypedShare, s.PlateLimitC = 800, 1.06, 0.92, 220
	})
	add("half, heavy cast", func(s *Spec) {
		s.VolumeML, s.RatedW, s.DepthM, s.PlateJKW, s.PlateAreaM2, s.Gain = 500, 1500, 0.055, 0.7, 0.03, 1.04
	})
	add("half, weak", func(s *Spec) {
		thin(s)
		alu(s)
		s.VolumeML, s.RatedW, s.DepthM, s.Gain = 500, 700, 0.055, 0.93
	})
	add("glass cup", func(s *Spec) {
		glass(s)
		s.VolumeML, s.RatedW, s.PlateLimitC, s.StirredWK = 200, 750, 245, 120
	})
	add("slow probes", func(s *Spec) {
		s.VolumeML = 300
		s.MeltProbe = ProbeSpec{LagS: 8, SecondS: 2, DeadS: 1.4, NoiseC: 0.06, StepC: 0.1}
		s.PlateProbe = ProbeSpec{LagS: 6, SecondS: 1.5, DeadS: 1, NoiseC: 0.06, StepC: 0.1}
	})
	add("noisy probes", func(s *Spec) {
		s.VolumeML, s.RatedW, s.PlateJKW = 350, 1200, 0.45
		s.MeltProbe.NoiseC, s.PlateProbe.NoiseC = 0.25, 0.25
	})
	add("stiff gel", func(s *Spec) {
		s.VolumeML, s.FusingJG = 300, 10
		s.Gel = Gel{FromC: 75, ThickC: 84, UntilC: 112, ThinC: 150, Share: 0.2}
	})
	add("seldom stirred", func(s *Spec) {
		s.RatedW, s.Still, s.FadeS, s.Stir = 900, 0.28, 20, Stirring{EveryS: 60, ForS: 6}
	})
	add("great losses", func(s *Spec) {
		s.VolumeML, s.RatedW, s.Gain, s.DepthM = 220, 800, 0.92, 0.035
		s.PlateAreaM2, s.PlateGrey, s.ConvectionWK, s.RoomC, s.VesselGrey = 0.032, 0.9, 8, 15, 0.9
	})
	add("unseen layer", func(s *Spec) {
		s.VolumeML, s.Layer = 300, Layer{Share: 0.22, WK: 0.45, Stirred: 3}
	})
	add("two-part plate", func(s *Spec) {
		s.PlateJKW, s.Rim = 0.7, Rim{Share: 0.5, WK: 3}
	})
	add("oil bath", func(s *Spec) {
		thin(s)
		s.VolumeML, s.Bath, s.PlateLimitC = 200, Bath{JK: 280, WK: 9}, 240
		s.ContactWKM2 = 900
	})
	return all
}

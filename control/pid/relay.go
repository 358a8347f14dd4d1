package pid

import "math"

// RelayGain is the ultimate gain that a relay of ±d shows by the amplitude a of
// its oscillation (half of peak to peak): 4d/(π√(a²-ε²)), ε half the relay's
// hysteresis, all in process units but d (Åström and Hägglund, Automatica 20
// (1984) 645-651). It takes the oscillation for a sine, and is low by 10 to 20 %
// where a lag is not much shorter than the delay.
func RelayGain(d, a, epsilon float64) float64 {
	return 4 * d / (math.Pi * math.Sqrt(a*a-epsilon*epsilon))
}

// TyreusLuyben returns PI gains by the ultimate gain and its period in seconds, for
// what integrates or nearly does (Tyreus and Luyben, Ind. Eng. Chem. Res. 31 (1992)
// 2625-2628, from memory): Kc = Ku/3.2, τI = 2.2 Pu.
func TyreusLuyben(gain, period float64) Gains {
	return Gains{Kp: gain / 3.2, Ti: 2.2 * period, Weight: 1}
}

// TyreusLuybenPID returns PID gains by the same rule: Kc = Ku/2.2, τI = 2.2 Pu,
// τD = Pu/6.3.
func TyreusLuybenPID(gain, period float64) Gains {
	return FromSeries(gain/2.2, 2.2*period, period/6.3)
}

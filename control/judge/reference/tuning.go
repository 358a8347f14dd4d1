package reference

import (
	"cmp"
	"math"
	"slices"

	"meltwarden/control/pid"
)

// Model is a process k·e^(-θs)/((τ1 s+1)(τ2 s+1)), τ1 ≥ τ2. K is in process units
// per unit of output, times are in seconds; Tau2 zero: of first order.
type Model struct{ K, Theta, Tau1, Tau2 float64 }

// Process is a process with any number of lags: k·e^(-θs)·Π(zⱼ s+1)/Π(τᵢ s+1).
// Zeros below zero answer the wrong way first.
type Process struct {
	K, Theta    float64
	Lags, Zeros []float64
}

// HalfRule reduces a process to its keep largest lags, 1 or 2 (Skogestad, J.
// Process Control 13 (2003) 291-309): the largest lag dropped is divided between
// the smallest one kept and the delay, which also takes all the smaller lags and,
// from it taken away, the zeros. A zero as slow as a lag must have been cancelled
// against it before.
func (p Process) HalfRule(keep int) Model {
	lags := slices.Clone(p.Lags)
	slices.SortFunc(lags, func(a, b float64) int { return cmp.Compare(b, a) })
	lags = append(lags, make([]float64, 2)...) // enough to keep, and one to divide
	half := lags[keep] / 2
	m := Model{K: p.K, Theta: p.Theta + half, Tau1: lags[0]}
	if keep == 2 {
		m.Tau2 = lags[1] + half
	} else {
		m.Tau1 += half
	}
	for _, lag := range lags[keep+1:] {
		m.Theta += lag
	}
	for _, zero := range p.Zeros {
		m.Theta -= zero
	}
	m.Tau1, m.Tau2 = math.Max(m.Tau1, m.Tau2), math.Min(m.Tau1, m.Tau2)
	return m
}

// SIMC returns the PI or, where the model has a second lag, PID gains of the SIMC
// rule (Skogestad 2003) for the closed loop's time constant tauC, in seconds:
// Kc = τ1/(k(τc+θ)), τI = min(τ1, 4(τc+θ)), τD = τ2 in series form.
func SIMC(m Model, tauC float64) pid.Gains {
	pi := pid.SIMCFirstOrder(m.K, m.Theta, m.Tau1, tauC)
	return pid.FromSeries(pi.Kp, pi.Ti, m.Tau2)
}

// AMIGOPI returns the PI gains of the AMIGO rule (Åström and Hägglund, J. Process
// Control 14 (2004) 635-650) for a first-order model with delay. The set-point
// weight is 1, since the reference table has none.
func AMIGOPI(m Model) pid.Gains {
	l, t := m.Theta, m.Tau1
	return pid.Gains{
		Kp:     0.15/m.K + (0.35-l*t/((l+t)*(l+t)))*t/(m.K*l),
		Ti:     0.35*l + 13*l*t*t/(t*t+12*l*t+7*l*l),
		Weight: 1,
	}
}

// AMIGOPID returns the PID gains of the same rule, in ideal form.
func AMIGOPID(m Model) pid.Gains {
	l, t := m.Theta, m.Tau1
	return ideal((0.2+0.45*t/l)/m.K, l*(0.4*l+0.8*t)/(l+0.1*t), 0.5*l*t/(0.3*l+t))
}

// ZieglerNicholsStep returns PID gains by the step response (Ziegler and Nichols
// 1942): the steepest tangent's apparent delay, in seconds, and the a that it cuts
// off the axis below the start, in process units per unit of output.
func ZieglerNicholsStep(a, delay float64) pid.Gains {
	return ideal(1.2/a, 2*delay, delay/2)
}

// ZieglerNicholsUltimate returns PID gains by the ultimate gain and its period, in
// seconds (Ziegler and Nichols 1942).
func ZieglerNicholsUltimate(gain, period float64) pid.Gains {
	return ideal(0.6*gain, period/2, period/8)
}

// ideal are PID gains with the set-point at full weight.
func ideal(kp, ti, td float64) pid.Gains {
	const filter = 10 // of the derivative time: common practice, no source
	return pid.Gains{Kp: kp, Ti: ti, Td: td, Weight: 1, Filter: td / filter}
}

// Package pid is one proportional-integral-derivative loop: derivative on the
// filtered measurement, weighted set-point, bounded output, back-calculated
// anti-windup against what was really applied, and bumpless changes of gains
// and of mode.
package pid

import "math"

// Gains set a loop. Output units are the caller's own; time is in seconds.
type Gains struct {
	Kp float64 // output per unit of error, above zero
	Ti float64 // integral time; zero: no integral action
	Td float64 // derivative time; zero: no derivative action
	// Weight of the set-point in the proportional part, 0 to 1. Below 1 a
	// set-point change moves the output less at once.
	Weight float64
	// Filter is the time constant of the derivative's low-pass; it must be above
	// zero where Td is.
	Filter float64
}

// SIMCIntegrating returns gains for an integrating process k·e^(-θs)/s with a
// second lag, by the SIMC rule (Skogestad, J. Process Control 13 (2003)
// 291-309): Kc = 1/(k(τc+θ)), τI = 4(τc+θ), τD = lag, in series form, converted
// to the ideal form used here. k is in process units per second per unit of
// output, the times are in seconds.
func SIMCIntegrating(k, theta, lag, tauC float64) Gains {
	return FromSeries(1/(k*(tauC+theta)), 4*(tauC+theta), lag)
}

// SIMCFirstOrder returns PI gains for k·e^(-θs)/(τs+1) by the SIMC rule:
// Kc = τ/(k(τc+θ)), τI = min(τ, 4(τc+θ)).
func SIMCFirstOrder(k, theta, tau, tauC float64) Gains {
	return FromSeries(tau/(k*(tauC+theta)), math.Min(tau, 4*(tauC+theta)), 0)
}

// FromSeries converts the series form Kc(1+1/τI s)(1+τD s), ti above zero, to the
// ideal one.
func FromSeries(kc, ti, td float64) Gains {
	f := 1 + td/ti
	g := Gains{Kp: kc * f, Ti: ti * f, Td: td / f, Weight: 1}
	if td > 0 {
		g.Filter = td / f / 5 // common practice, no source: a fifth of the derivative time
	}
	return g
}

// PID is the memory of one loop. The zero value with gains is ready.
type PID struct {
	gains    Gains
	integral float64
	slope    float64 // filtered derivative of the measurement, units per second
	last     float64
	seen     bool
	unbound  float64 // last output before the bounds
}

// New returns a loop with the gains given.
func New(g Gains) *PID { return &PID{gains: g} }

// Gains returns the loop's gains.
func (p *PID) Gains() Gains { return p.gains }

// Integral returns the integral part, in output units.
func (p *PID) Integral() float64 { return p.integral }

// SetIntegral sets the integral part, in output units.
func (p *PID) SetIntegral(i float64) { p.integral = i }

// Retune changes the gains so that the output for this set-point and
// measurement does not jump.
func (p *PID) Retune(g Gains, setpoint, measured float64) {
	before := p.gains.proportional(setpoint, measured) + p.derivative()
	p.gains = g
	p.integral += before - g.proportional(setpoint, measured) - p.derivative()
}

// Begin makes the loop start bumplessly: its first output for this set-point
// and measurement is the output given.
func (p *PID) Begin(output, setpoint, measured float64) {
	p.slope, p.last, p.seen = 0, measured, true
	p.integral = output - p.gains.proportional(setpoint, measured)
}

func (g Gains) proportional(setpoint, measured float64) float64 {
	return g.Kp * (g.Weight*setpoint - measured)
}

func (p *PID) derivative() float64 { return -p.gains.Kp * p.gains.Td * p.slope }

// Output returns the loop's answer between lo and hi, after dt seconds. A
// measurement, set-point or dt that is no finite number, or a dt that is not
// above zero, gives lo, and changes nothing that a later output rests on: the
// caller must treat it as a fault, never as an instruction.
func (p *PID) Output(setpoint, measured, dt, lo, hi float64) float64 {
	if !finite(setpoint) || !finite(measured) || !finite(dt) || dt <= 0 {
		p.unbound = lo
		return lo
	}
	p.differentiate(measured, dt)
	p.unbound = p.gains.proportional(setpoint, measured) + p.derivative() + p.integral
	if !finite(p.unbound) { // an overflow passes a clamp as NaN
		p.unbound = lo
	}
	return math.Min(math.Max(p.unbound, lo), hi)
}

// Applied tells the loop what became of its output, whatever lowered it, and
// integrates: by the error, and back towards the applied output with the time
// constant track (seconds; zero takes Ti). hold suspends the integration by the
// error alone.
func (p *PID) Applied(applied, setpoint, measured, dt, track float64, hold bool) {
	if p.gains.Ti <= 0 || !finite(applied) || !finite(setpoint) || !finite(measured) || !finite(dt) || dt <= 0 {
		return
	}
	if track <= 0 {
		track = p.gains.Ti
	}
	if !hold {
		p.integral += p.gains.Kp * (setpoint - measured) * dt / p.gains.Ti
	}
	// At most the whole difference in one step, however long the step was.
	p.integral += (applied - p.unbound) * math.Min(dt/track, 1)
}

func (p *PID) differentiate(measured, dt float64) {
	if !p.seen || p.gains.Td <= 0 {
		p.slope, p.last, p.seen = 0, measured, true
		return
	}
	raw := (measured - p.last) / dt
	p.slope += (raw - p.slope) * (1 - math.Exp(-dt/p.gains.Filter))
	p.last = measured
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

package reference

import (
	"math"
	"math/cmplx"

	"meltwarden/control/pid"
)

// Response is a transfer function, at s in radians per second.
type Response func(s complex128) complex128

// Response is that of the whole process, nothing reduced.
func (p Process) Response() Response {
	return func(s complex128) complex128 {
		r := complex(p.K, 0) * cmplx.Exp(complex(-p.Theta, 0)*s)
		for _, zero := range p.Zeros {
			r *= complex(zero, 0)*s + 1
		}
		for _, lag := range p.Lags {
			r /= complex(lag, 0)*s + 1
		}
		return r
	}
}

// Integrated puts an integrator behind a process.
func (r Response) Integrated() Response {
	return func(s complex128) complex128 { return r(s) / s }
}

// With returns the open loop of a process and a controller.
func (r Response) With(g pid.Gains) Response {
	return func(s complex128) complex128 {
		c := complex(1, 0)
		if g.Ti > 0 {
			c += 1 / (complex(g.Ti, 0) * s)
		}
		if g.Td > 0 {
			c += complex(g.Td, 0) * s / (1 + complex(g.Filter, 0)*s)
		}
		return complex(g.Kp, 0) * c * r(s)
	}
}

// Margins of an open loop.
type Margins struct {
	Gain     float64 // infinite where the phase does not reach -180°
	PhaseDeg float64 // infinite where the gain is below 1 throughout
	Ms       float64 // the largest sensitivity
	W180     float64 // radians per second at the gain margin
}

// Margins sweeps over the frequencies from 1e-4 to 1e3 over scaleS, about the
// loop's delay or shortest lag in seconds. What a sweep can miss is less than
// 1e-5 of the values.
func (r Response) Margins(scaleS float64) Margins {
	const decades, perDecade = 7, 8000
	m := Margins{Gain: math.Inf(1), PhaseDeg: math.Inf(1)}
	at := func(i int) (w, size, phase float64) {
		w = math.Pow(10, -4+float64(i)/perDecade) / scaleS
		l := r(complex(0, w))
		m.Ms = math.Max(m.Ms, 1/cmplx.Abs(1+l))
		return w, math.Log(cmplx.Abs(l)), cmplx.Phase(l)
	}
	w0, size0, wrapped := at(0)
	phase0 := wrapped
	for i := 1; i <= decades*perDecade; i++ {
		w, size, now := at(i)
		phase := phase0 + math.Remainder(now-wrapped, 2*math.Pi)
		if math.IsInf(m.PhaseDeg, 1) && size0 >= 0 && size < 0 {
			m.PhaseDeg = 180 + between(size0, size, 0, phase0, phase)*180/math.Pi
		}
		if math.IsInf(m.Gain, 1) && phase0 > -math.Pi && phase <= -math.Pi {
			m.Gain = math.Exp(-between(phase0, phase, -math.Pi, size0, size))
			m.W180 = between(phase0, phase, -math.Pi, w0, w)
		}
		w0, size0, wrapped, phase0 = w, size, now, phase
	}
	return m
}

// between is y where x is passed, on the line from (x0, y0) to (x1, y1).
func between(x0, x1, x, y0, y1 float64) float64 {
	return y0 + (y1-y0)*(x-x0)/(x1-x0)
}

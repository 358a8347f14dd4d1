package thermocouple

import "math"

// bump is the term a0 exp(a1 (t - a2)²) that type K has above 0 °C (NIST
// Monograph 175); zero for all others.
type bump struct{ a0, a1, a2 float64 }

// segment is one polynomial of a reference function and where it holds.
type segment struct {
	lowC, highC   float64
	coefficients  []float64 // mV / °C^i, from i = 0
	bump          bump
	lowMV, highMV float64 // at the ends
}

// emf returns the voltage in mV and its slope in mV/°C.
func (s *segment) emf(celsius float64) (mV, slope float64) {
	for i := len(s.coefficients) - 1; i >= 0; i-- {
		slope = slope*celsius + mV
		mV = mV*celsius + s.coefficients[i]
	}
	if s.bump.a0 != 0 {
		d := celsius - s.bump.a2
		v := s.bump.a0 * math.Exp(s.bump.a1*d*d)
		mV += v
		slope += 2 * s.bump.a1 * d * v
	}
	return mV, slope
}

// curve is the reference function of a type, its segments from cold to hot.
type curve struct {
	segments []segment
	// solvable are the same segments without the part where the voltage falls
	// while the temperature rises.
	solvable []segment
}

// lowestOfB is where type B's voltage is lowest: the slope of its first
// polynomial is zero there (°C).
const lowestOfB = 21.02026188

func newCurve(t Type, segments ...segment) *curve {
	c := &curve{segments: segments, solvable: append([]segment(nil), segments...)}
	if t == B {
		c.solvable[0].lowC = lowestOfB
	}
	for i := range c.solvable {
		s := &c.solvable[i]
		s.lowMV, _ = s.emf(s.lowC)
		s.highMV, _ = s.emf(s.highC)
	}
	return c
}

// curveOf returns the reference function of a type, nil for an unknown one.
func curveOf(t Type) *curve {
	switch t {
	case B:
		return curveB
	case E:
		return curveE
	case J:
		return curveJ
	case K:
		return curveK
	case N:
		return curveN
	case R:
		return curveR
	case S:
		return curveS
	case T:
		return curveT
	}
	return nil
}

func (c *curve) lowC() float64   { return c.segments[0].lowC }
func (c *curve) highC() float64  { return c.segments[len(c.segments)-1].highC }
func (c *curve) lowMV() float64  { return c.solvable[0].lowMV }
func (c *curve) highMV() float64 { return c.solvable[len(c.solvable)-1].highMV }

// at returns the segment for a temperature inside the curve's range.
func (c *curve) at(celsius float64) *segment {
	i := 0
	for celsius > c.segments[i].highC {
		i++
	}
	return &c.segments[i]
}

// solve returns the temperature at which the curve has a voltage inside its range.
func (c *curve) solve(mV float64) float64 {
	i := 0
	for mV > c.solvable[i].highMV {
		i++
	}
	return c.solvable[i].solve(mV)
}

const (
	// settled is the step in °C below which a solution is good enough: far less
	// than any thermocouple is worth.
	settled = 1e-9
	// mostSteps bounds the search. Halving alone takes 41 steps from 1800 °C to
	// settled; with Newton's steps it is about ten.
	mostSteps = 60
)

// solve finds the temperature by Newton's method inside a bracket that every
// step narrows, and halves the bracket where the method would leave it: the
// slope of most types nearly vanishes at the cold end.
func (s *segment) solve(mV float64) float64 {
	low, high := s.lowC, s.highC
	t := low + (high-low)*(mV-s.lowMV)/(s.highMV-s.lowMV)
	for range mostSteps {
		v, slope := s.emf(t)
		switch {
		case v == mV:
			return t
		case v > mV:
			high = t
		default:
			low = t
		}
		next := t - (v-mV)/slope
		if math.Abs(next-t) < settled {
			return min(max(next, low), high)
		}
		if !(next > low && next < high) {
			next = low + (high-low)/2
		}
		t = next
	}
	return t
}

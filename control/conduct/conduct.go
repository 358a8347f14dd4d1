// Package conduct is how heat goes through a body that meets another temperature all at
// once: a wall between two faces, a long cylinder in its tube, a body so thick that its
// far side does not notice, and two of them in touch. Exact series, as in every handbook
// of heat transfer; what bodies and figures are is for others to say.
package conduct

import "math"

// terms is how many terms of a series are taken: enough for a Fourier number of 0.0002
// to a ten-thousandth.
const terms = 100

// root is the nth root, from 1, of ζ·tan ζ = Bi, in radians, for a wall whose faces take
// up heat with a Biot number of Bi = h·L/k; +Inf is a face that is held. NaN for a Bi
// that is not above zero.
func root(n int, bi float64) float64 {
	from := float64(n-1) * math.Pi
	low, high := from, from+math.Pi/2
	switch {
	case !(bi > 0):
		return math.NaN()
	case math.IsInf(bi, 1):
		return high
	}
	for range 50 {
		mid := (low + high) / 2
		// Bi·cos - ζ·sin falls through zero where ζ·tan ζ is Bi, and has no poles.
		if s, c := math.Sincos(mid - from); bi*c > mid*s {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// constant is 4·sin ζ/(2ζ + sin 2ζ), the weight of a root's term in the middle.
func constant(zeta float64) float64 {
	return 4 * math.Sin(zeta) / (2*zeta + math.Sin(2*zeta))
}

// Wall is a wall of half thickness L that was warm through, with both faces met by another
// temperature at once: the series ΣC·exp(-ζ²·Fo)·cos(ζ·x/L), with Fo = α·t/L² (Incropera,
// Fundamentals of Heat and Mass Transfer, 5.5; from memory).
type Wall struct{ zeta, constant [terms]float64 }

// NewWall is a wall of that Biot number, above zero; +Inf holds its faces.
func NewWall(bi float64) *Wall {
	var w Wall
	for i := range w.zeta {
		w.zeta[i] = root(i+1, bi)
		w.constant[i] = constant(w.zeta[i])
	}
	return &w
}

// Left is what share of its difference to the faces' surroundings is left at x/L from the
// middle, 0 to 1, at a Fourier number; x = 0 is the middle.
func (w *Wall) Left(fo, x float64) float64 {
	if fo <= 0 {
		return 1
	}
	sum := 0.0
	for i, z := range w.zeta {
		sum += w.constant[i] * math.Exp(-z*z*fo) * math.Cos(z*x)
	}
	return sum
}

// Mean is the same for the whole wall in the mean: 1 - Mean is the share of its heat that
// it has given up.
func (w *Wall) Mean(fo float64) float64 {
	if fo <= 0 {
		return 1
	}
	sum := 0.0
	for i, z := range w.zeta {
		sum += w.constant[i] * math.Exp(-z*z*fo) * math.Sin(z) / z
	}
	return sum
}

// Reaches is the Fourier number at which the middle has that share left, 0 to 1 (both
// excluded); +Inf for a share of zero and less, 0 for 1 and more.
func (w *Wall) Reaches(left float64) float64 {
	return when(func(fo float64) bool { return w.Left(fo, 0) <= left }, left)
}

// when is the Fourier number from which reached is true, for the share that is left then.
func when(reached func(fo float64) bool, left float64) float64 {
	switch {
	case left >= 1:
		return 0
	case !(left > 0):
		return math.Inf(1)
	}
	low, high := 0.0, 1.0
	for ; !reached(high); high *= 2 {
		if low = high; high > most {
			return math.Inf(1)
		}
	}
	for range 40 {
		if mid := (low + high) / 2; reached(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// most is a Fourier number by which all that will happen has happened.
const most = 1e6

// Depth is how deep, in metres, a share of a sudden change of a surface has come after t
// seconds: where erfc(x/(2·√(α·t))) is that share, 0 to 1 (both excluded), with α in m²/s
// (a semi-infinite solid with a held surface: Cengel, Heat Transfer, 4-3; from memory).
func Depth(share, alpha, t float64) float64 {
	return 2 * math.Sqrt(alpha*t) * math.Erfcinv(share)
}

// Touch is the temperature where two bodies meet that were at t1 and t2, from the first
// moment until the thinner one feels its far side: (e1·t1 + e2·t2)/(e1 + e2), with their
// effusivities in one unit (the same, two of them in contact).
func Touch(e1, t1, e2, t2 float64) float64 { return (e1*t1 + e2*t2) / (e1 + e2) }

// Lumped is what share of its difference a body without resistance of its own has left
// after t, for a time constant in the same unit: exp(-t/τ), good for a Biot number below 0.1
// (Incropera, 5.1 and 5.2; from memory).
func Lumped(t, tau float64) float64 { return math.Exp(-t / tau) }

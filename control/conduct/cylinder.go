package conduct

import "math"

// Cylinder is a long cylinder that was warm through, in a tube of one temperature that
// stores ratio times what the cylinder does. What the tube takes up is a share of what
// it will take up of 1 - Σ 4a(1+a)/(4+4a+a²q²)·exp(-q²·Fo), with a the ratio, Fo = α·t/R²
// and q the roots of a·q·J0(q) + 2·J1(q) = 0 (Crank, The Mathematics of Diffusion, 2nd ed.,
// 5.33 and 5.34: a cylinder in a well-stirred vessel of limited volume; from memory, and
// held against finite differences). A tube that is held at its temperature has a ratio of
// +Inf: the roots of J0, and terms of 4/q².
type Cylinder struct {
	most      float64 // a/(1+a): what is lost in the end, of the difference at first
	q, weight [terms]float64
}

// NewCylinder is a cylinder in a tube that stores ratio times as much, above zero.
func NewCylinder(ratio float64) *Cylinder {
	held := math.IsInf(ratio, 1)
	c := Cylinder{most: 1}
	if !held {
		c.most = ratio / (1 + ratio)
	}
	turns := func(q float64) float64 {
		if held {
			return math.J0(q)
		}
		return ratio*q*math.J0(q) + 2*math.J1(q)
	}
	at := 0.01
	for i := range c.q {
		c.q[i] = next(turns, &at)
		q2 := c.q[i] * c.q[i]
		c.weight[i] = 4 / q2
		if !held {
			c.weight[i] = 4 * ratio * (1 + ratio) / (4 + 4*ratio + ratio*ratio*q2)
		}
	}
	return &c
}

// next is the next zero of f after *at, which is moved past it. Zeros of Bessel functions
// are about π apart.
func next(f func(float64) float64, at *float64) float64 {
	const step = 0.2
	low := *at
	for math.Signbit(f(low)) == math.Signbit(f(low+step)) {
		low += step
	}
	*at = low + step
	high := *at
	for range 45 {
		if mid := (low + high) / 2; math.Signbit(f(low)) == math.Signbit(f(mid)) {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// early is the Fourier number before which a series of so many terms is not exact; there
// a loss grows with the root of time (4·√(Fo/π) of a cylinder at first).
const early = 2e-4

// Lost is what share of its difference to the tube at first the cylinder has lost in the
// mean, 0 to 1, at a Fourier number.
func (c *Cylinder) Lost(fo float64) float64 {
	switch {
	case !(fo > 0):
		return 0
	case fo < early:
		return c.Lost(early) * math.Sqrt(fo/early)
	}
	sum := 0.0
	for i, q := range c.q {
		fade := q * q * fo
		if fade > 40 {
			break // below the last digit
		}
		sum += c.weight[i] * math.Exp(-fade)
	}
	return c.most * (1 - sum)
}

// Loses is the Fourier number at which it has lost that share; +Inf for more than it ever
// does, 0 for none.
func (c *Cylinder) Loses(share float64) float64 {
	if share >= c.most {
		return math.Inf(1)
	}
	return when(func(fo float64) bool { return c.Lost(fo) >= share }, 1-share)
}

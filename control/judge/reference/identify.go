package reference

import (
	"math"
	"slices"
)

// risen is a record's answer to its step: since the start, per unit of the step.
func risen(c []float64, step float64) []float64 {
	y := make([]float64, len(c))
	for i := range c {
		y[i] = (c[i] - c[0]) / step
	}
	return y
}

// settled is where a record has come to: the mean of its last fiftieth.
func settled(y []float64) float64 {
	sum, tail := 0.0, y[len(y)-1-len(y)/50:]
	for _, v := range tail {
		sum += v
	}
	return sum / float64(len(tail))
}

// reaches is when a rising record passes a level: half way between the first
// sample above it and the last below, because noise makes them two.
func reaches(t, y []float64, level float64) float64 {
	first := slices.IndexFunc(y, func(v float64) bool { return v >= level })
	last := len(y) - 1
	for last > 0 && y[last] >= level {
		last--
	}
	return (crosses(t, y, first, level) + crosses(t, y, last+1, level)) / 2
}

// crosses is when the line to sample i passes a level.
func crosses(t, y []float64, i int, level float64) float64 {
	if i < 1 || i >= len(y) {
		return t[min(max(i, 0), len(t)-1)]
	}
	return between(y[i-1], y[i], level, t[i-1], t[i])
}

// TwoPoint identifies a first-order model with delay from the answer y to a unit
// step at t = 0, in seconds, that has settled, by the times at which 28.3 % and
// 63.2 % of it have come (Smith): τ = 1.5(t63-t28), θ = t63-τ.
func TwoPoint(t, y []float64) Model {
	end := settled(y)
	t28, t63 := reaches(t, y, 0.283*end), reaches(t, y, 0.632*end)
	tau := 1.5 * (t63 - t28)
	return Model{K: end, Theta: math.Max(t63-tau, 0), Tau1: tau}
}

// tangentShare is how much of the time to 63.2 % a slope is taken over, so that
// noise does not make it: common practice, no source.
const tangentShare = 0.1

// Tangent returns the steepest slope of the answer to a unit step, per second, and
// the apparent delay: where its tangent leaves the start, in seconds.
func Tangent(t, y []float64) (slope, delay float64) {
	least := (t[len(t)-1] - t[0]) / float64(len(t)-1)
	share := tangentShare * reaches(t, y, 0.632*settled(y))
	t, y = thinned(t), thinned(y)
	window := max(3, int(share/(t[1]-t[0])))
	for i := 0; i+window <= len(t); i++ {
		at, level, s := line(t[i:i+window], y[i:i+window])
		if s > slope {
			slope, delay = s, at-level/s
		}
	}
	return slope, math.Max(delay, least)
}

// line fits a straight line: through the mean point, with a slope.
func line(t, y []float64) (at, level, slope float64) {
	n := float64(len(t))
	for i := range t {
		at, level = at+t[i]/n, level+y[i]/n
	}
	var ty, tt float64
	for i := range t {
		ty, tt = ty+(t[i]-at)*(y[i]-level), tt+(t[i]-at)*(t[i]-at)
	}
	return at, level, ty / tt
}

// points are as many as a fit, or a tangent, looks at.
const points = 1500

// thinned are samples as far apart as leaves so many.
func thinned(x []float64) []float64 {
	every := 1 + len(x)/points
	var out []float64
	for i := 0; i < len(x); i += every {
		out = append(out, x[i])
	}
	return out
}

// SecondOrder fits a model with two lags and a delay to the answer y to a unit
// step at t = 0, by least squares.
func SecondOrder(t, y []float64) Model {
	guess := TwoPoint(t, y)
	t, y = thinned(t), thinned(y)
	shape := func(x []float64) []float64 {
		return guess.moved(x).rise(t)
	}
	x := compass(func(x []float64) float64 { _, miss := fit(shape(x), y); return miss }, []float64{0, -2, -1})
	m := guess.moved(x)
	m.K, _ = fit(shape(x), y)
	return m
}

// moved is a model around a first guess: the logarithms of τ1's, of τ2's and of
// the delay's share in it.
func (m Model) moved(x []float64) Model {
	tau := m.Tau1 * math.Exp(x[0])
	return Model{K: 1, Tau1: tau, Tau2: tau * math.Min(math.Exp(x[1]), 0.999), Theta: (m.Theta + 0.01*m.Tau1) * math.Exp(x[2])}
}

// rise is the answer to a unit step at t = 0.
func (m Model) rise(t []float64) []float64 {
	y := make([]float64, len(t))
	for i := range t {
		if s := t[i] - m.Theta; s > 0 {
			y[i] = m.K * (1 - (m.Tau1*math.Exp(-s/m.Tau1)-m.Tau2*math.Exp(-s/m.Tau2))/(m.Tau1-m.Tau2))
		}
	}
	return y
}

// Behind fits a first-order model with delay to an answer y to a recorded input
// u, both starting at rest and zero, by least squares; t is in seconds, evenly
// spaced.
func Behind(t, u, y []float64) Model {
	guess := TwoPoint(t, y)
	t, u, y = thinned(t), thinned(u), thinned(y)
	model := func(x []float64) Model {
		return Model{K: 1, Tau1: guess.Tau1 * math.Exp(x[0]), Theta: (guess.Theta + 0.01*guess.Tau1) * math.Exp(x[1])}
	}
	x := compass(func(x []float64) float64 { _, miss := fit(model(x).follow(t, u), y); return miss }, []float64{0, -1})
	m := model(x)
	m.K, _ = fit(m.follow(t, u), y)
	return m
}

// follow is the answer of a first-order model to an input that goes in straight
// lines from sample to sample.
func (m Model) follow(t, u []float64) []float64 {
	y := make([]float64, len(t))
	period := t[1] - t[0]
	at := func(s float64) float64 {
		i := int(math.Max(s/period, 0))
		return between(t[i], t[i]+period, math.Max(s, 0), u[i], u[min(i+1, len(u)-1)])
	}
	keep := math.Exp(-period / m.Tau1)
	for i := 1; i < len(t); i++ {
		y[i] = y[i-1]*keep + m.K*(1-keep)*(at(t[i-1]-m.Theta)+at(t[i]-m.Theta))/2
	}
	return y
}

// fit returns the factor that brings a shape nearest to y, and the squares left.
func fit(shape, y []float64) (k, miss float64) {
	var sy, ss float64
	for i := range y {
		sy, ss = sy+shape[i]*y[i], ss+shape[i]*shape[i]
	}
	if ss > 0 {
		k = sy / ss
	}
	for i := range y {
		miss += (y[i] - k*shape[i]) * (y[i] - k*shape[i])
	}
	return k, miss
}

// compass searches for the least of f from x on, by steps along the axes that
// grow where they help and shrink where they do not.
func compass(f func([]float64) float64, x []float64) []float64 {
	const first, last, rounds = 0.5, 1e-6, 2000
	steps, best := make([]float64, len(x)), f(x)
	for i := range steps {
		steps[i] = first
	}
	for range rounds {
		for i := range x {
			before := x[i]
			x[i] += steps[i]
			if now := f(x); now < best {
				best, steps[i] = now, steps[i]*1.5
			} else {
				x[i], steps[i] = before, -steps[i]/2
			}
		}
		if slices.IndexFunc(steps, func(s float64) bool { return math.Abs(s) > last }) < 0 {
			break
		}
	}
	return x
}

package reference

import "math"

const period = 0.2 // seconds

// lag is a first-order process whose delay is a shift by whole periods, exact for
// an input that is held for a period.
type lag struct {
	k, keep float64
	line    []float64 // what is on its way
	y       float64
}

func newLag(m Model, period float64) *lag {
	return &lag{k: m.K, keep: math.Exp(-period / m.Tau1), line: make([]float64, int(math.Round(m.Theta/period)))}
}

func (l *lag) step(u float64) {
	l.line = append(l.line, u)
	l.y = l.y*l.keep + l.k*(1-l.keep)*l.line[0]
	l.line = l.line[1:]
}

package plot

import "time"

// Step is a new set-point from a moment on, in °C; NaN is none.
type Step struct {
	At time.Duration // bench time
	C  float64
}

// stretch is a part of the window with one set-point.
type stretch struct {
	window
	c float64
}

// setpointAt is what was asked for at a moment.
func (p Pot) setpointAt(at time.Duration) float64 {
	c := p.SetpointC
	for _, s := range p.Steps {
		if s.At <= at {
			c = s.C
		}
	}
	return c
}

// setpoints are the recorded set-points of a pot in a window, each with its stretch.
func (p Pot) setpoints(shown window) []stretch {
	var list []stretch
	add := func(from, to time.Duration, c float64) {
		if w := (window{max(from, shown.from), min(to, shown.to)}); w.to > w.from && isRecorded(c) {
			list = append(list, stretch{w, c})
		}
	}
	from, c := shown.from, p.SetpointC
	for _, s := range p.Steps {
		add(from, s.At, c)
		from, c = s.At, s.C
	}
	add(from, shown.to, c)
	return list
}

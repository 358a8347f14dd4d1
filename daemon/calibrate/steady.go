package calibrate

import (
	"errors"
	"math"
	"time"

	"meltwarden/config"
	"meltwarden/devices/registers"
	"meltwarden/devices/thermocouple"
)

// When a probe is at rest: over the last steadyFor, the means of both halves differ by less
// than steadyC. With readings that scatter by 0.25 °C the difference of two such means
// scatters by 0.03, so that noise seldom keeps a probe from rest, and a probe that still
// moves by 0.2 °C a minute is not taken (E).
const (
	steadyFor = time.Minute
	steadyC   = 0.1
)

// window is what a probe read over the last steadyFor, in °C.
type window struct{ latest []float64 }

const windowLong = int(steadyFor / config.Period)

func (w *window) add(c float64) {
	if len(w.latest) == windowLong {
		copy(w.latest, w.latest[1:])
		w.latest = w.latest[:windowLong-1]
	}
	w.latest = append(w.latest, c)
}

// forget begins anew, after a reading that was none.
func (w *window) forget() { w.latest = w.latest[:0] }

// moved is by how much the second half is above the first, and whether the window is full.
func (w *window) moved() (c float64, whole bool) {
	half := len(w.latest) / 2
	if half == 0 {
		return 0, false
	}
	return mean(w.latest[half:]) - mean(w.latest[:half]), len(w.latest) == windowLong
}

func (w *window) atRest() bool {
	moved, whole := w.moved()
	return whole && math.Abs(moved) < steadyC
}

// now is the mean of the last second.
func (w *window) now() float64 {
	return mean(w.latest[max(0, len(w.latest)-int(time.Second/config.Period)):])
}

// point is what the window of a channel is as a point, in something at trueC within withinC.
func (w *window) point(trueC, withinC float64, on registers.Channel) Point {
	p := Point{TrueC: trueC, WithinC: withinC, ShownC: mean(w.latest), Readings: len(w.latest)}
	sum := 0.0
	for i, c := range w.latest {
		sum += (c - p.ShownC) * (c - p.ShownC)
		if i > 0 {
			if step := math.Abs(c - w.latest[i-1]); step > 1e-9 && (p.StepC == 0 || step < p.StepC) {
				p.StepC = step
			}
		}
	}
	p.ScatterC = math.Sqrt(sum / float64(len(w.latest)))
	if p.StepC == 0 { // nobody saw one: it may be all that the register can show
		p.StepC = max(coarseC, registerStepC(on, p.ShownC))
	}
	return p
}

// registerStepC is the smallest step that a channel's register can show at a temperature, in
// °C; zero for one of which that is not known.
func registerStepC(c registers.Channel, celsius float64) float64 {
	if c.Type == registers.Float32 {
		return 0
	}
	step := math.Abs(c.Scale)
	switch c.Unit {
	case registers.Fahrenheit:
		return step / 1.8
	case registers.Millivolt:
		letter, unknown := thermocouple.Parse(c.Thermocouple)
		low, below := thermocouple.EMF(letter, celsius-0.5)
		high, above := thermocouple.EMF(letter, celsius+0.5)
		if errors.Join(unknown, below, above) != nil {
			return 0
		}
		return step / math.Abs(high-low)
	}
	return step
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

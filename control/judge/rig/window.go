package rig

import (
	"math"

	"meltwarden/control/circuit"
)

// window is a relay, switched as on the bench; without windows the heater gets the duty.
type window struct {
	o          Options
	windows    *circuit.Windows
	duty, told []float64
}

func newWindow(o Options) window {
	if o.Window == 0 {
		return window{}
	}
	relay := circuit.Heater{RatedW: 1, Output: circuit.Switched, Window: o.Window}
	return window{o, circuit.NewWindows([]circuit.Heater{relay}), make([]float64, 1), make([]float64, 1)}
}

// tick returns what the heater draws in a cycle, and what it gets in the mean.
func (w *window) tick(duty float64) (draws, mean float64) {
	if w.windows == nil {
		return duty, duty
	}
	w.duty[0] = duty
	w.windows.Tick(w.duty, w.told, math.Inf(1), w.o.Period)
	w.windows.Told(w.duty, w.told)
	return w.told[0], w.duty[0]
}

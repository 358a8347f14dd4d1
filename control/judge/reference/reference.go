// Package reference holds the controllers that the textbooks offer for a pot, so
// that ours is measured against fair opponents, and the rules that tune them. It
// is used by tests only.
//
// All of them are tuned from one recorded step of the duty on the pot that they
// will hold (StepTest), which is more than our own loops are told. All of them
// aim for a plate of at most a degree below its limit, as ours does: the
// thermostat by switching, every other by the same PI loop of the plate, which
// the cascade is built on, and which otherwise has the lower of two duties.
// Where one of two loops or a bound takes a duty away, the loops that asked for
// more follow by back calculation.
//
// Process values are the filtered temperatures of the measure. Its slopes and its
// word of an upset are not used: no textbook's loop has an input for them.
package reference

import (
	"math"

	"meltwarden/control/cascade"
)

// Loop is a pot's controller, as control/cascade is one.
type Loop interface {
	// Step returns the duty asked for, 0 to 1; dt is in seconds. Anything in the
	// measure that is no finite number gives zero.
	Step(m cascade.Measure, dt float64) float64
	// Applied tells what the heater really got, and for how many seconds.
	Applied(duty, dt float64)
	// Rest takes the loop out of service; the next Step starts without a bump.
	Rest()
}

// StepTest is an open-loop record: from rest the duty is raised by DutyStep, 0 to
// 1, at T = 0, and stays until melt and plate have settled; all else is constant.
// The first sample is the rest. T is in seconds, evenly spaced and dense enough for
// a hundred samples or so in the first quarter of the plate's rise; temperatures are
// in degrees Celsius, filtered as the loops will see them.
type StepTest struct {
	DutyStep         float64
	T, MeltC, PlateC []float64
}

// period is the time between two samples, in seconds.
func (s StepTest) period() float64 {
	return (s.T[len(s.T)-1] - s.T[0]) / float64(len(s.T)-1)
}

// marginC is how far below its limit a plate is held, as by control/cascade.
const marginC = 1.0

// usable reports whether a loop may answer: all finite, and time goes on.
func usable(m cascade.Measure, dt float64) bool {
	for _, x := range []float64{m.MeltC, m.PlateC, m.TargetC, m.LimitC, dt} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return dt > 0
}

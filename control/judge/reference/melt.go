package reference

import (
	"math"

	"meltwarden/control/cascade"
	"meltwarden/control/pid"
)

// ZieglerNichols tunes PIDs of the melt that drive the heater by the steepest tangent
// of the melt's step. What it returns makes a new one each time.
func ZieglerNichols(s StepTest) func() Loop {
	slope, delay := Tangent(s.T, risen(s.MeltC, s.DutyStep))
	return melts(ZieglerNicholsStep(slope*delay, delay), plateModel(s))
}

// SIMCPID tunes PIDs of the melt that drive the heater by the rule's τc = θ for the
// model with two lags that fits the melt's step best. Half a period is added to the
// delay, as the rule's author does. It is at least the plate's and half of that from
// plate to melt, what the half rule leaves if it is all one lag: two lags fit some
// records best with none. What it returns makes a new one each time.
func SIMCPID(s StepTest) func() Loop {
	y, plate := risen(s.MeltC, s.DutyStep), plateModel(s)
	m, behind := SecondOrder(s.T, y), Behind(s.T, risen(s.PlateC, s.DutyStep), y)
	m.Theta = math.Max(m.Theta+s.period()/2, plate.Theta+behind.Theta/2)
	return melts(SIMC(m, m.Theta), plate)
}

func melts(g pid.Gains, plate Model) func() Loop {
	inner := SIMC(plate, plate.Theta)
	return func() Loop { return newLimited(straight{follow(g)}, inner) }
}

// straight is a loop from the melt straight to the heater.
type straight struct{ *follower }

func (l straight) ask(m cascade.Measure, dt float64) float64 {
	return l.output(m.TargetC, m.MeltC, dt, 0, 1)
}

package reference

import (
	"meltwarden/control/cascade"
	"meltwarden/control/pid"
)

// NewZieglerNichols returns a PID of the melt that drives the heater, tuned by the
// steepest tangent of the melt's step.
func NewZieglerNichols(s StepTest) Loop {
	slope, delay := Tangent(s.T, risen(s.MeltC, s.DutyStep))
	return newMelt(ZieglerNicholsStep(slope*delay, delay), s)
}

// NewSIMC returns a PID of the melt that drives the heater, tuned by the rule's
// τc = θ for the model with two lags that fits the melt's step best. Half a period
// is added to the delay, as the rule's author does.
func NewSIMC(s StepTest) Loop {
	m := SecondOrder(s.T, risen(s.MeltC, s.DutyStep))
	m.Theta += s.period() / 2
	return newMelt(SIMC(m, m.Theta), s)
}

func newMelt(g pid.Gains, s StepTest) Loop {
	plate := plateModel(s)
	return newLimited(straight{follow(g)}, SIMC(plate, plate.Theta))
}

// straight is a loop from the melt straight to the heater.
type straight struct{ *follower }

func (l straight) ask(m cascade.Measure, dt float64) float64 {
	return l.output(m.TargetC, m.MeltC, dt, 0, 1)
}

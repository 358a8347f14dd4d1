package reference

import (
	"math"

	"meltwarden/control/cascade"
	"meltwarden/control/pid"
)

// early is the share of the plate's rise that its loop is tuned by. What comes
// later is the melt that warms with it, far below the loop's frequencies.
const early = 0.283

// plateModel is the plate as its loop sees it: one lag and a delay, by the half
// rule. A plate with a second part behind it rises as if there were no delay, and
// gains without bound would follow; so the delay is at least half of that which the
// steepest tangent shows, what the half rule leaves if it is all one lag.
func plateModel(s StepTest) Model {
	y := risen(s.PlateC, s.DutyStep)
	n := 0
	for until := reaches(s.T, y, early*settled(y)); s.T[n] < until; n++ {
	}
	m := SecondOrder(s.T[:n], y[:n])
	_, delay := Tangent(s.T[:n], y[:n])
	plate := Process{K: m.K, Theta: m.Theta + s.period()/2, Lags: []float64{m.Tau1, m.Tau2}}.HalfRule(1)
	plate.Theta = math.Max(plate.Theta, delay/2)
	return plate
}

// wish is a loop that asks for a duty, and does not know of the plate's limit.
type wish interface {
	ask(m cascade.Measure, dt float64) float64
	applied(duty, dt float64)
	rest()
}

// limited is a loop beside another that holds the plate at its limit: the lower of
// their duties is asked for, and both follow what the heater gets.
type limited struct {
	loop  wish
	limit *follower
}

func newLimited(loop wish, plate pid.Gains) *limited {
	return &limited{loop: loop, limit: follow(plate)}
}

// Step asks both loops.
func (l *limited) Step(m cascade.Measure, dt float64) float64 {
	if !usable(m, dt) {
		l.Rest()
		return 0
	}
	return math.Min(l.loop.ask(m, dt), l.limit.output(m.LimitC-marginC, m.PlateC, dt, 0, 1))
}

// Applied lets both loops follow.
func (l *limited) Applied(duty, dt float64) {
	l.loop.applied(duty, dt)
	l.limit.applied(duty, dt)
}

// Rest stops both loops.
func (l *limited) Rest() {
	l.loop.rest()
	l.limit.rest()
}

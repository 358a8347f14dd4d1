package config

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/control"
)

// SetpointAtBench reads what is typed at the bench as a new set-point of a pot
// (counted from 0), such as "170 C" or "338 F". It returns degrees Celsius,
// rounded to a thousandth. A set-point is believed from 140 to 190 °C, as in a
// recipe, and kept as far below the melt trip and the pot's plate limit as a
// recipe's is. The error is a *strict.Error with one problem.
func SetpointAtBench(s control.Settings, pot int, typed string) (float64, error) {
	p := strict.Problem{File: fmt.Sprintf("pot %d", pot+1), Key: "setpoint", Value: typed}
	if pot < 0 || pot >= len(s.Pots) {
		p.Wrong, p.Fix = "no such pot", fmt.Sprintf("choose a pot from 1 to %d", len(s.Pots))
		return 0, alone(p)
	}
	p.File = "pot " + s.Pots[pot].Name
	celsius, err := setpoint().Parse(strings.TrimSpace(typed))
	if err == nil {
		celsius = thousandth(celsius)
		err = leavesRoom(celsius, s.Limits.MeltTripC, s.Pots[pot])
	}
	if err != nil {
		return 0, alone(inWordsOf(err, p))
	}
	return celsius, nil
}

// setpoint is an injection temperature, in a recipe or at the bench.
func setpoint() strict.Kind[float64] { return temperature("168 C", minSetpointC, maxSetpointC) }

// thousandth rounds degrees Celsius: finer than any probe, and it ends what a
// change of scale leaves behind.
func thousandth(celsius float64) float64 { return math.Round(celsius*1000) / 1000 }

// leavesRoom tells a set-point that is too near a limit, by the lower of both,
// so that the fix fits at once. A limit that is no number leaves no room.
func leavesRoom(celsius, meltTripC float64, p control.PotSettings) error {
	meltMostC, plateMostC := mostTargetC(meltTripC), p.PlateLimitC-plateAboveTargetC
	switch {
	case !(celsius <= meltMostC) && !(plateMostC < meltMostC):
		return &quantity.Fault{Wrong: tooNearTrip(meltTripC), Fix: atMost(meltMostC)}
	case !(celsius <= plateMostC):
		return &quantity.Fault{Wrong: plateTooLow(p.PlateLimitC, p.Name, celsius), Fix: atMost(plateMostC)}
	}
	return nil
}

// inWordsOf fills in a problem from the error of a kind, which knows the fix.
func inWordsOf(err error, p strict.Problem) strict.Problem {
	p.Wrong = err.Error()
	var f *quantity.Fault
	if errors.As(err, &f) {
		p.Wrong, p.Fix = f.Wrong, f.Fix
	}
	return p
}

// alone is an error of one problem.
func alone(p strict.Problem) error { return &strict.Error{Problems: []strict.Problem{p}} }

package config

import (
	"fmt"
	"strings"

	"meltwarden/config/strict"
	"meltwarden/control"
)

// HandReading reads what is typed at the bench as what a hand-held thermometer shows in
// the melt of a pot (counted from 0), such as "171 C" or "340 F". It returns degrees
// Celsius, rounded to a thousandth, from 0 to 260 °C; whether the melt can be that is
// control's to say. The error is a *strict.Error with one problem.
func HandReading(s control.Settings, pot int, typed string) (float64, error) {
	p := strict.Problem{File: fmt.Sprintf("pot %d", pot+1), Key: "reading", Value: typed}
	if pot >= 0 && pot < len(s.Pots) {
		p.File = "pot " + s.Pots[pot].Name
	}
	celsius, err := temperature("171 C", minHandC, maxHandC).Parse(strings.TrimSpace(typed))
	if err != nil {
		return 0, alone(inWordsOf(err, p))
	}
	return thousandth(celsius), nil
}

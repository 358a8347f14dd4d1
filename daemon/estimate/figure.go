package estimate

import (
	"fmt"
	"math"
	"strconv"

	"meltwarden/control/melt"
	"meltwarden/daemon/frames"
)

// Unit is how temperatures are shown.
type Unit bool

// The units.
const (
	Celsius    Unit = false
	Fahrenheit Unit = true
)

func (u Unit) sign() string {
	if u == Fahrenheit {
		return "°F"
	}
	return "°C"
}

func (u Unit) degrees(c float64) float64 {
	if u == Fahrenheit {
		return c*1.8 + 32
	}
	return c
}

func (u Unit) span(k float64) float64 {
	if u == Fahrenheit {
		return k * 1.8
	}
	return k
}

// Temperature writes a temperature that is known, without decimals.
func (u Unit) Temperature(c float64) string {
	return fmt.Sprintf("%.0f %s", u.degrees(c), u.sign())
}

// difference writes a difference that is known.
func (u Unit) difference(k float64) string { return trimmed(u.span(k)) + " " + u.sign() }

// Kind is what a figure is in, as JSON spells it.
type Kind string

// The kinds.
const (
	Temperature Kind = "C"
	Difference  Kind = "K"
	Time        Kind = "s"
	Ratio       Kind = "times"
	Length      Kind = "mm"
)

// Figure is an estimate: what it is most likely, and what it lies between. What is not
// known, or never comes, is null in JSON.
type Figure struct {
	What string        `json:"what"`
	Kind Kind          `json:"unit"`
	Low  frames.Figure `json:"low"`
	Mid  frames.Figure `json:"mid"`
	High frames.Figure `json:"high"`
	// Shown is the same in words.
	Shown string `json:"shown"`
}

func (u Unit) figure(what string, k Kind, r melt.Range) Figure {
	return Figure{what, k, frames.Figure(r.Low), frames.Figure(r.Mid), frames.Figure(r.High), u.Words(k, r)}
}

// Words writes an estimate with its spread, no finer than it deserves: "≈ 21 °C (15 to 29)".
// One without a middle is written as a spread alone.
func (u Unit) Words(k Kind, r melt.Range) string {
	switch k {
	case Temperature:
		return spread(u.degrees(r.Low), u.degrees(r.Mid), u.degrees(r.High), " "+u.sign())
	case Difference:
		return spread(u.span(r.Low), u.span(r.Mid), u.span(r.High), " "+u.sign())
	case Length:
		return fmt.Sprintf("≈ %s mm (%s to %s)", trimmed(r.Mid), trimmed(r.Low), trimmed(r.High))
	case Ratio:
		return fmt.Sprintf("%.2f to %.2f times as thick", r.Low, r.High)
	}
	return seconds(r)
}

// seconds writes a time; one that never comes is longer than anybody waits.
func seconds(r melt.Range) string {
	never := func(s float64) bool { return math.IsInf(s, 1) }
	unit, per := " s", 1.0
	if r.Mid >= 600 && !never(r.High) {
		unit, per = " min", 60
	}
	low, mid, high := coarse(r.Low/per), coarse(r.Mid/per), coarse(r.High/per)
	switch {
	case never(r.Low):
		return tooLong
	case never(r.Mid):
		return fmt.Sprintf("%s (%s%s at the least)", tooLong, low, unit)
	case never(r.High):
		high = tooLong
	}
	return fmt.Sprintf("≈ %s%s (%s to %s)", mid, unit, low, high)
}

const tooLong = "more than 5 min"

// coarse writes a time whose second digit is a guess already.
func coarse(v float64) string {
	switch {
	case v < 0.95:
		return fmt.Sprintf("%.2g", math.Round(100*v)/100)
	case v < 99.5:
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.0f", 10*math.Round(v/10))
}

// spread writes an estimate of a temperature.
func spread(low, mid, high float64, unit string) string {
	return fmt.Sprintf("≈ %.0f%s (%.0f to %.0f)", mid, unit, low, high)
}

// trimmed writes at most one decimal.
func trimmed(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

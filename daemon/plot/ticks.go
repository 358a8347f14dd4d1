package plot

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// unit is how temperatures are shown.
type unit struct {
	name             string
	perDegree, shift float64
}

var (
	celsius    = unit{"°C", 1, 0}
	fahrenheit = unit{"°F", 1.8, 32}
)

func unitOf(s Style) unit {
	if s.Fahrenheit {
		return fahrenheit
	}
	return celsius
}

// of converts a temperature in °C.
func (u unit) of(c float64) float64 { return c*u.perDegree + u.shift }

// band says a set-point and the half-width of its band, both in °C.
func (u unit) band(setpoint, half float64) string {
	text := number(u.of(setpoint))
	if half > 0 {
		text += " ± " + number(half*u.perDegree)
	}
	return "set-point " + text + " " + u.name
}

// number writes a figure with at most one decimal.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// temperatureTicks are the round numbers from low to high, in the unit shown:
// multiples of 1, 2 or 5 and their tens, at most most of them.
func temperatureTicks(low, high float64, most int) []float64 {
	step := temperatureStep((high - low) / float64(max(most, 1)))
	var ticks []float64
	for k := math.Ceil(low / step); k*step <= high; k++ {
		ticks = append(ticks, k*step)
	}
	return ticks
}

func temperatureStep(least float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(max(least, 0.1))))
	for _, m := range []float64{1, 2, 5} {
		if m*ten >= least {
			return m * ten
		}
	}
	return 10 * ten
}

// timeSteps are the round distances between ticks of the time axis. Those below
// a minute serve a close look.
var timeSteps = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 20 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 20 * time.Minute,
	30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour,
}

// timeTicks are the round moments of the window, at most most of them, and
// their distance.
func timeTicks(w window, most int) (ticks []time.Duration, step time.Duration) {
	least := (w.to - w.from) / time.Duration(max(most, 1))
	for _, step = range timeSteps {
		if step >= least {
			break
		}
	}
	for step < least {
		step *= 2
	}
	for at := w.from.Truncate(step); at <= w.to; at += step {
		if at >= w.from {
			ticks = append(ticks, at)
		}
	}
	return ticks, step
}

// timeForm names the form of clock's answer for a distance between ticks.
func timeForm(step time.Duration) string {
	if step < time.Minute {
		return "h:mm:ss"
	}
	return "h:mm"
}

// clock writes a time of the axis as h:mm, with seconds where ticks are closer than a
// minute; one before its zero has a minus.
func clock(at, step time.Duration) string {
	sign := ""
	if at < 0 {
		sign, at = "−", -at
	}
	h, m, s := at/time.Hour, at/time.Minute%60, at/time.Second%60
	if step < time.Minute {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, h, m, s)
	}
	return fmt.Sprintf("%s%d:%02d", sign, h, m)
}

package control

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// Filters of the readings, in seconds (E: a fraction of the loops' own times).
const (
	meltFilterS  = 2.0
	plateFilterS = 1.0
	slopeFilterS = 10.0
)

// estimate is a low-passed temperature with its slope, fed by samples at the
// times they were taken; a sample seen twice counts once.
type estimate struct {
	filterS float64
	c       float64 // filtered, degrees Celsius
	slow    float64 // filtered once more; the lag between the two is the slope
	at      time.Duration
	valid   bool
}

// take feeds a reading at bench time now and reports whether the estimate may
// be used: it may for maxAge after the last good sample.
func (e *estimate) take(r reading.Temperature, now, maxAge time.Duration) bool {
	if !r.Usable(maxAge) {
		if r.Fault != reading.None || r.Age > maxAge {
			e.valid = false
		}
		return e.valid
	}
	taken := now - r.Age
	if !e.valid {
		e.c, e.slow, e.at, e.valid = r.C, r.C, taken, true
		return true
	}
	dt := (taken - e.at).Seconds()
	if dt <= 0 {
		return true
	}
	e.c += (r.C - e.c) * (1 - math.Exp(-dt/e.filterS))
	e.slow += (e.c - e.slow) * (1 - math.Exp(-dt/slopeFilterS))
	e.at = taken
	return true
}

// slope returns kelvin per second.
func (e *estimate) slope() float64 { return (e.c - e.slow) / slopeFilterS }

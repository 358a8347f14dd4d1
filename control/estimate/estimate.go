// Package estimate makes of a probe's readings what the loops rest on: a filtered
// temperature and its slope.
package estimate

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

// Temperature is a low-passed temperature with its slope, fed by samples at the
// times they were taken; a sample seen twice counts once.
type Temperature struct {
	filterS float64
	c       float64 // filtered, degrees Celsius
	slow    float64 // filtered once more; the lag between the two is the slope
	at      time.Duration
	valid   bool // c and slow may be used
	seen    bool // there has been a sample, however long ago
}

// OfMelt returns the estimate of a melt that was never read.
func OfMelt() Temperature { return Temperature{filterS: meltFilterS} }

// OfPlate returns the estimate of a plate that was never read.
func OfPlate() Temperature { return Temperature{filterS: plateFilterS} }

// Take feeds a reading that the guard believes, at bench time now; one that it
// does not believe is not filtered in, and outlives the last believed sample by
// no more than maxAge.
func (e *Temperature) Take(r reading.Temperature, believed bool, now, maxAge time.Duration) {
	if !believed {
		e.valid = e.valid && now-e.at <= maxAge
		return
	}
	taken := now - r.Age
	if !e.valid {
		e.c, e.slow, e.at, e.valid, e.seen = r.C, r.C, taken, true, true
		return
	}
	dt := (taken - e.at).Seconds()
	if dt <= 0 {
		return
	}
	e.c += (r.C - e.c) * (1 - math.Exp(-dt/e.filterS))
	e.slow += (e.c - e.slow) * (1 - math.Exp(-dt/slopeFilterS))
	e.at = taken
}

// Think puts what is thought of a temperature that has no probe, and of its slope in
// kelvin per second, in the place of samples.
func (e *Temperature) Think(c, slope float64) {
	e.c, e.slow, e.valid, e.seen = c, c-slope*slopeFilterS, true, true
}

// Forget says that nothing is known now.
func (e *Temperature) Forget() { e.valid = false }

// C is the filtered temperature in degrees Celsius; it means something only
// where Valid, or, as the last that was known, where Seen.
func (e *Temperature) C() float64 { return e.c }

// Slope is in kelvin per second; it means something only where Valid.
func (e *Temperature) Slope() float64 { return (e.c - e.slow) / slopeFilterS }

// Valid reports whether the temperature and its slope may be used now.
func (e *Temperature) Valid() bool { return e.valid }

// Seen reports whether there has been a sample, however long ago.
func (e *Temperature) Seen() bool { return e.seen }

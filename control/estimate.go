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
	valid   bool // c and slow may be used
	seen    bool // there has been a sample, however long ago
}

// take feeds a reading that the guard believes, at bench time now; one that it
// does not believe is not filtered in, and outlives the last believed sample by
// no more than maxAge.
func (e *estimate) take(r reading.Temperature, believed bool, now, maxAge time.Duration) {
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

// slope returns kelvin per second.
func (e *estimate) slope() float64 { return (e.c - e.slow) / slopeFilterS }

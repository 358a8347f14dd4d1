// Package swing finds out how something answers by letting it swing: a relay with
// hysteresis drives it up while it is below its middle and down while it is above, and
// the amplitude and the period of what comes of it are its ultimate gain and period
// (Åström and Hägglund, Automatica 20 (1984) 645-651, from memory).
package swing

import (
	"math"

	"meltwarden/control/pid"
)

// Relay is a relay on its way through a number of swings.
type Relay struct {
	middle, hysteresis float64
	swings             int

	up        bool
	begun     int // swings, the first of which is thrown away: it starts from rest
	low, high float64
	lastS     float64
	amplitude float64 // sums over those that count
	periodS   float64
	shortestS float64
	longestS  float64
}

// New returns a relay that swings so many times, two or more, about a middle, and that
// turns a hysteresis beyond it, above zero.
func New(middle, hysteresis float64, swings int) *Relay {
	return &Relay{middle: middle, hysteresis: hysteresis, swings: swings, shortestS: math.Inf(1)}
}

// Step takes in what is measured after dt seconds, and returns whether it is driven up.
func (r *Relay) Step(measured, dt float64) bool {
	r.lastS += dt
	r.low, r.high = min(r.low, measured), max(r.high, measured)
	switch {
	case r.up && measured > r.middle+r.hysteresis:
		r.up = false
	case !r.up && (r.begun == 0 || measured < r.middle-r.hysteresis):
		r.turn(measured)
	}
	return r.up
}

// turn ends a swing and begins the next, at the bottom.
func (r *Relay) turn(measured float64) {
	if r.begun >= 2 {
		r.amplitude += (r.high - r.low) / 2
		r.periodS += r.lastS
		r.shortestS, r.longestS = min(r.shortestS, r.lastS), max(r.longestS, r.lastS)
	}
	r.up, r.begun = true, r.begun+1
	r.low, r.high, r.lastS = measured, measured, 0
}

// Swing is which swing is under way, from 1, and of how many.
func (r *Relay) Swing() (now, of int) { return min(max(r.begun, 1), r.swings), r.swings }

// Done reports whether it has swung as often as it was to.
func (r *Relay) Done() bool { return r.begun > r.swings }

// alike is by how much the longest swing may be longer than the shortest (E): others were
// no answer to the relay.
const alike = 2.0

// Ultimate returns the ultimate gain and its period in seconds by what has been seen, for
// a relay of ±drive; zeros where the swings were not alike.
func (r *Relay) Ultimate(drive float64) (gain, periodS float64) {
	n := float64(r.begun - 2)
	if !r.Done() || n < 1 || r.longestS > alike*r.shortestS {
		return 0, 0
	}
	a := r.amplitude / n
	if a <= r.hysteresis {
		return 0, 0
	}
	return pid.RelayGain(drive, a, r.hysteresis), r.periodS / n
}

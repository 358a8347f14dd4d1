package loop

import (
	"math"

	"meltwarden/control/cascade"
	"meltwarden/control/model"
)

// Grades: E estimate, tuned on simulated pots.
const (
	limitInS  = 8.0  // E: how fast the plate is brought to its limit
	deadS     = 0.8  // E: a dead time of the probe, which the model takes for none
	shownInS  = 8.0  // E: so far ahead of its probe may a rising plate be
	trimS     = 20.0 // E: how fast what the model has wrong about a held plate is found
	trimKS    = 0.15 // E: a plate slower than this is held
	trimFromC = 8.0  // E: this near its ceiling,
	mostTrimC = 6.0  // E: and by no more than that
	forgetS   = 60.0 // E: how long a relay's swing is remembered
	// quickS is the time constant of an element that lets much of a relay's swing pass (E).
	quickS = 4.0
)

// ceiling keeps a plate under its limit. The model says where the plate is going; but it
// may be wrong about how much is on its way, and then the probe has the last word: what it
// shows and how fast that rises, and, where the plate is held too warm for long, by how
// much.
type ceiling struct {
	trimC float64 // how much warmer than its ceiling the model would hold the plate
	// owedS is what a relay owes of what was asked for, in seconds of full power; swingS
	// the most of it, either way, of late.
	owedS, swingS float64
}

// switched takes in what a heater got in the mean, and what it drew.
func (c *ceiling) switched(duty, drawn, dt float64) {
	kept := 1 - min(dt/forgetS, 1)
	c.owedS = kept * (c.owedS + (duty-drawn)*dt)
	c.swingS = max(math.Abs(c.owedS), kept*c.swingS)
}

// rippleC is by how much a relay's ons and offs take the plate over its mean, in kelvin.
// What it swings by is the energy that the relay gives ahead over what plate and element
// hold; a first-order element lets 1/(1 + 2πτ/T) of it pass or less, and a relay that is
// on half of the time comes round in T = 8 swings (elementary, derived here).
func (c *ceiling) rippleC(heaterW, plateJPerK float64) float64 {
	passes := c.swingS / (c.swingS + 2*math.Pi/8*quickS)
	return c.swingS * heaterW / plateJPerK * passes
}

// room is how far below its ceiling the plate will be at the least, in kelvin: where it
// is going by the model, or by its probe, where that is more.
func (c *ceiling) room(s *model.Sight, seen *cascade.Measure, ceilingC float64) float64 {
	coming := s.PlateC + (s.ElementS+deadS)*s.PlateSlope
	shown := seen.PlateC + shownInS*max(seen.PlateSlope, 0)
	return ceilingC - c.trimC - max(coming, shown)
}

// trim finds by how much a plate that is held at its ceiling is shown too warm.
func (c *ceiling) trim(seen *cascade.Measure, ceilingC, dt float64) {
	if off := seen.PlateC - ceilingC; math.Abs(seen.PlateSlope) < trimKS && math.Abs(off) < trimFromC {
		c.trimC = min(max(c.trimC+off*dt/trimS, 0), mostTrimC)
	}
}

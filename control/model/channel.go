package model

import (
	"math"

	"meltwarden/control/reading"
)

// Grades: E estimate.
const (
	quietC     = 0.08 // E: no module's readings spread by less
	noisyC     = 1.0  // what is more than that is no noise
	noiseFirst = 0.2  // until its own is known
	noiseS     = 20.0 // E: how fast its own is followed
	strangeS   = 15.0 // E: likewise how strange the readings are
	strangest  = 100.0
	// timeS is how well it is known when a reading was so (E): a probe has a dead time, which
	// the model takes for none, and what runs was another temperature then.
	timeS      = 0.3
	startledBy = 25.0 // E: five standard deviations off
	startledIn = 3    // readings in a row
)

// channel is one probe: its state, that of what it is in, and its lag.
type channel struct {
	probe, truth, lnLag int
	seen                bool
	fresh               bool    // in this step came another one
	takenS              float64 // when the last reading was taken
	lastC               float64
	noise2              float64 // variance of a reading
	strange             float64
	far                 int
}

func newChannel(probe, truth, lnLag int) channel {
	return channel{probe: probe, truth: truth, lnLag: lnLag, noise2: noiseFirst * noiseFirst}
}

// counts reports whether a reading may be used.
func counts(t reading.Temperature) bool {
	return t.Fault == reading.None && !math.IsNaN(t.C) && !math.IsInf(t.C, 0)
}

// take corrects by a reading, at the time it was taken; one seen before counts once.
func (f *Filter) take(c *channel, t reading.Temperature) {
	if c.fresh = false; !counts(t) {
		return
	}
	takenS := f.nowS - t.Age.Seconds()
	if c.seen && takenS <= c.takenS {
		return
	}
	spanS := takenS - c.takenS
	c.listen(t.C, spanS)
	c.takenS, c.lastC, c.seen, c.fresh = takenS, t.C, true, true

	// What the probe shows was so a while ago: less by what it has moved since.
	back := min(t.Age.Seconds()/math.Exp(f.x[c.lnLag]), 1)
	h := [2]float64{1 + back, -back}
	off := t.C - h[0]*f.x[c.probe] - h[1]*f.x[c.truth]
	ph, awaited2 := f.awaited(c, h)
	c.wonder(off*off/(awaited2-f.late2(c)), spanS)
	f.evidence -= (min(off*off/awaited2, strangest) + math.Log(awaited2)) / 2
	if c.far >= startledIn && c.truth == melt {
		c.far = 0
		if f.Startle(); off < 0 {
			f.fellS = f.nowS
		}
		ph, awaited2 = f.awaited(c, h)
	}
	if f.pot.Probes != reading.BothProbes {
		f.correctPartly(&ph, off, awaited2)
		return
	}
	f.correct(&ph, off, awaited2)
}

// listen follows how noisy the readings are: half the square of what neighbours
// differ, which a slope of a degree a second hardly touches.
func (c *channel) listen(nowC, spanS float64) {
	if !c.seen {
		return
	}
	half := min((nowC-c.lastC)*(nowC-c.lastC)/2, noisyC*noisyC)
	c.noise2 += (half - c.noise2) * min(spanS/noiseS, 1)
	c.noise2 = max(c.noise2, quietC*quietC)
}

// wonder follows how strange the readings are: the square of how far they were off
// over its awaited value, one in the mean where the model fits.
func (c *channel) wonder(z, spanS float64) {
	c.strange += (min(z, strangest) - c.strange) * min(spanS/strangeS, 1)
	if c.far++; z <= startledBy {
		c.far = 0
	}
}

// awaited returns P hᵀ, and the variance with which a reading is awaited.
func (f *Filter) awaited(c *channel, h [2]float64) (ph vector, variance float64) {
	for k := range ph {
		ph[k] = f.p[k][c.probe]*h[0] + f.p[k][c.truth]*h[1]
	}
	return ph, ph[c.probe]*h[0] + ph[c.truth]*h[1] + c.noise2 + f.late2(c)
}

// late2 is the variance of a reading for what is not known about its time. It excuses
// nothing: a reading is as strange as it was without it.
func (f *Filter) late2(c *channel) float64 {
	late := timeS * (f.x[c.truth] - f.x[c.probe]) / math.Exp(f.x[c.lnLag])
	return late * late
}

// correct is the filter's update by one measurement.
func (f *Filter) correct(ph *vector, off, variance float64) {
	for k := range ph {
		gain := ph[k] / variance
		f.x[k] += gain * off
		for l := range ph {
			f.p[k][l] -= gain * ph[l]
		}
	}
}

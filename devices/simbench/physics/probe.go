package physics

import (
	"math"
	"math/rand/v2"
	"time"
)

// NoiseC is the standard deviation of a reading's noise and ResolutionC the
// steps in which a thermocouple module reports, both in degrees Celsius.
const (
	NoiseC      = 0.25
	ResolutionC = 0.25
)

// ProbeSpec is a thermocouple where it sits.
type ProbeSpec struct {
	Lag     time.Duration // time constant where it sits
	Dead    time.Duration // transport time before it notices anything
	AirLag  time.Duration // time constant hanging in the air
	OffsetC float64       // its own fixed error, degrees Celsius
	PerC    float64       // and what grows with the temperature, degrees Celsius for each
}

// Probe is a thermocouple: it reports a delayed, lagging, offset, noisy and
// stepped temperature. It is not safe for concurrent use.
type Probe struct {
	spec   ProbeSpec
	line   []float64 // the last temperatures, a ring as long as the dead time
	next   int
	c      float64
	pulled bool
	dipped bool
	cupC   float64 // what it is held in while dipped
	noise  *rand.Rand
}

// NewProbe returns a probe that has long been at atC.
func NewProbe(s ProbeSpec, atC float64, noise *rand.Rand) *Probe {
	line := make([]float64, max(1, int(s.Dead/Step)))
	for i := range line {
		line[i] = atC
	}
	return &Probe{spec: s, line: line, c: atC, noise: noise}
}

// Pull takes the probe out of what it measures, or puts it back.
func (p *Probe) Pull(out bool) { p.pulled = out }

// Dip holds the probe in something at c, in degrees Celsius, until it is put back.
func (p *Probe) Dip(c float64) { p.dipped, p.cupC = true, c }

// PutBack puts the probe back to where it was before it was dipped.
func (p *Probe) PutBack() { p.dipped = false }

// Err gives the probe an error of its own in place of the one that it has: offsetC, and perC
// more for each degree Celsius.
func (p *Probe) Err(offsetC, perC float64) { p.spec.OffsetC, p.spec.PerC = offsetC, perC }

// Step lets one Step of time pass; the probe sits in something at trueC.
func (p *Probe) Step(trueC, airC float64) {
	felt, lag := p.line[p.next], p.spec.Lag
	p.line[p.next] = trueC
	p.next = (p.next + 1) % len(p.line)
	switch {
	case p.dipped:
		felt = p.cupC
	case p.pulled:
		felt, lag = airC, p.spec.AirLag
	}
	// Exact for a temperature that holds still during the step.
	p.c += (felt - p.c) * -math.Expm1(-stepS/lag.Seconds())
}

// Read returns one conversion in degrees Celsius, with the noise extraC (a
// standard deviation) on top of the probe's own. It draws one random number.
func (p *Probe) Read(extraC float64) float64 {
	sigma := math.Hypot(NoiseC, extraC)
	c := p.c + p.spec.PerC*p.c + p.spec.OffsetC + sigma*p.noise.NormFloat64()
	return math.Round(c/ResolutionC) * ResolutionC
}

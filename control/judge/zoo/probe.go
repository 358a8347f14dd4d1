package zoo

import (
	"math"
	"math/rand/v2"
)

// ProbeSpec is a probe as built, and its amplifier.
type ProbeSpec struct {
	LagS    float64 // first lag, seconds
	SecondS float64 // second lag; zero: none
	DeadS   float64 // dead time, up to 1.5 s
	NoiseC  float64 // standard deviation of one reading
	StepC   float64 // what a reading is rounded to
	OffsetC float64 // constant error
}

// deadMost is the longest dead time in steps.
const deadMost = 32

// probe is a probe's state.
type probe struct {
	first, second float64
	line          [deadMost]float64 // what is on its way through the dead time
	at            int
}

func newProbe(c float64) probe {
	p := probe{first: c, second: c}
	for i := range p.line {
		p.line[i] = c
	}
	return p
}

// step follows a true temperature, with the shares of a step of both lags.
func (p *probe) step(c, a, b float64) {
	p.first += (c - p.first) * a
	p.second += (p.first - p.second) * b
	p.at = (p.at + 1) % deadMost
	p.line[p.at] = p.second
}

// read returns a reading in degrees Celsius.
func (p *probe) read(s *ProbeSpec, from *rand.Rand) float64 {
	dead := min(int(math.Round(s.DeadS/StepS)), deadMost-1)
	c := p.line[(p.at-dead+deadMost)%deadMost] + s.OffsetC + s.NoiseC*from.NormFloat64()
	return math.Round(c/s.StepC) * s.StepC
}

package physics

import (
	"math"
	"math/rand/v2"
	"time"
)

// Mains is a supply voltage that wanders slowly around a value of its own, both
// within the ±10 % that EN 50160 allows. It is not safe for concurrent use.
type Mains struct {
	mean, now float64 // voltage over nominal
	random    *rand.Rand
}

// NewMains returns a supply whose mean is within ±3 % of nominal (estimate).
func NewMains(random *rand.Rand) *Mains {
	mean := around(random, 0.03)
	return &Mains{mean: mean, now: mean, random: random}
}

// Step lets one Step of time pass: an Ornstein-Uhlenbeck process of 0.8 %
// standard deviation and 90 s (estimates).
func (m *Mains) Step() {
	const sigma = 0.008
	const tau = 90 * time.Second
	share := stepS / tau.Seconds()
	m.now += (m.mean-m.now)*share + sigma*math.Sqrt(2*share)*m.random.NormFloat64()
}

// Power is what a resistive heater draws, over its power at nominal voltage.
func (m *Mains) Power() float64 { return m.now * m.now }

package cascade

import (
	"math"

	"meltwarden/control/pid"
)

// Tuning is what a trial of a pot has found its loops to want.
type Tuning struct {
	Plate, Melt pid.Gains
	// MeltUltimate is the melt loop's gain, in kelvin of plate per kelvin of melt, at which
	// it would swing for ever.
	MeltUltimate float64
}

// Fits reports whether it can be one: gains that are any, and a melt loop with its margin.
func (t *Tuning) Fits() bool {
	for _, g := range []pid.Gains{t.Plate, t.Melt} {
		if !(g.Kp > 0) || !(g.Ti > 0) || !finite(g.Kp, g.Ti, g.Td, g.Filter) || g.Td < 0 || g.Td > 0 && !(g.Filter > 0) {
			return false
		}
	}
	return finite(t.MeltUltimate) && t.Melt.Kp*leastMargin <= t.MeltUltimate
}

// leastMargin is the least gain margin that a loop is left with: 2 to 5 is usual (Åström
// and Hägglund, Advanced PID Control, 2006, from memory).
const leastMargin = 2.0

// Tune tells the loops the gains that were found on the pot itself. They go by them,
// without a bump, where the pot is doubted and their own gain leaves too little margin:
// elsewhere those that follow from what the pot is are the better ones
// (TestNumbersOfTrials, judge).
func (c *Cascade) Tune(t Tuning) { c.tuned = &t }

// Tuning returns what the loops were tuned to by a trial; nil where there was none.
func (c *Cascade) Tuning() *Tuning { return c.tuned }

// goesByTrial reports whether the trial's gains count, beside a melt loop's own one.
func (c *Cascade) goesByTrial(gain float64) bool {
	return c.tuned != nil && c.seen.Doubted && gain*leastMargin > c.tuned.MeltUltimate
}

// PlateFor is how much warmer a plate has to be, in kelvin, to make the melt rise by so
// many kelvin per second, as far as is known.
func (c *Cascade) PlateFor(slope float64) float64 {
	return slope * c.pot.MeltJPerK / c.known.coupling
}

// StepTo is Step with the plate held at a temperature, or at its limit: the melt loop
// waits.
func (c *Cascade) StepTo(plateC float64, m Measure, dt float64) float64 {
	return c.step(m, m, dt, func() {
		c.plateSP, c.bound = math.Min(plateC, m.LimitC-MarginC), true
	})
}

// Seen is what the loops have gone by in this cycle.
func (c *Cascade) Seen() *Measure { return &c.seen }

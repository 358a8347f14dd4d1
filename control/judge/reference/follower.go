package reference

import (
	"math"

	"meltwarden/control/pid"
)

// trackShare is how much of its integral time a loop without derivative takes to
// follow what became of its output: up to the whole is common practice, no source.
// It was chosen for the loops' good: on twelve pots of this package's tests a half
// takes the cascade from 3.0 °C over to 0.02 (medians), for 3 % more time, and its
// plate from 19 °C over the limit to 2; a quarter is not better.
const trackShare = 0.5

// follower is a PID that follows by back calculation what became of its output,
// and starts where it was stopped.
type follower struct {
	pid      *pid.PID
	trackS   float64
	running  bool
	setpoint float64
	measured float64
}

// follow tracks within √(Ti·Td) (Åström and Hägglund, Advanced PID Control, 2006,
// from memory), or a share of the integral time.
func follow(g pid.Gains) *follower {
	track := trackShare * g.Ti
	if g.Td > 0 {
		track = math.Sqrt(g.Ti * g.Td)
	}
	return &follower{pid: pid.New(g), trackS: track}
}

// output is the loop's answer. The first after a rest keeps the integral and
// takes the measurement for no slope.
func (f *follower) output(setpoint, measured, dt, lo, hi float64) float64 {
	f.setpoint, f.measured = setpoint, measured
	if !f.running {
		f.running = true
		integral := f.pid.Integral()
		f.pid.Begin(0, setpoint, measured)
		f.pid.SetIntegral(integral)
	}
	return f.pid.Output(setpoint, measured, dt, lo, hi)
}

// applied tells the loop what became of its answer.
func (f *follower) applied(output, dt float64) {
	if f.running {
		f.pid.Applied(output, f.setpoint, f.measured, dt, f.trackS, false)
	}
}

func (f *follower) rest() { f.running = false }

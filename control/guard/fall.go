package guard

import "time"

// Grades as in the table.
const (
	fastFallC   = -0.5        // C, in °C a second: a lifted pot cools at 0.07, a bare probe at 3
	fastFallFor = time.Second // E: with the filters' own second, two from a probe's slip
	levelC      = -0.15       // E, in °C a second: a melt that rises or holds
	levelFor    = time.Second // E

	plateFastFallC = -1.5 // E, in °C a second: a heated plate under a cold potful falls at 1
)

// fall watches for a reading that falls faster than what it is in can cool: the
// probe may be coming out, and a loop would answer with more heat.
type fall struct {
	falling bool
	fromC   float64       // where it began
	fast    time.Duration // how long it has been that fast
	level   time.Duration // how long it has been level again
}

// look takes in one cycle of a trend and reports whether it is falling, from the
// time it was too fast until it is level again.
func (f *fall) look(t *trend, tooFast float64, elapsed time.Duration) bool {
	slope := t.slope()
	switch {
	case !t.seen:
		// Nothing is known: neither a fall nor the end of one.
	case f.falling:
		if f.level += elapsed; slope < levelC {
			f.level = 0
		}
		f.falling = f.level < levelFor
	case slope > tooFast:
		f.fast, f.fromC = 0, t.c
	default:
		if f.fast += elapsed; f.fast >= fastFallFor {
			f.falling, f.level = true, 0
		}
	}
	return f.falling
}

// depthC is how far it has fallen so far, in degrees Celsius.
func (f *fall) depthC(t *trend) float64 {
	if !f.falling {
		return 0
	}
	return f.fromC - t.c
}

package guard

import "time"

// Grades as in the table.
const (
	fastFallC   = -0.5        // C, in °C a second: a lifted pot cools at 0.07, a bare probe at 3
	fastFallFor = time.Second // E: with the filters' own second, two from a probe's slip
	levelC      = -0.15       // E, in °C a second: a melt that rises or holds
	levelFor    = time.Second // E

	lostDepthC = 30.0 // E: a fifth of a small pot, added cold
	// E: as much again as there is in a pot, at 20 °C, takes half of what it is above
	// that (energy balance).
	coldC         = 20.0
	additionShare = 0.55
	// E: the reading of a melt that was topped up levels off with its probe's lag, 2 to
	// 5 s: by then at less than 0.015 of its depth a second; a bare probe's, with some
	// 50 s, at 0.05. A jug that was marked may be poured in over a quarter of a minute.
	levelsWithin       = 16 * time.Second
	levelsWithinMarked = 24 * time.Second
	levelsAtShare      = 0.02 // of its depth, a second
	fallsNoLonger      = 40 * time.Second

	plateFastFallC = -1.5 // E, in °C a second: a heated plate under a cold potful falls at 1
)

// fall watches for a reading that falls faster than what it is in can cool: the
// probe may be coming out, and a loop would answer with more heat.
type fall struct {
	falling bool
	fromC   float64       // where it began
	fast    time.Duration // how long it has been that fast
	level   time.Duration // how long it has been level again
	lasts   time.Duration // since it was called a fall
}

// look takes in one cycle of a trend and reports whether it is falling, from the
// time it was too fast until it is level again.
func (f *fall) look(t *trend, tooFast float64, elapsed time.Duration) bool {
	slope := t.slope()
	switch {
	case !t.seen:
		// Nothing is known: neither a fall nor the end of one.
	case f.falling:
		f.lasts += elapsed
		if f.level += elapsed; slope < levelC {
			f.level = 0
		}
		f.falling = f.level < levelFor
	case slope > tooFast:
		f.fast, f.fromC = 0, t.c
	default:
		if f.fast += elapsed; f.fast >= fastFallFor {
			f.falling, f.level, f.lasts = true, 0, 0
		}
	}
	return f.falling
}

// lost reports whether the probe is out of what it was in: the reading has fallen
// further than any cold addition takes it, or far, and does not level off as it does
// after one.
func (f *fall) lost(t *trend, marked bool) bool {
	within := levelsWithin
	if marked {
		within = levelsWithinMarked
	}
	depth := f.depthC(t)
	fallsOn := f.lasts >= within && t.slope() <= -levelsAtShare*depth || f.lasts >= fallsNoLonger
	return depth >= lostDepthC && (fallsOn || depth >= additionShare*(f.fromC-coldC))
}

// depthC is how far it has fallen so far, in degrees Celsius.
func (f *fall) depthC(t *trend) float64 {
	if !f.falling {
		return 0
	}
	return f.fromC - t.c
}

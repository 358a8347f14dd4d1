package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// Grades as in the table.
const (
	plausibleMinC  = -20.0
	plausibleMaxC  = 400.0
	plausibleStepC = 30.0             // E: in one second; a bare probe moves 3 °C in one
	frozenAfter    = 60 * time.Second // E: noise alone moves a live reading within seconds
	forgetAfter    = 2 * time.Second  // E: a slope over a longer gap says nothing
)

// probe remembers what one thermocouple said, to tell a live one from a dead one.
type probe struct {
	seen      bool
	last      float64
	before    float64       // the accepted value before that
	leaptC    float64       // the accepted value before what could not be true; NaN when there was none
	sinceGood time.Duration // since a value was last accepted as plausible
	unmoved   time.Duration // how long exactly the same value came while it had to move
	noise     noise
	trend     trend
}

// doubt is what is wrong with a reading in this cycle.
type doubt struct {
	unusable, implausible, frozen bool
	silent                        bool // unusable because nothing came, not by the device's word
}

// untrusted reports whether the reading says nothing of its pot.
func (d doubt) untrusted() bool { return d.unusable || d.implausible || d.frozen }

// look judges one reading. mustMove says that a live reading would change now.
func (p *probe) look(t reading.Temperature, elapsed time.Duration, mustMove bool) doubt {
	p.sinceGood += elapsed
	if p.sinceGood > forgetAfter {
		p.trend.seen = false
	}
	if !t.Usable(MaxAge) {
		p.noise.interrupt()
		return doubt{unusable: true, silent: silent(t)}
	}
	d := doubt{unusable: p.noise.take(t.C, elapsed) >= uselessNoiseC}
	step := plausibleStepC * math.Max(1, p.sinceGood.Seconds())
	if t.C < plausibleMinC || t.C > plausibleMaxC || p.seen && p.leaps(t.C, step) {
		// Not remembered: the next value is held against the last good one, and
		// the allowance grows with time, so that a real change is accepted soon.
		d.implausible = true
		if p.leaptC = math.NaN(); p.seen {
			p.leaptC = p.last
		}
		return d
	}
	if mustMove && p.seen && t.C == p.last {
		p.unmoved += watched(elapsed)
	} else if t.C != p.last {
		p.unmoved = 0
	}
	d.frozen = p.unmoved >= frozenAfter
	if !p.seen {
		p.last = t.C
	}
	p.seen, p.before, p.last, p.sinceGood = true, p.last, t.C, 0
	p.trend.take(t.C, elapsed)
	return d
}

// leaps reports whether a value is more than a step away from what came before. A wild
// value that was just within a step must not make the true ones after it implausible.
func (p *probe) leaps(c, step float64) bool {
	return math.Abs(c-p.last) > step && math.Abs(c-p.before) > step
}

// back reports whether the reading is again near what it was before it leapt to c:
// one that stays away is another probe's, or that of shorted leads, however steady.
func (p *probe) back(leaptC float64) bool {
	return p.seen && p.sinceGood == 0 && !(math.Abs(p.last-leaptC) > plausibleStepC)
}

// mayBeHot reports whether the last that was known of the probe, however long
// ago, was too hot to touch, or nothing ever was.
func (p *probe) mayBeHot() bool { return !p.seen || p.last >= TouchC }

// silent reports whether a temperature is unusable because nothing came of late.
func silent(t reading.Temperature) bool {
	return t.Fault == reading.Missing || t.Fault == reading.None && t.Age > MaxAge
}

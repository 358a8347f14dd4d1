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
	// E: the time in which a bare thin plate loses 63 % of what it is above coldC; a lifted
	// pot in a draught takes 21 min (C).
	coolsIn   = 15 * time.Minute
	leaptOver = time.Minute // E: what is read for so long after a leap is what is so
)

// probe remembers what one thermocouple said, to tell a live one from a dead one.
type probe struct {
	now       time.Duration // since the first cycle
	seen      bool
	last      float64
	before    float64       // the accepted value before that
	leapt     leap          // to what could not be true
	sinceGood time.Duration // since a value was last accepted as plausible
	unread    time.Duration // of that, with no value at all
	unmoved   time.Duration // how long exactly the same value came while it had to move
	noise     noise
	trend     trend
}

// leap is where a reading was when it was last plausible.
type leap struct {
	fromC float64 // NaN when it never was
	at    time.Duration
}

// doubt is what is wrong with a reading in this cycle.
type doubt struct {
	unusable, implausible, frozen bool
	silent                        bool // unusable because nothing came, not by the device's word
	absent                        bool // there is no such probe
}

// absent is all that is known of a probe that the pot does not have.
var absent = doubt{silent: true, absent: true}

// untrusted reports whether the reading says nothing of its pot.
func (d doubt) untrusted() bool { return d.absent || d.unusable || d.implausible || d.frozen }

// look judges one reading. mustMove says that a live reading would change now.
func (p *probe) look(t reading.Temperature, elapsed time.Duration, mustMove bool) doubt {
	p.now += elapsed
	p.sinceGood += elapsed
	if p.sinceGood > forgetAfter {
		p.trend.seen = false
	}
	if !t.Usable(MaxAge) {
		p.noise.interrupt()
		p.unread += elapsed
		return doubt{unusable: true, silent: silent(t)}
	}
	d := doubt{unusable: p.noise.take(t.C, elapsed) >= uselessNoiseC}
	step := plausibleStepC * math.Max(1, p.sinceGood.Seconds())
	if t.C < plausibleMinC || t.C > plausibleMaxC || p.seen && (p.leaps(t.C, step) || p.tooCold(t.C)) && !p.returns(t.C) {
		// Not remembered: the next value is held against the last good one, and
		// the allowance grows with time, so that a real change is accepted soon.
		d.implausible = true
		if p.leapt = (leap{math.NaN(), p.now - p.sinceGood}); p.seen {
			p.leapt.fromC = p.last
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
	p.seen, p.before, p.last, p.sinceGood, p.unread = true, p.last, t.C, 0, 0
	p.trend.take(t.C, elapsed)
	return d
}

// leaps reports whether a value is more than a step away from what came before. A wild
// value that was just within a step must not make the true ones after it implausible.
func (p *probe) leaps(c, step float64) bool {
	return math.Abs(c-p.last) > step && math.Abs(c-p.before) > step
}

// tooCold reports whether what was hot can not have cooled to a value while nothing was
// read: shorted leads read the module's own temperature, for however long.
func (p *probe) tooCold(c float64) bool {
	return p.last >= TouchC && c < coolest(p.last, p.unread) && c < coolest(p.before, p.unread)
}

// returns reports whether a value is where the reading was before it leapt a moment ago:
// it was never where it leapt to.
func (p *probe) returns(c float64) bool {
	return p.leapt.fromC >= TouchC && p.now-p.leapt.at < leaptOver && !p.away(c, p.leapt)
}

// away reports whether what was somewhere before a leap can not be at c now, nor have
// cooled to it: it is another probe's reading, or that of shorted leads, however steady.
func (p *probe) away(c float64, from leap) bool {
	return c > from.fromC+plausibleStepC || c < coolest(from.fromC, p.now-from.at)
}

// coolest is the least, in degrees Celsius, that may be read of what was at c, a time
// after that: it loses heat in proportion to what it is above the room (Newton's law).
func coolest(c float64, since time.Duration) float64 {
	if c >= TouchC {
		c = coldC + (c-coldC)*math.Exp(-since.Seconds()/coolsIn.Seconds())
	}
	return c - plausibleStepC
}

// forget lets the next value be believed, whatever came before.
func (p *probe) forget() { p.seen = false }

// silent reports whether a temperature is unusable because nothing came of late.
func silent(t reading.Temperature) bool {
	return t.Fault == reading.Missing || t.Fault == reading.None && t.Age > MaxAge
}

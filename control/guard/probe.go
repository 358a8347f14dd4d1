package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// probe remembers what one thermocouple said, to tell a live one from a dead one.
type probe struct {
	seen      bool
	last      float64
	sinceGood time.Duration // since a value was last accepted as plausible
	unmoved   time.Duration // how long exactly the same value came while it had to move
}

// doubt is what is wrong with a reading in this cycle.
type doubt struct{ unusable, implausible, frozen bool }

// untrusted reports whether the reading says nothing of its pot.
func (d doubt) untrusted() bool { return d.unusable || d.implausible || d.frozen }

// look judges one reading. mustMove says that a live reading would change now.
func (p *probe) look(t reading.Temperature, elapsed time.Duration, mustMove bool) doubt {
	p.sinceGood += max(elapsed, 0)
	if !t.Usable(MaxAge) {
		return doubt{unusable: true}
	}
	var d doubt
	step := plausibleStepC * math.Max(1, p.sinceGood.Seconds())
	if t.C < plausibleMinC || t.C > plausibleMaxC || p.seen && math.Abs(t.C-p.last) > step {
		// Not remembered: the next value is held against the last good one, and
		// the allowance grows with time, so that a real change is accepted soon.
		return doubt{implausible: true}
	}
	if mustMove && p.seen && t.C == p.last {
		p.unmoved += max(elapsed, 0)
	} else if t.C != p.last {
		p.unmoved = 0
	}
	d.frozen = p.unmoved >= frozenAfter
	p.seen, p.last, p.sinceGood = true, t.C, 0
	return d
}

// follow watches whether the melt's reading does what a melt over a much warmer
// plate has to do: rise. One that hangs in the air, sits in another pot or is
// wired the wrong way round does not, and the loop would answer with full power.
type follow struct {
	unheated time.Duration // since the heater was last on
	watched  time.Duration // how long the plate has been that much warmer
	from     float64       // the melt's reading when the watch began
}

// look takes in one cycle and reports whether the melt has stopped following.
func (f *follow) look(s *PotSight, elapsed time.Duration) bool {
	if f.unheated += max(elapsed, 0); s.Duty > 0 {
		f.unheated = 0
	}
	if f.unheated > followUnheated || !hotter(s.Plate, s.Melt, followGapC) {
		f.watched = 0
		return false
	}
	if f.watched == 0 {
		f.from = s.Melt.C
	}
	f.watched += max(elapsed, 0)
	if f.watched >= followFor && s.Melt.C >= f.from+followRiseC {
		f.watched = 0 // it rose: the next watch begins
	}
	return s.Melt.C <= f.from-followFallC || f.watched >= followFor
}

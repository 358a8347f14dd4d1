package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// Grades as in the table.
const (
	// With the plate that much warmer for that long, 90 simulated pots rose by 5 °C
	// and more, and none fell by more than noise does (E).
	followGapC     = 40.0
	followFor      = 2 * time.Minute
	followRiseC    = 2.0
	followUnheated = 10 * time.Second // E: a pot that is lifted or cut off may cool
	// A pot that rests may need a plate 55 °C warmer than its melt (E). It rests where
	// a melt is poured (C: 157 °C and more), which no probe in the air reads, and falls
	// no faster than one in a draught does until the loop answers (E).
	restsAboveC = 140.0
	restFallC   = 5.0

	plateBelowMeltC = 10.0 // E: a plate that heats a melt is warmer than it
)

// follow watches whether the melt's reading does what a melt over a much warmer
// plate has to do: rise. One that hangs in the air or sits in another pot does
// not, and the loop would answer with full power.
type follow struct {
	unheated time.Duration // since the heater was last on
	watched  time.Duration // how long the plate has been that much warmer
	fromC    float64       // the melt when this watch began
	lowC     float64       // its lowest since
	full     float64       // seconds of full power since
}

// look takes in one cycle and reports whether the melt has stopped following.
// After a dip the watch begins anew.
func (f *follow) look(s *PotSight, melt *trend, dips bool, elapsed time.Duration) bool {
	if f.unheated += elapsed; s.Duty > 0 {
		f.unheated = 0
	}
	if dips || f.unheated > followUnheated || !hotter(s.Plate, s.Melt, followGapC) {
		f.watched = 0
		return false
	}
	if f.watched == 0 {
		f.fromC, f.lowC, f.full = melt.c, melt.c, 0
	}
	f.watched += elapsed
	f.lowC = min(f.lowC, melt.c)
	f.full += s.Duty * elapsed.Seconds()
	if melt.c >= f.lowC+followRiseC || f.rested(melt) {
		f.watched = 0 // the next watch begins
	}
	return f.watched >= followFor
}

// rested reports whether, over a whole watch, the melt stayed where it was and took no
// more than a resting pot does.
func (f *follow) rested(melt *trend) bool {
	return f.watched >= followFor && melt.c >= restsAboveC && melt.c >= f.fromC-restFallC &&
		f.full < highDuty*f.watched.Seconds()
}

// Grades as in the table.
const (
	seenToFor = 1500 * time.Millisecond // E: a plug that was pulled for two seconds, less what the sightings miss of it
	backRiseC = 5.0                     // E: a probe that is back in the melt, or a melt that does rise
	// E: leads that no longer touch let a reading jump; what they read while they do, which
	// is followed that slowly, drifts by less.
	mendedC     = 10.0
	wrongSlowly = time.Minute
	// E: a probe that is off a hot plate reads cold at once, but a melt on that plate
	// is over 50 °C by two fifths of that, also where the trip came early.
	coldFor = 8 * time.Minute
)

// doubted keeps a probe's trip from being reset while nothing says that anybody
// has seen to the probe: with the heater off there is nothing to show that it is
// still out. A leap from hot is doubted with heat blocked as well.
type doubted struct {
	lowC     float64       // the lowest since the trip
	leapt    leap          // where the reading was before it could not be true
	wrongC   float64       // what it has read since, smoothed
	out      bool          // the device said last that the probe is not there
	unplug   time.Duration // from the first to the last time on end that it said so
	cold     time.Duration // how long both probes of the pot have been cold
	doubtful bool
}

// begin starts the doubt.
func (d *doubted) begin(c Code, readC float64, p *probe) {
	*d = doubted{lowC: p.trend.c, leapt: leap{fromC: math.NaN()}, wrongC: readC, doubtful: true}
	if c.leaps() {
		d.leapt = p.leapt
	}
}

// leaps reports whether a finding is that of a reading that can not be true.
func (c Code) leaps() bool { return c == MeltImplausible || c == PlateImplausible }

// look takes in one cycle and reports whether the doubt lasts: until the pot is marked
// as lifted at the bench, the probe was unplugged and is back, both probes have been
// cold for long (all begins anew, as in the morning), or the reading itself shows that
// it is right again. A leap from hot needs more: see shown.
func (d *doubted) look(c Code, s *PotSight, t reading.Temperature, p *probe, elapsed time.Duration) bool {
	was := d.out
	if d.out = t.Fault != reading.None && !silent(t); d.out {
		if was { // one sighting lasts no time, however long the cycle before it took
			d.unplug += elapsed
		}
		return d.doubtful
	}
	if !t.Usable(MaxAge) {
		return d.doubtful
	}
	if d.unplug < seenToFor {
		d.unplug = 0 // a loose plug lets go for a moment, again and again, with nobody near it
	}
	if d.cold += elapsed; !s.cold() || coolest(d.leapt.fromC, p.now-d.leapt.at) >= TouchC {
		d.cold = 0 // two shorted probes read cold as well
	}
	seenTo := d.unplug >= seenToFor && !(d.leapt.fromC >= TouchC)
	if s.LiftedHere || d.cold >= coldFor || seenTo || d.shown(c, t.C, p, elapsed) {
		p.forget()
		d.doubtful = false
	}
	return d.doubtful
}

// shown reports whether a reading itself shows that it is right again, where it can. One
// that has leapt has to be back by a jump: what may have cooled meanwhile comes down to
// what shorted leads read all the while.
func (d *doubted) shown(c Code, readC float64, p *probe, elapsed time.Duration) bool {
	switch c {
	case MeltImplausible, PlateImplausible:
		jumped := math.Abs(readC-d.wrongC) > mendedC
		d.wrongC += (readC - d.wrongC) * -math.Expm1(-elapsed.Seconds()/wrongSlowly.Seconds())
		return jumped && !p.away(readC, d.leapt)
	case MeltNotFollowing, PlateNotFollowing:
		return d.risen(&p.trend)
	}
	return false
}

// risen reports whether a reading has risen since the trip.
func (d *doubted) risen(t *trend) bool {
	d.lowC = min(d.lowC, t.c)
	return t.seen && t.c >= d.lowC+backRiseC
}

// cold reports whether all that is seen of the pot is known to be too low to burn.
func (s *PotSight) cold() bool {
	return (cold(s.Melt) || !s.Probes.HasMelt()) && (cold(s.Plate) || !s.Probes.HasPlate())
}

// cold reports whether a temperature is known to be too low to burn.
func cold(t reading.Temperature) bool { return t.Usable(MaxAge) && t.C < TouchC }

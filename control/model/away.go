package model

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// A pot that somebody lifts goes its own way, and so does its plate. From one moment after
// the other both ways are foreseen, with the pot on its plate and off it, and what is read
// is held against them: how far has each probe gone from the one way to the other? A stir,
// a draught, a cold addition or a low mains moves one of the two, or one of them the other
// way; only a pot that is off its plate moves both.

// Away is what the readings say of a pot's being on its plate.
type Away uint8

// The words for it.
const (
	OnPlate Away = iota
	MaybeOff
	OffPlate
)

// Grades: C common practice, E estimate, from the named pots of control/judge.
const (
	courses  = 10
	courseS  = 5.0   // E: so often one begins; the oldest ends
	restsAtC = 140.0 // E: a melt that is poured is warmer,
	restsKS  = 0.015 // E: and one that is held moves no faster than this, in kelvin a second,
	restsS   = 60.0  // E: for so long, or the model has not seen yet what the pot is at rest

	// E: of what leaving the plate does to the readings, so much has to show. A plate that
	// nothing stands on loses more than the model knows of, and moves by half of it.
	leastPlate, mostPlate = 0.42, 1.8
	leastMelt, mostMelt   = 0.7, 2.5
	// E: where a pot is built otherwise than the model, a plate goes astray by itself; it has
	// to do so by that many times what it usually did, in so many courses, by an age at which
	// a lift shows.
	usualTimes, usualFirst = 4.0, 0.15
	usualOver, earlyS      = 12.0, 20.0
	// E: what it should have done by then, in kelvin; less is no more than the model's errors.
	maybePlateC, maybeMeltC = 1.0, 0.25
	offPlateC, offMeltC     = 1.5, 0.45
	// E: whatever was foreseen, a lifted melt falls, at 4 °C a minute in the end (C); in
	// kelvin a second, over the last ten seconds and more.
	maybeFallsKS, offFallsKS = 0.5 / 60, 1.6 / 60
	fallsOverS               = 10.0
	// E: so many times that of a melt that was not held, or whose heater has been off for so
	// long by itself: then the plate's heat runs out, and nothing is lost by waiting.
	unheldTimes = 2.0
	idleMostS   = 20.0

	namedAfterS = 15.0 // C: the cause is named no sooner
	looksForS   = 1.5  // E: a moment's look is none
	looksNotS   = 3.0  // E: and no moment's look ends it
)

// course is what is foreseen from a moment on.
type course struct {
	begun       bool
	early       float64 // the plate's share by earlyS
	rested      bool    // the melt was held
	fromC       float64 // the melt then
	forS        float64 // how long ago that was
	on, off     vector  // the temperatures by now, on the plate and off it
	onIt, offIt body
	plate, melt strayed
}

// strayed is how far a probe's readings have gone from one way to the other, by least
// squares: sums of squares and of products.
type strayed struct{ ways, read float64 }

// share is zero on the first way and one on the other.
func (s *strayed) share() float64 {
	if s.ways == 0 {
		return 0
	}
	return s.read / s.ways
}

// absence is what is remembered of the courses.
type absence struct {
	all                 [courses]course
	next                int
	dueS                float64 // until the next begins
	restedS             float64 // how long the melt has been held
	idleS               float64 // since the heater was last on, unless that is for this
	maybeS, offS, calmS float64 // how long it has looked so, and how long it has not
	away                Away
	usual2              float64 // mean square of the plate's share with the pot there
	sinceS              float64 // of the course that said so
}

// see takes in a cycle after the filter has.
func (a *absence) see(f *Filter, duty, dt float64, plateT, meltT reading.Temperature) {
	if a.idleS += dt; duty > 0 || a.away > OnPlate {
		a.idleS = 0
	}
	maybe, off, fallsKS := false, false, 0.0
	least := max(leastPlate, usualTimes*math.Sqrt(a.usual2))
	for i := range a.all {
		c := &a.all[i]
		if !c.begun {
			continue
		}
		c.pass(duty, dt)
		c.take(&c.plate, &f.plate, plateT, c.onIt.plateProbeS)
		c.take(&c.melt, &f.melt, meltT, c.onIt.meltProbeS)
		c.note()
		times := 1.0
		if !c.rested || a.idleS > idleMostS {
			times = unheldTimes
		}
		if c.forS >= fallsOverS && c.forS < fallsOverS+courseS {
			fallsKS = (c.fromC - f.x[melt]) / c.forS
		}
		maybe = maybe || c.strays(times*maybePlateC, times*maybeMeltC, least)
		if c.forS >= namedAfterS && c.strays(times*offPlateC, times*offMeltC, least) {
			off, a.sinceS = true, c.forS
		}
	}
	if a.restedS >= restsS {
		a.decide(maybe && fallsKS >= maybeFallsKS, off && fallsKS >= offFallsKS, dt)
	}
	if a.dueS -= dt; a.dueS <= 0 {
		a.begin(f, duty)
	}
}

// decide makes a word of it.
func (a *absence) decide(maybe, off bool, dt float64) {
	lasts := func(s *float64, is bool) float64 {
		if *s += dt; !is {
			*s = 0
		}
		return *s
	}
	calmS, maybeS, offS := lasts(&a.calmS, !maybe), lasts(&a.maybeS, maybe), lasts(&a.offS, off)
	switch {
	case offS >= looksForS:
		a.away = OffPlate
	case maybeS >= looksForS:
		a.away = max(a.away, MaybeOff)
	case calmS >= looksNotS:
		a.away = OnPlate
	}
}

// begin lets a course begin, from what the filter knows now.
func (a *absence) begin(f *Filter, duty float64) {
	a.dueS = courseS
	c := &a.all[a.next]
	a.learn(c)
	a.next = (a.next + 1) % courses
	*c = course{begun: f.Trusted(), fromC: f.x[melt], on: f.x, off: f.x, onIt: unpack(&f.x, f.pot.HeaterW, f.roomC)}
	c.offIt = c.onIt
	c.offIt.contactWK = 0
	flow := c.onIt.flows(&c.on)
	slope := c.onIt.slopes(&c.on, &flow, duty)[melt]
	if c.rested = c.begun && f.x[melt] >= restsAtC && math.Abs(slope) < restsKS; c.rested {
		a.restedS += courseS
	}
}

// note keeps the plate's share at an age at which a lift shows.
func (c *course) note() {
	if c.forS < earlyS && c.off[plate]-c.on[plate] >= maybePlateC {
		c.early = c.plate.share()
	}
}

// learn follows how far plates usually go astray by themselves, from a course that ends:
// by then a lift in it would have been told.
func (a *absence) learn(c *course) {
	if a.usual2 == 0 {
		a.usual2 = usualFirst * usualFirst
	}
	if c.begun && c.early != 0 {
		a.usual2 += (min(c.early*c.early, 1) - a.usual2) / usualOver
	}
}

// forget ends every course: the melt has been changed.
func (a *absence) forget() { a.all = [courses]course{} }

// pass lets dt seconds pass on both ways (Euler).
func (c *course) pass(duty, dt float64) {
	c.forS += dt
	for left := min(dt, mostGapS); left > 1e-9; left -= longestS {
		c.onIt.move(&c.on, duty, min(left, longestS))
		c.offIt.move(&c.off, duty, min(left, longestS))
	}
}

func (b *body) move(x *vector, duty, dt float64) {
	flow := b.flows(x)
	for i, slope := range b.slopes(x, &flow, duty) {
		x[i] += slope * dt
	}
}

// take holds a reading that came in this cycle against both ways, as they were when it
// was taken.
func (c *course) take(s *strayed, of *channel, t reading.Temperature, lagS float64) {
	if !of.fresh {
		return
	}
	back := min(t.Age.Seconds()/lagS, 1)
	on := (1+back)*c.on[of.probe] - back*c.on[of.truth]
	way := (1+back)*c.off[of.probe] - back*c.off[of.truth] - on
	s.ways += way * way
	s.read += way * (t.C - on)
}

// strays reports whether both probes have gone from the one way to the other, the plate by
// the least share that says anything, where the ways are at least so far apart.
func (c *course) strays(plateC, meltC, least float64) bool {
	p, m := c.plate.share(), c.melt.share()
	return c.off[plate]-c.on[plate] >= plateC && c.on[melt]-c.off[melt] >= meltC &&
		p >= least && p <= mostPlate && m >= leastMelt && m <= mostMelt
}

// Away returns whether the pot looks as if it were off its plate and, where it does, how
// long ago it may have left it at most.
func (f *Filter) Away() (is Away, atMost time.Duration) {
	return f.absence.away, time.Duration(f.absence.sinceS * float64(time.Second))
}

package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// A pot may have one probe only. The guard does not guess the other temperature: what
// needs both is not watched, or something else is watched in its place. Grades as in the
// table.
const (
	// E: the place without a probe may be warmer than the one with it.
	halfTouchC = 40.0

	// E: seconds of full power above the most that a heater may have in the mean.
	burstS = 15.0
	// E: so many seconds at the most that a heater may have, forgotten with that time
	// constant, lift a melt by followRiseC; from coolMeltC on it may thicken, or rest.
	warmsWithinS = 300.0
	warmsForgetS = 1200.0
	coolMeltC    = 80.0
	// E: a plate goes on warming its melt for that long.
	meltAfterheat = 10 * time.Minute
	// E: of a plate nobody sees a melt tells late.
	unseenLeadS = 90.0

	unreadOverC = 5.0 // E: over the melt trip a plate may be no longer than unreadMore
	// E: and while heat rests on what was read by hand, under heat and with nothing new read.
	unreadMore = time.Minute

	coolPlateC = 80.0 // E: no plate at half its power rests below that
	offPlateC  = 30.0 // E: no cold potful takes a heated plate that far that fast
	// E: a hot pot that is put back on a cold plate warms it for that long.
	settlesIn = 10 * time.Minute
)

// Unwatched lists the findings that nothing is looked for on a pot with such probes.
func Unwatched(probes reading.Probes) []Code {
	switch probes {
	case reading.PlateOnly:
		return []Code{MeltUnusable, MeltImplausible, MeltFrozen, MeltNotFollowing, MeltReversed, MeltForecast, FastFall, MeltNoisy, HeaterWeak, LiftNoticed}
	case reading.MeltOnly:
		return []Code{PlateOverTemperature, ProbesCrossed, PlateUnusable, PlateImplausible, PlateFrozen, PlateNotFollowing, PlateReversed, HeaterDead, PlateFastFall, PlateNoisy, NoRise, HeaterWeak, LiftNoticed}
	}
	return nil
}

// wired are the probes that a pot has.
func (p *pot) wired() []*probe {
	switch p.probes {
	case reading.PlateOnly:
		return []*probe{&p.plate}
	case reading.MeltOnly:
		return []*probe{&p.melt}
	}
	return []*probe{&p.melt, &p.plate}
}

// touchC is what a probe of the pot may show while it is not called hot.
func (p *pot) touchC() float64 {
	if p.probes == reading.BothProbes {
		return TouchC
	}
	return halfTouchC
}

// meltMustMove reports whether a live melt reading would change now.
func (p *pot) meltMustMove(s *PotSight) bool {
	if s.Probes == reading.MeltOnly {
		return s.MostDuty > 0 && s.Duty >= s.MostDuty*highDuty && p.melt.last < coolMeltC
	}
	return s.Duty > 0 && hotter(s.Plate, s.Melt, meltMovesAtGapC)
}

// plateTripC is where the plate trips: lower where its melt is not seen.
func (s *PotSight) plateTripC(benchC float64) float64 {
	if s.PlateTripC > 0 {
		return min(s.PlateTripC, benchC)
	}
	return benchC
}

// unread watches a plate that is hot enough to take a melt over its trip, which only a
// person sees.
type unread struct {
	age     time.Duration // of what was last read by hand
	hotFor  time.Duration // under heat, since
	tooLong bool
}

// look takes in one cycle. A plate that cools without heat is on its way.
func (u *unread) look(s *PotSight, meltTripC float64, took time.Duration) {
	age := time.Duration(math.MaxInt64)
	if measured(s.Hand) {
		age = s.Hand.Age
	}
	again := age < u.age
	u.age = age
	switch hot := measured(s.Plate) && s.Plate.C >= meltTripC+unreadOverC; {
	case s.Probes != reading.PlateOnly || again || !hot:
		u.hotFor = 0
	case s.Duty > 0:
		u.hotFor += took
	}
	u.tooLong = u.hotFor > s.HandLasts+unreadMore
}

// hotMelt is what was last seen of the melt, or last read in it by hand.
func (s *PotSight) hotMelt() reading.Temperature {
	if s.Probes == reading.PlateOnly {
		return s.Hand
	}
	return s.Melt
}

// leadS is how far ahead a melt's rise is looked at.
func (s *PotSight) leadS() float64 {
	if s.Probes == reading.MeltOnly {
		return unseenLeadS
	}
	return overshootLeadS
}

// budget keeps a heater to a mean duty, whatever it is told: its plate may be as hot as
// that makes it, and nobody sees it.
type budget struct {
	bounds bool
	most   float64
	drawn  float64 // since the last decision
	overS  float64 // seconds of full power above it
}

func (b *budget) book(s *PotSight, took time.Duration) {
	if b.bounds, b.most = !s.Probes.HasPlate(), s.MostDuty; !b.bounds {
		b.overS = 0
		return
	}
	b.overS = max(b.overS+(b.drawn-b.most)*took.Seconds(), 0)
}

// left is what the budget leaves of a duty: all, or nothing. A most that is none, or no
// number, leaves nothing.
func (b *budget) left(duty float64) float64 {
	if b.bounds && !(b.most > 0 && b.overS < burstS) {
		duty = 0
	}
	b.drawn = duty
	return duty
}

// warming watches a melt whose plate nobody sees: under heat it has to rise, or the
// probe is not in it, or the heater is broken.
type warming struct {
	lowC  float64
	fullS float64 // seconds at the most that the heater may have since, slowly forgotten
	begun bool
}

// look takes in one cycle and reports whether the melt has not risen for all the heat
// that it got.
func (w *warming) look(s *PotSight, melt *trend, falls bool, elapsed time.Duration) bool {
	if s.Probes != reading.MeltOnly || s.Lifted || falls || !melt.seen || melt.c >= coolMeltC || s.MostDuty <= 0 {
		w.begun = false
		return false
	}
	if !w.begun || melt.c >= w.lowC+followRiseC {
		*w = warming{lowC: melt.c, begun: true}
	}
	dt := elapsed.Seconds()
	w.lowC = min(w.lowC, melt.c)
	w.fullS = w.fullS*math.Exp(-dt/warmsForgetS) + s.Duty/s.MostDuty*dt
	return w.fullS >= warmsWithinS
}

// backSince counts since when a pot is back on its plate.
type backSince struct {
	lifted bool
	back   time.Duration
	ever   bool
}

func (b *backSince) look(lifted bool, took time.Duration) {
	switch {
	case lifted:
		b.lifted, b.back = true, 0
	case b.lifted:
		b.lifted, b.ever, b.back = false, true, 0
	default:
		b.back += took
	}
}

// settling reports whether a pot without a melt probe may be warming its plate: it is put
// there before anybody says so.
func (b *backSince) settling(probes reading.Probes) bool {
	return probes == reading.PlateOnly && (b.lifted || b.ever && b.back < settlesIn)
}

// belowMelt reports whether a plate in a fast fall has gone further than a melt on it
// takes it.
func (p *pot) belowMelt() bool {
	if !p.probes.HasMelt() {
		return p.plateFall.depthC(&p.plate.trend) >= offPlateC
	}
	return p.melt.trend.seen && p.plate.trend.c <= p.melt.trend.c-plateBelowMeltC
}

// risesOff reports whether the pot's plate rises though its heater is told zero, as far
// as its probes show that. No pot takes its plate to hottestC.
func (p *pot) risesOff(hottestC float64, elapsed time.Duration) bool {
	h := &p.heater
	switch plate := &p.plate.trend; {
	case p.onPlate.settling(p.probes) && plate.seen && plate.c < hottestC:
		h.watching = false
		return false
	case p.probes.HasPlate():
		return h.risesOff(&p.plate.trend, &p.melt.trend, elapsed)
	case !p.melt.trend.seen || p.melt.trend.c < TouchC || h.off < meltAfterheat:
		h.watching = false
		return false
	}
	return h.risesLate(&p.melt.trend, elapsed)
}

package control

import (
	"math"
	"time"

	"meltwarden/control/guard"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// A pot may have one probe only. What the other would show is an estimate with its band,
// and never a reading. Of a pot without a melt probe a person reads the melt by hand:
// heat rests on the estimate for a while after that, and no melt is called cured or ready
// but by such a reading. Grades: E estimate, C common practice.
const (
	// thermometerC is how far off a hand-held thermometer may be: no band is narrower (E).
	thermometerC = 2.0
	// overMostC is how far the upper end of the melt's band may be over the target (E).
	overMostC = 3.0
	// unreadC is how far over its target a plate may be while nobody has read the melt: no
	// melt gets hotter than its plate (E).
	unreadC = 3.0
	// readFromC is from which plate the time without a hand-held reading counts: below it
	// nothing ages (E).
	readFromC = 110.0
	// narrowC is how narrow the band of a melt must be to be called ready (E).
	narrowC = 4.0
	// coldestHandC and hottestHandC bound what a hand-held reading of a melt can be (E).
	coldestHandC, hottestHandC = 0.0, 260.0
	// farHandC is how far outside the band a hand-held reading may be; a second one within
	// alikeHandC of it and within twiceWithin is believed (E). lowHandC is the same of one
	// that is too cold: that is the side to which a melt gets too hot (E).
	farHandC, alikeHandC = 15.0, 12.0
	lowHandC             = 8.0
	twiceWithin          = 2 * time.Minute
	// drivenLong is how long a plate has been warm enough to hold the melt where it is
	// thought to be, until none is believed to be that much colder, however often it is
	// read: it would have taken more from the plate than that gave (E).
	drivenLong = 2 * time.Minute
	// twiceAfter is how much later that has to be: sooner it is the same one, sent again (C).
	twiceAfter = 5 * time.Second
	// overPlateC is how much warmer than its plate a melt can be that has been heated for
	// heatedLong: the errors of both thermometers (E).
	overPlateC = 10.0
	heatedLong = 5 * time.Minute
	pausesFor  = time.Minute // E: after that without heat a plate may be the cooler of the two
	// nearGoalC is from how far below where it is to get a melt that was read by hand counts
	// as near. From there on its plate is no hotter than that and nearPlateC, or what the
	// model would hold it with by then and restSlackC, but never more than farPlateC: a
	// thermometer that reads low makes ever more of the model's later on (E, from 23
	// simulated pots).
	nearGoalC             = 15.0
	nearPlateC, farPlateC = 28.0, 55.0
	restSlackC            = 3.0
	// handLasts is how long heat rests on a hand-held reading (E).
	handLasts = 4 * time.Minute
	// mostW, at a volume of mostAtML, is the most that the heater of a pot without a plate
	// probe has in the mean, in watts; it grows with the wetted surface (E: none of the
	// fifteen named pots of the judge came to its plate's limit by it).
	mostW, mostAtML = 115.0, 250.0
)

// Estimate is what is thought of a temperature that has no probe, in degrees Celsius, and
// its band to either side in kelvin. The zero value is none.
type Estimate struct{ C, WithinC float64 }

// Known reports whether there is an estimate.
func (e Estimate) Known() bool { return e.WithinC > 0 }

// Hand is what was last read in a melt by hand.
type Hand struct {
	// Read is true where there was a reading since a lift was last marked at the bench, of C
	// degrees Celsius, Since so long ago.
	Read  bool
	C     float64
	Since time.Duration
	// DoubtedC is the last that was too far off to be believed alone, DoubtedFor so long
	// ago; NaN where there is none.
	DoubtedC   float64
	DoubtedFor time.Duration
}

// HandVerdict is what is made of a hand-held reading.
type HandVerdict uint8

// The verdicts.
const (
	HandTaken  HandVerdict = iota
	HandNoNeed             // the pot has a melt probe
	HandUnseen             // nothing is known of the pot to hold it against
	HandOdd                // no melt is that
	HandOver               // above the plate that heats it
	HandFar                // far above the estimate: believed if it is read once more
	HandLow                // well below it: likewise, unless the plate tells otherwise
)

// HandCanBe judges a reading of c degrees Celsius that a person wants to type in now.
func (f *PotFrame) HandCanBe(c float64) HandVerdict {
	switch {
	case f.Probes.HasMelt():
		return HandNoNeed
	case !(c >= coldestHandC && c <= hottestHandC):
		return HandOdd
	case !f.MeltEstimate.Known() || !f.Plate.Usable(guard.MaxAge):
		return HandUnseen
	case f.HeatedFor >= heatedLong && c > f.Plate.C+overPlateC:
		return HandOver
	}
	borneOut := f.Hand.DoubtedFor >= twiceAfter && f.Hand.like(c)
	switch over := c - f.MeltEstimate.C; {
	case over > f.MeltEstimate.WithinC+farHandC && !borneOut:
		return HandFar
	case -over > f.MeltEstimate.WithinC+lowHandC && !(borneOut && f.DrivenFor < drivenLong):
		return HandLow
	}
	return HandTaken
}

// TookHand reports whether a reading of pot i that was typed for this cycle was believed.
func (f *Frame) TookHand(i int) bool {
	if i < 0 || i >= len(f.Pots) {
		return false
	}
	h := &f.Pots[i].Hand
	return h.Read && h.Since <= max(f.Elapsed, 0)
}

// like reports whether a reading bears out the one that was doubted.
func (h *Hand) like(c float64) bool { return math.Abs(c-h.DoubtedC) <= alikeHandC }

// half is what is remembered of a pot with one probe.
type half struct {
	melt, plate Estimate
	hand        Hand
	// unread is how long the plate has been hot since the last hand-held reading.
	unread    time.Duration
	heatedFor time.Duration // without a pause of pausesFor
	unheated  time.Duration
	drivenFor time.Duration // the plate has been warm enough for what the melt is thought to be
	drift     drift
	reach     reach
	// near is so since the melt was first read near where it is to get; restC is how much
	// warmer its plate has to be there, in kelvin, by what the model had seen by then. A
	// thermometer that reads low looks, at rest, just like a pot that loses more: only the
	// way up tells them apart.
	near  bool
	restC float64
	now   PotFrame // as far as a hand-held reading is judged by it
}

// unreadYet is the time without a hand-held reading of a melt that has to be read again.
const unreadYet = math.MaxInt64 / 2

func newHalf() half {
	return half{hand: Hand{DoubtedC: math.NaN()}}
}

// HandLasts is how long heat rests on a hand-held reading.
func (s *PotSettings) HandLasts() time.Duration {
	if s.HandWithin <= 0 {
		return handLasts
	}
	return s.HandWithin
}

// MostPowerW is the most that the heater of a pot without a plate probe has in the mean,
// in watts; of any other all that it has.
func (s *PotSettings) MostPowerW() float64 {
	switch {
	case s.Probes.HasPlate():
		return s.HeaterW
	case s.MostW > 0:
		return math.Min(s.MostW, s.HeaterW)
	}
	return math.Min(mostW*math.Pow(s.VolumeML/mostAtML, model.WettedPower), s.HeaterW)
}

// mostDuty is the same as a duty.
func (s *PotSettings) mostDuty() float64 { return s.MostPowerW() / s.HeaterW }

// PlateTripAtC is where the plate of a pot without a melt probe trips, as far above its
// limit as a bench's own trip has to be; zero for any other.
func (s *PotSettings) PlateTripAtC() float64 {
	if s.Probes.HasMelt() {
		return 0
	}
	return s.PlateLimitC + tripAbovePlateC
}

// tripAbovePlateC is the room that a plate needs for its own overshoot (E).
const tripAbovePlateC = 12.0

// handed takes in what a person has read in the melt by hand.
func (p *pot) handed(c float64) {
	h := &p.half
	switch h.now.HandCanBe(c) {
	case HandTaken:
		h.reach = reach{begun: true, lowC: c - reachC, highC: c + reachC}
		h.drift.missed(c-h.melt.C, h.hand.Since)
		h.hand = Hand{Read: true, C: c, DoubtedC: math.NaN()}
		h.unread = 0
		if !h.near && c >= p.goal()-nearGoalC {
			h.near, h.restC = true, p.loop.RestsAboveC(p.goal())
		}
		p.loop.Hand(c)
		h.drift.begun = false
	case HandFar, HandLow, HandOver:
		if c > h.melt.C {
			h.unread = unreadYet // it gives no heat before it is borne out, and takes it at once
		}
		if !h.hand.like(c) {
			h.hand.DoubtedC, h.hand.DoubtedFor = c, 0
		}
	}
}

// drift is how an estimate runs away from the truth since the last hand-held reading: by a
// share of what it has risen, since no pot is built quite like the model, and as fast as
// the last readings have shown.
type drift struct {
	begun  bool
	fromC  float64
	share  float64
	perS   float64 // kelvin per second
	risenC float64
}

const (
	driftShare = 0.2  // E
	driftKept  = 0.8  // E: of what the readings before have shown
	driftOverC = 10.0 // E: what has risen by less tells no share
)

func (d *drift) widen(c, withinC float64, since time.Duration) float64 {
	if !d.begun {
		d.begun, d.fromC = true, c
	}
	d.risenC = math.Abs(c - d.fromC)
	return math.Hypot(withinC, math.Max(driftShare, d.share)*d.risenC) + d.perS*since.Seconds()
}

// missed takes in how far off the estimate was when it was next read.
func (d *drift) missed(offC float64, since time.Duration) {
	off := math.Max(math.Abs(offC)-thermometerC/2, 0)
	d.share = math.Max(off/(d.risenC+driftOverC), d.share*driftKept)
	d.perS = math.Max(off/math.Max(since.Seconds(), 30), d.perS*driftKept)
}

// reach is where a melt can be since the last hand-held reading, whatever the model says:
// none falls faster than in a draught, and none rises faster towards its plate than the
// smallest potful. An estimate that leaves it has run away.
type reach struct {
	begun       bool
	lowC, highC float64
}

// Grades: E estimate.
const (
	reachC    = 5.0   // E: the thermometer, and what the melt is by its wall
	fallsCS   = 0.12  // E: in kelvin per second; a lifted pot in a draught (C: 7 °C a minute)
	fastestS  = 100.0 // E: the least time constant of a melt behind its plate
	additionC = 80.0  // E: as much again, cold
)

func (r *reach) pass(p *pot, elapsed time.Duration) {
	dt := elapsed.Seconds()
	r.lowC -= fallsCS * dt
	r.highC += math.Max(p.plate.C()-r.highC, 0) * math.Min(dt/fastestS, 1)
}

func (r *reach) holds(c float64) bool { return !r.begun || c >= r.lowC && c <= r.highC }

// heated takes in the duty of a cycle.
func (h *half) heated(duty float64, elapsed time.Duration) {
	h.heatedFor += elapsed
	if h.unheated += elapsed; duty > 0 {
		h.unheated = 0
	}
	if h.unheated > pausesFor {
		h.heatedFor = 0
	}
}

// replaced lets no heat rest on what was read in a melt that may be another one now, nor is
// any judged by it. By a mark made elsewhere the guard forgets nothing: that takes no trip
// away that somebody typed.
func (h *half) replaced(here bool) {
	h.hand.DoubtedC, h.heatedFor, h.unread = math.NaN(), 0, unreadYet
	if here {
		h.hand = newHalf().hand
	}
	h.reach, h.drift, h.near, h.now = reach{}, drift{}, false, PotFrame{}
}

// infer takes what the model makes of the probe that is not there.
func (p *pot) infer(r *PotReadings, elapsed time.Duration) {
	h := &p.half
	h.melt, h.plate = Estimate{}, Estimate{}
	e, is := p.loop.Estimate()
	h.reach.pass(p, elapsed)
	if is && !(sane(&e) && h.reach.holds(e.MeltC)) {
		p.loop.Anew()
		h.unread = unreadYet
		h.reach, h.drift, is = reach{}, drift{}, false
	}
	if is && !p.lifted {
		p.think(&e)
	} else if p.set.Probes == reading.PlateOnly {
		p.melt.Forget()
	} else {
		p.plate.Forget()
	}
	if h.hand.Since += elapsed; !math.IsNaN(h.hand.DoubtedC) {
		if h.hand.DoubtedFor += elapsed; h.hand.DoubtedFor > twiceWithin {
			h.hand.DoubtedC = math.NaN()
		}
	}
	if h.unread < unreadYet && (!p.plate.Valid() || p.plate.C() >= readFromC) {
		h.unread += elapsed
	}
	if h.drivenFor += elapsed; !h.melt.Known() || p.plate.C() < h.melt.C+p.loop.RestsAboveC(h.melt.C) {
		h.drivenFor = 0
	}
	h.now = PotFrame{
		Probes: p.set.Probes, Plate: r.Plate, MeltEstimate: h.melt, Hand: h.hand, HeatedFor: h.heatedFor, DrivenFor: h.drivenFor,
	}
}

// sane reports whether an estimate can be of this world: one that can not begins anew.
func sane(e *model.Estimate) bool {
	within := func(c float64) bool { return c >= -oddC && c <= hottestHandC+oddC }
	return within(e.MeltC) && within(e.PlateC) && e.MeltWithinC >= 0 && e.PlateWithinC >= 0
}

// oddC is how far beyond what a bench can be an estimate may run (E).
const oddC = 90.0

// think puts an estimate in the place of what has no probe.
func (p *pot) think(e *model.Estimate) {
	switch p.set.Probes {
	case reading.PlateOnly:
		p.half.melt = Estimate{e.MeltC, math.Max(p.half.drift.widen(e.MeltC, e.MeltWithinC, p.half.hand.Since), thermometerC)}
		p.melt.Think(e.MeltC, e.MeltSlope)
	case reading.MeltOnly:
		p.half.plate = Estimate{e.PlateC, math.Max(e.PlateWithinC, thermometerC)}
		p.plate.Think(e.PlateC, e.PlateSlope)
	}
}

// handFresh reports whether heat may rest on what was read by hand.
func (p *pot) handFresh() bool {
	return p.half.hand.Read && p.half.unread <= p.set.HandLasts()
}

// handSays reports whether the last hand-held reading is young enough, and the melt was
// at least so warm by it.
func (p *pot) handSays(c float64) bool {
	return p.set.Probes.HasMelt() || p.handFresh() && p.half.hand.C >= c
}

// handReady reports whether a melt that nobody reads was found in its band by hand, and
// is known well enough since.
func (p *pot) handReady() bool {
	if p.set.Probes.HasMelt() {
		return true
	}
	return p.handFresh() && p.half.hand.Since <= p.set.HandLasts() &&
		math.Abs(p.half.hand.C-p.set.SetpointC) <= p.set.BandC*bandSlack && p.half.melt.WithinC <= narrowC
}

// wary is a target for a melt that nobody reads: the upper end of its band stays near it.
func (p *pot) wary(targetC float64) float64 {
	if p.set.Probes.HasMelt() {
		return targetC
	}
	return targetC - math.Max(p.half.melt.WithinC-overMostC, 0)
}

// plateLimitC is the most that the loop may heat the plate to now.
func (p *pot) plateLimitC() float64 {
	switch {
	case p.set.Probes.HasMelt():
		return p.set.PlateLimitC
	case !p.handFresh() || p.half.hand.C > p.goal()+overMostC:
		return math.Min(p.set.PlateLimitC, p.goal()+unreadC)
	case p.half.near:
		excess := math.Min(math.Max(p.half.restC+restSlackC, nearPlateC), farPlateC)
		return math.Min(p.set.PlateLimitC, p.goal()+excess)
	}
	return p.set.PlateLimitC
}

// bounded is what a heater may be asked for.
func (p *pot) bounded(duty float64) float64 {
	return math.Min(duty, p.set.mostDuty())
}

// hot reports whether anything of the pot is, or may be, too hot to touch. A melt that
// nobody reads counts as it was last thought to be: it stays hot off its plate.
func (p *pot) hot() bool {
	either := maybeHot(&p.melt) || maybeHot(&p.plate)
	switch p.set.Probes {
	case reading.PlateOnly:
		return either || p.half.melt.C+p.half.melt.WithinC >= guard.TouchC
	case reading.MeltOnly:
		return either || p.half.plate.C+p.half.plate.WithinC >= guard.TouchC
	}
	return either
}

// lastHand is what was last read by hand, for the guard.
func (p *pot) lastHand() reading.Temperature {
	if h := &p.half.hand; h.Read {
		return reading.Temperature{C: h.C, Age: h.Since, Fault: reading.None}
	}
	return reading.Temperature{}
}

// wantsReading reports whether a pot whose melt nobody reads gets no further without a
// hand-held reading.
func (p *pot) wantsReading() bool {
	if p.set.Probes.HasMelt() {
		return false
	}
	short := p.goal() - p.wary(p.goal())
	return !p.handFresh() || short > stuckC && p.melt.C() > p.wary(p.goal())-stuckC
}

// stuckC is how far short of where it is to get a pot may be held by its band before it
// asks for a reading (E).
const stuckC = 1.0

// Package guard has the last word on heat. It sees the same readings as the
// loops, knows nothing of them, and can only lower an output. What it looks for
// stands in one table (rows.go); what it finds latches where the table says
// so, until a person resets it at the bench with the cause gone.
package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// TouchC is the temperature below which the bench is no longer called hot, in
// degrees Celsius (common practice, no source).
const TouchC = 50.0

// MaxAge is how old a reading or a contact may be and still let heat flow.
const MaxAge = time.Second

// State says whether heat may flow at all. The zero value is Blocked.
type State uint8

// The states of the guard.
const (
	// Blocked: nobody has enabled heat since the start or the last "all off".
	Blocked State = iota
	// Enabled: a person pressed the bench's enable button, nothing tripped since.
	Enabled
	// Tripped: a bench-wide trip is latched until a person resets it at the bench.
	Tripped
)

var stateNames = [...]string{"heat blocked", "heat enabled", "tripped"}

// String returns the state in words.
func (s State) String() string { return stateNames[s] }

// Limits are the temperatures, interlocks and powers the guard enforces, for the
// whole bench. Temperatures are in degrees Celsius, powers in watts.
type Limits struct {
	// MeltWarnC is where a melt that is too warm is called out.
	MeltWarnC float64
	// MeltTripC and PlateTripC cut all heat and latch.
	MeltTripC, PlateTripC float64
	// EStop, CutOut and Fan say which interlocks the bench has wired; each of
	// them must be closed for heat to flow.
	EStop, CutOut, Fan bool
	// HeatersProven is false until it is on record that the heaters switch off
	// by themselves when the line goes silent. While it is false no heat flows.
	HeatersProven bool
	// CircuitW is the most that all heaters together may be told to draw, and
	// CircuitMeanW the most of any minute's mean; zero is not looked at.
	CircuitW, CircuitMeanW float64
	// HeldLong is how long a cured melt may be kept hot until it is noted; zero
	// is DefaultHeldLong.
	HeldLong time.Duration
}

// Sight is what the guard sees in one cycle.
type Sight struct {
	// Elapsed is the time since the previous cycle; First is true in the first.
	Elapsed time.Duration
	First   bool
	Period  time.Duration
	// EStop, CutOut and Fan are healthy when closed; Enable and Pedal are held down
	// when closed.
	EStop, CutOut, Fan, Enable, Pedal reading.Contact
	// Link is fresh while every heater confirms what it is told, and closed while
	// each has kept it.
	Link           reading.Contact
	AllOff         bool // a person asked for "all off"
	Attended       bool // a person made a mark at the bench's own computer
	HistoryFailing bool // what happens can not be written down
	Pots           []PotSight
}

// PotSight is what the guard sees of one pot.
type PotSight struct {
	Melt, Plate reading.Temperature
	// Probes are those that the pot has. Hand is what was last read in the melt of one
	// without a melt probe by hand, however long ago, and HandLasts how long heat rests on
	// that; PlateTripC, in degrees Celsius, is
	// where its plate trips where that is lower than the bench's, and zero where it is not.
	Probes     reading.Probes
	Hand       reading.Temperature
	HandLasts  time.Duration
	PlateTripC float64
	// MostDuty is the most that the heater of a plate without a probe may have in the mean,
	// 0 to 1; any other is not bound by it.
	MostDuty float64
	// Duty is what the heater was last told, 0 to 1, of one that is switched what it gets
	// in the mean, and RatedW its power.
	Duty, RatedW float64
	Whole        bool // it may draw all of its power while it is told less
	Lifted       bool // it is off its plate, by a mark or by the readings
	LiftNoticed  bool // that is by the readings, and nobody has marked it
	// LiftSuspected: it may be off its plate, and is not told yet.
	LiftSuspected bool
	LiftedHere    bool          // that was marked at the bench, and not its return
	Coloured      bool          // a cold addition was marked a short while ago
	HeldFor       time.Duration // how long it has been kept hot since it was cured
	// Controller is the device that holds the plate by itself. Duty is then what the heater
	// is taken to get by what its controller is told.
	Controller ControllerSight
}

// missed reports whether cycles are missing before this one.
func (s *Sight) missed() bool {
	return !s.First && (s.Elapsed <= 0 || s.Elapsed > 3*s.Period)
}

// longestStep is the longest time step that is counted (E): one that is longer is a
// missed cycle like this one, and no sum of a few overflows.
const longestStep = 24 * time.Hour

// took is the time since the previous cycle, never below zero.
func (s *Sight) took() time.Duration { return min(max(s.Elapsed, 0), longestStep) }

// watched is how much of the time since the previous cycle counts for what has to
// last, in a time step of took: a sample speaks for no more time than it stays fresh,
// and while the computer sleeps, or its clock is set forward, nobody sees whether a
// plate rises.
func watched(took time.Duration) time.Duration { return min(took, MaxAge) }

// nothing is seen of a pot that the sight does not have.
var nothing PotSight

// pot returns what is seen of pot i: nothing usable where the sight has no such pot.
func (s *Sight) pot(i int) *PotSight {
	if i < len(s.Pots) {
		return &s.Pots[i]
	}
	return &nothing
}

// Guard keeps what has to be remembered from cycle to cycle.
type Guard struct {
	limits   Limits
	state    State
	bench    []finding // by Code
	pots     []pot
	button   Button
	pressed  bool // a press of the button has ended in this cycle
	fresh    bool // something has latched since the button was last looked at
	presence presence
	supply   supply
	cold     coldCheck
}

// New returns a guard for a number of pots, with heat blocked.
func New(limits Limits, pots int) *Guard {
	if limits.HeldLong <= 0 {
		limits.HeldLong = DefaultHeldLong
	}
	g := &Guard{
		limits: limits, bench: make([]finding, len(table)), pots: make([]pot, pots),
		cold: coldCheck{c: make([]float64, 2*pots)},
	}
	for i := range g.pots {
		g.pots[i].found = make([]finding, len(table))
		g.pots[i].crossing = crossing{others: make([]float64, pots), with: -1}
	}
	return g
}

// WarnAt moves where a melt that is too warm is called out, in degrees Celsius,
// after a set-point was changed. What cuts heat stays where it is.
func (g *Guard) WarnAt(c float64) { g.limits.MeltWarnC = c }

// Pressed reports whether a person's press of the enable button counts in this
// cycle.
func (g *Guard) Pressed() bool { return g.pressed }

// State returns whether heat may flow.
func (g *Guard) State() State { return g.state }

// Look takes in one cycle's sight: it updates every finding, latches, resets
// and the state. Limit must be called after it.
func (g *Guard) Look(s *Sight) {
	took := s.took()
	g.supply.book(took)
	g.lookAtBench(s)
	for i := range g.pots {
		g.lookAtPot(i, s.pot(i), took)
	}
	g.lookAtCrossings(s)
	for i := range g.pots {
		g.lookForRunaway(i, watched(took))
	}
	g.lookAtColdProbes(s)
	if g.fresh {
		g.button.void()
	}
	g.fresh = false
	g.pressed = g.button.Released(s.Enable, took, s.missed())
	g.lookForPeople(s)
	if g.pressed {
		g.press()
	}
	// After the button: of an "all off" and a press in one cycle, "off" wins.
	if s.AllOff && g.state != Tripped {
		g.button.void() // a press that was begun before it must not undo it; a reset heats nothing
	}
	if s.AllOff && g.state == Enabled {
		g.state = Blocked
	}
	g.trip()
	g.note(g.bench, StillHot, g.state != Enabled && g.knownHot(), took)
}

// trip takes over a latched finding that stops the whole bench.
func (g *Guard) trip() {
	if g.latchedOnBench() {
		g.state = Tripped
	}
}

// lookAtBench updates the findings that concern the whole bench. All of the time counts
// for them, watched or not: an interlock that is open after a stall may have been so all
// the while, and what comes of counting it is that heat is off.
func (g *Guard) lookAtBench(s *Sight) {
	took := s.took()
	// A cycle that claims to have taken no time still counts as one.
	g.note(g.bench, MissedCycle, s.missed(), max(took, s.Period))
	g.note(g.bench, EStopOpen, g.limits.EStop && isOpen(s.EStop), took)
	g.note(g.bench, CutOutOpen, g.limits.CutOut && isOpen(s.CutOut), took)
	g.note(g.bench, FanOff, g.limits.Fan && isOpen(s.Fan), took)
	unknown := g.limits.EStop && !s.EStop.Known(MaxAge) ||
		g.limits.CutOut && !s.CutOut.Known(MaxAge) ||
		g.limits.Fan && !s.Fan.Known(MaxAge)
	g.bench[InterlockUnknown].cameOf(unknown, unheard(s.EStop) && unheard(s.CutOut) && unheard(s.Fan))
	g.note(g.bench, InterlockUnknown, unknown, took)
	g.note(g.bench, HeaterUnheard, !s.Link.Known(MaxAge), took)
	g.note(g.bench, HeaterForgot, isOpen(s.Link), took)
	g.note(g.bench, HistoryUnwritten, s.HistoryFailing, took)
	g.note(g.bench, HeaterUnproven, !g.limits.HeatersProven, took)
	g.note(g.bench, CircuitOver, false, took) // Limit finds it
}

// isOpen reports whether an interlock is known to be open, however long ago:
// an old "open" is no reason to believe that it has closed since.
func isOpen(c reading.Contact) bool { return c.Fault == reading.None && !c.Closed }

// unheard reports whether nothing came from an interlock of late, or it is not wired.
func unheard(c reading.Contact) bool {
	return c.Fault == reading.NotWired || c.Fault == reading.Missing || c.Fault == reading.None && c.Age > MaxAge
}

// MayHeat reports whether any heat may flow in this cycle.
func (g *Guard) MayHeat() bool { return g.state == Enabled && !g.allOff() }

// PotMayHeat reports whether pot i may be heated in this cycle.
func (g *Guard) PotMayHeat(i int) bool {
	if !g.MayHeat() || g.pots[i].waits {
		return false
	}
	for c := range g.pots[i].found {
		if g.pots[i].found[c].stops(&table[c], Inhibit) {
			return false
		}
	}
	return true
}

// PotWaits reports whether pot i's trip was reset by the last press, so that it is
// not heated before the next one.
func (g *Guard) PotWaits(i int) bool { return g.pots[i].waits }

// PotTripped reports whether a trip of pot i is latched, or one of the bench.
func (g *Guard) PotTripped(i int) bool {
	if g.state == Tripped {
		return true
	}
	for c := range g.pots[i].found {
		if g.pots[i].found[c].latched {
			return true
		}
	}
	return false
}

// Believes reports whether pot i's readings of this cycle may be used: there, fresh,
// plausible and moving.
func (g *Guard) Believes(i int) (melt, plate bool) {
	f, has := g.pots[i].found, g.pots[i].probes
	doubted := func(codes ...Code) bool {
		for _, c := range codes {
			if f[c].active {
				return true
			}
		}
		return false
	}
	return has.HasMelt() && !doubted(MeltUnusable, MeltImplausible, MeltFrozen, MeltNotFollowing, MeltReversed),
		has.HasPlate() && !doubted(PlateUnusable, PlateImplausible, PlateFrozen, PlateNotFollowing, PlateReversed)
}

// dutyExcess is how far above full power the rounding of floats may bring a duty (E).
const dutyExcess = 1e-9

// Limit lowers what the loops ask for to what may flow: to zero, or not at all.
// A duty that is no number from 0 to 1 becomes zero, as it does in the devices:
// a loop that asks for more than there is is broken, and its 1.5 is no wish for
// full power. Only what rounding may leave above 1 is full power. Where all
// together are more than the circuit carries, all become zero, and it trips.
func (g *Guard) Limit(duty []float64) {
	watts, mostW := 0.0, 0.0
	for i, asked := range duty {
		if !(asked > 0 && asked <= 1+dutyExcess) || i >= len(g.pots) || !g.PotMayHeat(i) {
			duty[i] = 0
		}
		if duty[i] = min(duty[i], 1); i < len(g.pots) {
			duty[i] = g.pots[i].budget.left(duty[i])
		}
		if duty[i] > 0 {
			p := &g.pots[i]
			watts += duty[i] * p.ratedW
			mostW += p.mostW(duty[i])
		}
	}
	if watts > 0 && g.supply.over(mostW, &g.limits) {
		clear(duty)
		watts = 0
		g.note(g.bench, CircuitOver, true, 0)
		g.trip()
	}
	g.supply.drawnW = watts
}

// measured reports whether the value is a number the device vouched for. Its
// age does not matter here: an old "too hot" is still too hot.
func measured(t reading.Temperature) bool {
	return t.Fault == reading.None && !math.IsNaN(t.C)
}

// hotter reports whether a is known to be at least byC warmer than b.
func hotter(a, b reading.Temperature, byC float64) bool {
	return a.Usable(MaxAge) && b.Usable(MaxAge) && a.C-b.C >= byC
}

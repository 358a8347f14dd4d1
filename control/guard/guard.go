// Package guard has the last word on heat. It sees the same readings as the
// loops, knows nothing of them, and can only lower an output. What it looks for
// stands in one table (table.go); what it finds latches where the table says
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

// Condition is one finding in one cycle.
type Condition struct {
	Code Code
	// Pot is an index into the pots, or -1 for the bench.
	Pot      int
	Severity Severity
	// Active: the cause is there now. Latched: it tripped and waits for a reset.
	Active, Latched bool
}

// Limits are the temperatures and interlocks the guard enforces, for the whole
// bench. Temperatures are in degrees Celsius.
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
}

// Sight is what the guard sees in one cycle.
type Sight struct {
	// Elapsed is the time since the previous cycle; First is true in the first.
	Elapsed time.Duration
	First   bool
	Period  time.Duration
	// EStop, CutOut and Fan are healthy when closed; Enable is held down when closed.
	EStop, CutOut, Fan, Enable reading.Contact
	// Link is closed while every heater confirms what it is told.
	Link           reading.Contact
	AllOff         bool // a person asked for "all off"
	HistoryFailing bool // what happens can not be written down
	Pots           []PotSight
}

// PotSight is what the guard sees of one pot.
type PotSight struct {
	Melt, Plate reading.Temperature
	// Duty is what the heater was last told, 0 to 1.
	Duty float64
}

// missed reports whether cycles are missing before this one.
func (s *Sight) missed() bool {
	return !s.First && (s.Elapsed <= 0 || s.Elapsed > 3*s.Period)
}

// pot returns what is seen of pot i: nothing usable where the sight has no such pot.
func (s *Sight) pot(i int) *PotSight {
	if i < len(s.Pots) {
		return &s.Pots[i]
	}
	return &PotSight{}
}

// Guard keeps what has to be remembered from cycle to cycle.
type Guard struct {
	limits  Limits
	state   State
	bench   []finding // by Code
	pots    []pot
	button  button
	pressed bool // a press of the button has ended in this cycle
}

// finding is the memory of one rule.
type finding struct {
	active  bool
	latched bool
	held    time.Duration // how long it has been active, draining slowly
}

type pot struct {
	found       []finding // by Code
	melt, plate probe
	follow      follow
}

// New returns a guard for a number of pots, with heat blocked.
func New(limits Limits, pots int) *Guard {
	g := &Guard{limits: limits, bench: make([]finding, len(table)), pots: make([]pot, pots)}
	for i := range g.pots {
		g.pots[i].found = make([]finding, len(table))
	}
	return g
}

// WarnAt moves where a melt that is too warm is called out, in degrees Celsius,
// after a set-point was changed. What cuts heat stays where it is.
func (g *Guard) WarnAt(c float64) { g.limits.MeltWarnC = c }

// Pressed reports whether a person has pressed the enable button, and let it go
// in this cycle.
func (g *Guard) Pressed() bool { return g.pressed }

// State returns whether heat may flow.
func (g *Guard) State() State { return g.state }

// Look takes in one cycle's sight: it updates every finding, latches, resets
// and the state. Limit must be called after it.
func (g *Guard) Look(s *Sight) {
	g.lookAtBench(s)
	for i := range g.pots {
		g.lookAtPot(i, s.pot(i), s.Elapsed)
	}
	g.pressed = g.button.released(s.Enable, s.Elapsed, s.missed())
	if g.pressed {
		g.press()
	}
	// After the button: of an "all off" and a press in one cycle, "off" wins.
	if s.AllOff && g.state == Enabled {
		g.state = Blocked
	}
	if g.latchedOnBench() {
		g.state = Tripped
	}
}

// lookAtBench updates the findings that concern the whole bench.
func (g *Guard) lookAtBench(s *Sight) {
	// A cycle that claims to have taken no time still counts as one.
	g.note(g.bench, MissedCycle, s.missed(), max(s.Elapsed, s.Period))
	g.note(g.bench, EStopOpen, g.limits.EStop && isOpen(s.EStop), s.Elapsed)
	g.note(g.bench, CutOutOpen, g.limits.CutOut && isOpen(s.CutOut), s.Elapsed)
	g.note(g.bench, FanOff, g.limits.Fan && isOpen(s.Fan), s.Elapsed)
	unknown := g.limits.EStop && !s.EStop.Known(MaxAge) ||
		g.limits.CutOut && !s.CutOut.Known(MaxAge) ||
		g.limits.Fan && !s.Fan.Known(MaxAge)
	g.note(g.bench, InterlockUnknown, unknown, s.Elapsed)
	g.note(g.bench, HeaterUnheard, !s.Link.Known(MaxAge) || !s.Link.Closed, s.Elapsed)
	g.note(g.bench, HistoryUnwritten, s.HistoryFailing, s.Elapsed)
	g.note(g.bench, HeaterUnproven, !g.limits.HeatersProven, s.Elapsed)
}

// isOpen reports whether an interlock is known to be open, however long ago:
// an old "open" is no reason to believe that it has closed since.
func isOpen(c reading.Contact) bool { return c.Fault == reading.None && !c.Closed }

// lookAtPot updates the findings of one pot.
func (g *Guard) lookAtPot(i int, s *PotSight, elapsed time.Duration) {
	p := &g.pots[i]
	melt := p.melt.look(s.Melt, elapsed, s.Duty > 0 && hotter(s.Plate, s.Melt, meltMovesAtGapC))
	plate := p.plate.look(s.Plate, elapsed, s.Duty >= plateMovesAtDuty)
	f := p.found
	g.note(f, PotUnseen, melt.untrusted() && plate.untrusted(), elapsed)
	g.note(f, MeltUnusable, melt.unusable, elapsed)
	g.note(f, PlateUnusable, plate.unusable, elapsed)
	g.note(f, MeltImplausible, melt.implausible, elapsed)
	g.note(f, PlateImplausible, plate.implausible, elapsed)
	g.note(f, MeltFrozen, melt.frozen, elapsed)
	g.note(f, PlateFrozen, plate.frozen, elapsed)
	g.note(f, MeltNotFollowing, p.follow.look(s, elapsed), elapsed)
	// "Not below" instead of "above": a limit that is no number trips at once.
	g.note(f, MeltOverTemperature, over(s.Melt, g.limits.MeltTripC, f[MeltOverTemperature].latched), elapsed)
	g.note(f, PlateOverTemperature, over(s.Plate, g.limits.PlateTripC, f[PlateOverTemperature].latched), elapsed)
	warnAt := g.limits.MeltWarnC
	if f[MeltHigh].active {
		warnAt -= warnDeadbandC
	}
	g.note(f, MeltHigh, measured(s.Melt) && s.Melt.C >= warnAt, elapsed)
}

// over reports whether a temperature is over its limit; once that has tripped, it
// is over until it has cooled well below.
func over(t reading.Temperature, limitC float64, tripped bool) bool {
	if tripped {
		limitC -= coolDeadbandC
	}
	return measured(t) && !(t.C < limitC)
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

// note updates one finding. The time it has been active drains at a quarter of
// the speed at which it fills, so that a flapping cause can not put off a trip.
func (g *Guard) note(found []finding, c Code, active bool, elapsed time.Duration) {
	f, r := &found[c], &table[c]
	elapsed = max(elapsed, 0)
	if active {
		// No more than it takes: an hour of it while heat is blocked must not
		// make one bad cycle in the next hour trip.
		f.held = min(f.held+elapsed, r.after)
	} else {
		f.held = max(0, f.held-elapsed/4)
	}
	// What has tripped is active whenever its cause is there: a press right after a
	// short gap in it must not reset it.
	atOnce := f.latched || r.Severity == Trip && !r.onlyLasting
	f.active = active && (atOnce || f.held >= r.after)
	if !active || r.Severity != Trip || r.neverLatches {
		return
	}
	if f.held >= r.after && (g.state == Enabled || !r.onlyWithHeat) {
		f.latched = true
	}
}

// press is a person at the bench having pressed the enable button: with something
// latched it resets what has lost its cause; with nothing latched and nothing
// in the way it enables heat. It never does both for the whole bench at once.
func (g *Guard) press() {
	if g.state == Tripped {
		g.reset()
		if !g.latchedOnBench() {
			g.state = Blocked
		}
		return
	}
	g.reset()
	if !g.allOff() {
		g.state = Enabled
	}
}

// reset lifts every latch whose cause is gone.
func (g *Guard) reset() {
	lift := func(found []finding) {
		for c := range found {
			if found[c].latched && !found[c].active {
				found[c].latched, found[c].held = false, 0
			}
		}
	}
	lift(g.bench)
	for i := range g.pots {
		lift(g.pots[i].found)
	}
}

// latchedOnBench reports whether anything that stops the whole bench is latched.
func (g *Guard) latchedOnBench() bool {
	return g.any(func(f *finding, r *Rule) bool { return f.latched && r.Action == AllOff })
}

// allOff reports whether anything active or latched keeps the whole bench cold.
func (g *Guard) allOff() bool {
	return g.any(func(f *finding, r *Rule) bool { return (f.latched || f.active) && r.Action == AllOff })
}

func (g *Guard) any(is func(*finding, *Rule) bool) bool {
	for c := range g.bench {
		if is(&g.bench[c], &table[c]) {
			return true
		}
	}
	for i := range g.pots {
		for c := range g.pots[i].found {
			if is(&g.pots[i].found[c], &table[c]) {
				return true
			}
		}
	}
	return false
}

// MayHeat reports whether any heat may flow in this cycle.
func (g *Guard) MayHeat() bool { return g.state == Enabled && !g.allOff() }

// PotMayHeat reports whether pot i may be heated in this cycle.
func (g *Guard) PotMayHeat(i int) bool {
	if !g.MayHeat() {
		return false
	}
	for c := range g.pots[i].found {
		f := &g.pots[i].found[c]
		if table[c].Action >= HeaterOff && (f.active || f.latched) {
			return false
		}
	}
	return true
}

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

// Believes reports whether pot i's readings of this cycle may be used: fresh,
// plausible and moving.
func (g *Guard) Believes(i int) (melt, plate bool) {
	f := g.pots[i].found
	melt = !f[MeltUnusable].active && !f[MeltImplausible].active && !f[MeltFrozen].active && !f[MeltNotFollowing].active
	plate = !f[PlateUnusable].active && !f[PlateImplausible].active && !f[PlateFrozen].active
	return melt, plate
}

// dutyExcess is how far above full power the rounding of floats may bring a duty (E).
const dutyExcess = 1e-9

// Limit lowers what the loops ask for to what may flow: to zero, or not at all.
// A duty that is no number from 0 to 1 becomes zero, as it does in the devices:
// a loop that asks for more than there is is broken, and its 1.5 is no wish for
// full power. Only what rounding may leave above 1 is full power.
func (g *Guard) Limit(duty []float64) {
	for i, asked := range duty {
		if !(asked > 0 && asked <= 1+dutyExcess) || i >= len(g.pots) || !g.PotMayHeat(i) {
			duty[i] = 0
		}
		duty[i] = min(duty[i], 1)
	}
}

// Append adds every finding that is active or latched to the list, trips first.
func (g *Guard) Append(list []Condition) []Condition {
	for severity := Trip + 1; severity > 0; severity-- {
		list = appendOf(list, g.bench, -1, severity-1)
		for i := range g.pots {
			list = appendOf(list, g.pots[i].found, i, severity-1)
		}
	}
	return list
}

func appendOf(list []Condition, found []finding, pot int, severity Severity) []Condition {
	for c := range found {
		f := &found[c]
		// What is over within a moment, as before the first reading, is no news;
		// heat was off all the same.
		lasts := f.active && (f.held >= tellAfter || severity != Trip)
		if table[c].Severity == severity && (lasts || f.latched) {
			list = append(list, Condition{Code(c), pot, severity, f.active, f.latched})
		}
	}
	return list
}

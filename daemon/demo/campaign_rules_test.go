package demo

import (
	"fmt"
	"math"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
	"meltwarden/devices/simbench/physics"
)

// look holds the bench, the wire and the newest frame against what must always
// hold.
func (s *trial) look() {
	s.truth = s.bench.Truth()
	if f := s.daemon.Hub().Latest(); f != nil && f != s.last {
		s.lookAtFrame(f)
	}
	if s.now()-s.lastAt > 450*time.Millisecond {
		s.breaks("f: frames go on", "none for %v", s.now()-s.lastAt)
	}
	s.lookAtTroubles()
	s.lookAtWire()
	for i := range s.truth.Pots {
		s.lookAtMelt(i)
	}
}

// lookAtFrame holds a frame against rules b, c, d and f.
func (s *trial) lookAtFrame(f *frames.Frame) {
	if f.Cycle != s.last.Cycle+1 {
		s.breaks("f: frames go on", "cycle %d after %d", f.Cycle, s.last.Cycle)
	}
	if s.frames++; f.Heat == control.HeatEnabled {
		s.enabled++
	}
	s.lookAtDuties(f)
	s.lookAtPress(f)
	s.lookAtTrips(f)
	s.lookAtStill(f)
	s.lookAtLine(f)
	s.last, s.lastAt = f, s.now()
	s.recent = append(s.recent, f)
	if len(s.recent) > outputsLast {
		s.recent = s.recent[1:]
	}
}

// outputsLast is how many frames may stand behind what is on the wire: outputs
// count for a second.
const outputsLast = 7

// rounding is what floats and the wire's counts may differ by.
const rounding = 1e-4

// lookAtDuties: what forbids heat in a frame leaves none of it there (b); the loops
// ask, the guard only lowers, and the circuit carries it (c).
func (s *trial) lookAtDuties(f *frames.Frame) {
	watts := 0.0
	for i, d := range f.Outputs.Duty {
		watts += d * s.settings.Pots[i].HeaterW
		if why := forbidden(&f.Frame, s.settings.Limits, i); why != "" && d != 0 {
			s.breaks("b: no heat against "+why, "pot %d is told %.3f in cycle %d", i, d, f.Cycle)
		}
		if p := f.Pots[i]; !(d >= 0 && d <= 1) || d > p.AskedDuty || d != p.Duty {
			s.breaks("c: the guard only lowers", "pot %d is told %g, asked for %g in cycle %d", i, d, p.AskedDuty, f.Cycle)
		}
	}
	if watts > s.settings.Circuit.MaxW*(1+1e-6) {
		s.breaks("c: the circuit carries it", "%.1f W in cycle %d", watts, f.Cycle)
	}
	if why := forbiddenToAll(&f.Frame, s.settings.Limits); why != "" && f.Outputs.Contactor {
		s.breaks("b: no contactor against "+why, "cycle %d", f.Cycle)
	}
	if s.minute = append(s.minute, watts*f.Elapsed.Seconds()); len(s.minute) > framesAMinute {
		s.minute = s.minute[1:]
	}
	// As the guard's table has it: 2 % over, because cycles straddle seconds.
	if mean := sum(s.minute) / 60; mean > 1.02*s.settings.Circuit.ContinuousW {
		s.breaks("c: the circuit carries it", "%.0f W in the mean of a minute, cycle %d", mean, f.Cycle)
	}
}

// forbidden says what in a frame forbids heat to a pot, "" for nothing. It is told
// from the frame and the table's words, without the guard's code.
func forbidden(f *control.Frame, l guard.Limits, pot int) string {
	if why := forbiddenToAll(f, l); why != "" {
		return why
	}
	p := f.Pots[pot]
	for name, t := range map[string]reading.Temperature{"melt": p.Melt, "plate": p.Plate} {
		switch {
		case t.Fault != reading.None || math.IsNaN(t.C) || math.IsInf(t.C, 0):
			return "a " + name + " that is not measured"
		case t.Age < 0 || t.Age > time.Second:
			return "an old " + name
		case t.C < -20 || t.C > 400:
			return "an impossible " + name
		}
	}
	for _, c := range f.Conditions {
		if c.Pot == pot && c.Latched && c.Code.Rule().Action >= guard.HeaterOff {
			return "a trip of its pot"
		}
	}
	if p.State == control.Lifted {
		return "a lifted pot"
	}
	return ""
}

// forbiddenToAll says what in a frame forbids all heat.
func forbiddenToAll(f *control.Frame, l guard.Limits) string {
	if f.Heat != control.HeatEnabled {
		return "heat that is not enabled"
	}
	for _, c := range []reading.Contact{f.Contacts.EStop, f.Contacts.CutOut, f.Contacts.Fan, f.Contacts.Link} {
		switch {
		case c.Fault != reading.None || c.Age < 0 || c.Age > time.Second:
			return "an interlock or a line that is not known"
		case !c.Closed:
			return "an open interlock"
		}
	}
	for _, p := range f.Pots {
		if p.Melt.Fault == reading.None && p.Melt.C >= l.MeltTripC || p.Plate.Fault == reading.None && p.Plate.C >= l.PlateTripC {
			return "an over-temperature"
		}
	}
	for _, c := range f.Conditions {
		if c.Latched && c.Code.Rule().Action == guard.AllOff {
			return "a trip of the bench"
		}
	}
	return ""
}

// heardAgain is how long after the end of everything that was wrong with the line
// all is heard again: a late reply can come for two seconds, a dead device rests
// for one, and it takes another to be believed.
const heardAgain = 5 * time.Second

// lookAtLine: what is well is heard (f), or a bench could not be used again without
// a new start of the program.
func (s *trial) lookAtLine(f *frames.Frame) {
	if s.now() < heardAgain || s.now()-s.blind < heardAgain {
		return
	}
	ages := []time.Duration{f.Contacts.Link.Age, f.Contacts.EStop.Age, f.Contacts.Enable.Age}
	for _, p := range f.Pots {
		ages = append(ages, p.Melt.Age, p.Plate.Age)
	}
	if oldest := slices.Max(ages); oldest > time.Second || f.Contacts.Link.Fault != reading.None {
		s.breaks("f: what is well is heard", "something is %.1f s old, %.1f s after the line's last fault", oldest.Seconds(), (s.now() - s.blind).Seconds())
	}
}

// sight is how the button was seen in a cycle: 'o' open, 'c' closed, '?' not.
type sight struct {
	state rune
	taken time.Duration
	trip  bool // something latched in that cycle
}

// lookAtPress: between no heat and heat there is a press that the plain rule
// accepts (d).
func (s *trial) lookAtPress(f *frames.Frame) {
	c, now := f.Contacts.Enable, sight{'o', f.Time - f.Contacts.Enable.Age, s.latchesNow(f)}
	missed := f.Cycle > 1 && (f.Elapsed <= 0 || f.Elapsed > 3*s.settings.Period)
	switch {
	case missed || c.Fault != reading.None || c.Age < 0 || c.Age > time.Second:
		now.state = '?'
	case c.Closed:
		now.state = 'c'
	}
	if s.sights = append(s.sights, now); len(s.sights) > 50 {
		s.sights = s.sights[1:]
	}
	pressed := pressSeen(s.sights)
	if before := s.last.Heat; f.Heat != before {
		s.note("heat: %s", f.Heat)
		relaxes := f.Heat == control.HeatEnabled || before == control.HeatTripped
		if relaxes && !pressed {
			s.breaks("d: only a press enables heat", "%s after %s in cycle %d without one", f.Heat, before, f.Cycle)
		}
		if before == control.HeatTripped && f.Heat == control.HeatEnabled {
			s.breaks("d: one press resets, the next enables", "both in cycle %d", f.Cycle)
		}
		if relaxes && !s.heldOfLate() {
			s.bounced++
			s.note("nobody had held the button for 0.3 s")
		}
	}
	if pressed {
		s.takePress()
	}
}

// latchesNow reports whether a frame has a trip that the one before had not.
func (s *trial) latchesNow(f *frames.Frame) bool {
	return slices.ContainsFunc(slices.Concat(f.Conditions, f.Folded), func(c guard.Condition) bool {
		return c.Latched && !slices.ContainsFunc(slices.Concat(s.last.Conditions, s.last.Folded), func(b guard.Condition) bool {
			return b.Code == c.Code && b.Pot == c.Pot && b.Latched
		})
	})
}

// pressSeen is the rule of a press, told over the sightings alone: in the last one it
// has just been seen open for 0.6 s; before that closed for 0.4 s to 5 s, and before
// that open for 1 s, each less the 50 ms by which cycles may be uneven. Nothing has
// latched since it was first seen closed.
func pressSeen(sights []sight) bool {
	span := func(last int, state rune) (int, time.Duration) {
		first := last
		for first >= 0 && sights[first].state == state {
			first--
		}
		if first == last {
			return last, -1
		}
		return first, sights[last].taken - sights[first+1].taken
	}
	const quiet = 550 * time.Millisecond
	end := len(sights) - 1
	held, free := span(end, 'o')
	if free < quiet || end-1 > held && sights[end-1].taken-sights[held+1].taken >= quiet {
		return false // too soon, or it has counted before
	}
	before, down := span(held, 'c')
	_, up := span(before, 'o')
	if slices.ContainsFunc(sights[min(before+2, end):], func(s sight) bool { return s.trip }) {
		return false
	}
	return down >= 350*time.Millisecond && down <= 5*time.Second && up >= 950*time.Millisecond
}

// heldOfLate reports whether the button truly was closed for 0.3 s at a stretch
// within the last seconds.
func (s *trial) heldOfLate() bool {
	return slices.ContainsFunc(s.closings, func(c span) bool {
		return min(c.to, s.now())-c.from >= 300*time.Millisecond && c.to > s.now()-3*time.Second
	})
}

// agrees is how far a frame and what is seen on the wire may be apart.
const agrees = 300 * time.Millisecond

// takePress: a press that counts ends what waits for one.
func (s *trial) takePress() {
	s.pressedAt = s.now()
	for _, w := range s.troubles {
		w.pressed = true
		// Of "off" and a press in one cycle, "off" wins: it must have been taken before.
		over := w.kind == &allOffAsked && s.last.At.After(w.said) || w.kind == &liftMarked && s.returned[w.at.Pot]
		if over && w.ended < 0 {
			w.ended = s.now()
		}
	}
	for i, w := range s.owed {
		if w != nil && w.ended >= 0 {
			s.owed[i] = nil
		}
	}
}

// lookAtTrips counts what newly latches, and asks what explains it.
func (s *trial) lookAtTrips(f *frames.Frame) {
	now := map[finding]bool{}
	for _, c := range f.Conditions {
		k := finding{c.Code, c.Pot}
		if _, known := s.latched[k]; !known || c.Latched && !s.latched[k] {
			s.note("found: %s, pot %d, latched %t", c.Code, c.Pot, c.Latched)
		}
		if now[k] = c.Latched; !c.Latched || s.latched[k] {
			continue
		}
		s.trips[c.Code]++
		cameHot := s.script.warmC >= tooHotC && c.Code == guard.MeltOverTemperature
		if !cameHot && !slices.ContainsFunc(s.troubles, func(w *wrong) bool { return w.explains(c, s.now()) }) {
			s.needless = append(s.needless, fmt.Sprintf("seed %d at %.1f s: %s, pot %d", s.seed, s.now().Seconds(), c.Code, c.Pot))
		}
	}
	s.latched = now
}

// lookAtStill counts for how long readings that stand still had to move, by the
// guard's table: the melt's while it is heated below a plate 25 °C warmer, the
// plate's at a duty of 0.3 and more.
func (s *trial) lookAtStill(f *frames.Frame) {
	if s.last.Cycle == 0 {
		return
	}
	for _, w := range s.troubles {
		still := w.kind.fault == simbench.FrozenProbe || w.kind.fault == simbench.ShortedProbe
		if !still || !w.onAt(s.now()) || w.still >= frozenShows {
			continue
		}
		p, duty := f.Pots[w.at.Pot], s.last.Pots[w.at.Pot].Duty
		usable := p.Melt.Usable(time.Second) && p.Plate.Usable(time.Second)
		moves := duty > 0 && p.Plate.C-p.Melt.C >= 25
		if w.at.Probe == registers.Plate {
			moves = duty >= 0.3
		}
		if usable && moves {
			w.still += f.Elapsed
			w.stillAt = s.now()
		}
	}
}

// lookAtTroubles: what forbids heat ends it within two seconds (a), and what
// latches keeps it away until somebody presses.
func (s *trial) lookAtTroubles() {
	for _, w := range s.troubles {
		s.lookAtRestart(w)
		if !w.onAt(s.now()) {
			continue
		}
		if w.kind.fault.Scope() == simbench.OfLine {
			s.blind = s.now()
		}
		if w.kind == &liftMarked {
			s.liftedLast[w.at.Pot] = s.now()
		}
		w.stays = w.stays && s.last.Heat == control.HeatEnabled
		if w.kind.latches > 0 && w.stays && s.now() > w.began+w.kind.latches {
			s.owed[w.at.Pot] = w
		}
		s.lookAtHeaters(w)
	}
	for i, w := range s.owed {
		if w != nil && s.draws(i) && s.now() > w.began+w.kind.latches+heatGoneWithin {
			s.breaks("d: what latched waits for a press", "pot %d draws power; %s latched", i, w.kind.title())
		}
	}
}

// lookAtRestart: heat that ended because the power unit lost its supply, however
// shortly, waits for a press.
func (s *trial) lookAtRestart(w *wrong) {
	ofPower := w.at.Unit == 0 || w.at.Unit == simbench.UnitPower
	if w.kind.fault != simbench.UnitRestarts || !ofPower || !w.lit || w.pressed || s.now() <= w.began {
		return
	}
	for i := range s.truth.Pots {
		if s.draws(i) {
			s.breaks("d: the power coming back waits for a press", "pot %d draws power %.2f s after the unit's restart", i, (s.now() - w.began).Seconds())
		}
	}
}

// draws reports whether a heater whose relay obeys draws power.
func (s *trial) draws(pot int) bool {
	return pot < len(s.truth.Pots) && s.truth.Pots[pot].PowerW > 0 && !s.welded[pot]
}

// lookAtHeaters holds the heaters that a trouble forbids against its time.
func (s *trial) lookAtHeaters(w *wrong) {
	if w.kind.from == nil {
		return
	}
	from, forbids := w.kind.from(s, w)
	late := s.now() - s.goneBy(from)
	for _, i := range w.heaters() {
		if len(s.last.Outputs.Duty) > i && s.last.Outputs.Duty[i] > 0 {
			w.told = s.now() - w.began
		}
		if !s.draws(i) {
			continue
		}
		w.gone = s.now() - w.began
		if forbids && late > 0 {
			s.breaks("a: heat gone within 2 s", "pot %d draws power %.2f s after %s forbids it", i, (s.now() - from).Seconds(), w.kind.title())
		}
	}
	if !w.due && w.lit && forbids && late >= 0 {
		w.due = true
		t := s.of(w.kind.title())
		t.told, t.gone = append(t.told, w.told), append(t.gone, w.gone)
	}
}

const (
	// unitLetsGo is the power unit's own time-out.
	unitLetsGo = 1500 * time.Millisecond
	// heatToldWithin is when the heaters have been told zero: what is a second old is
	// stale, and the line needs a moment.
	heatToldWithin = 1500 * time.Millisecond
	// restsAfter is for how long a device is left alone that has not answered.
	restsAfter = time.Second
)

// deafens are the faults in which the power unit truly is not told: with every other it
// hears its zeros, whatever becomes of its replies.
var deafens = []simbench.Fault{simbench.NoReply, simbench.UnitRestarts, simbench.ExceptionReplies, simbench.LateReplies}

// goneBy is when heat must be gone that is forbidden from a moment on. Where the power
// unit can not be told from a later moment on, its own time-out ends it, or the zeros that
// reach it once that is over.
func (s *trial) goneBy(from time.Duration) time.Duration {
	by := from + heatGoneWithin
	for _, o := range s.troubles {
		deaf := slices.Contains(deafens, o.kind.fault) && (o.at.Unit == 0 || o.at.Unit == simbench.UnitPower)
		if !deaf || o.began <= from || o.began >= from+heatToldWithin {
			continue
		}
		letsGo := o.began + unitLetsGo
		if o.ended >= 0 {
			letsGo = min(letsGo, o.ended+restsAfter)
		}
		by = max(by, letsGo)
	}
	return by
}

// lookAtWire: what the heaters are told rests on a frame of the second before, fits
// the circuit, and the contactor does not close again by itself.
func (s *trial) lookAtWire() {
	told := s.wire.heard()
	if told.dutyAt != s.heardAt {
		s.heardAt = told.dutyAt
		s.lookAtTold(told.duty)
	}
	for _, c := range append(s.contactor, told.closings...) {
		at, open := c.at-s.startsAt, c.at-c.openSince
		if open > closesAgain && s.pressedAt < at-open-agrees && s.now() > at+agrees {
			s.breaks("d: the contactor waits for a press", "closed at %.2f s, after %.1f s", at.Seconds(), open.Seconds())
		}
	}
	s.contactor = slices.DeleteFunc(append(s.contactor, told.closings...), func(c closing) bool { return s.now() > c.at-s.startsAt+2*agrees })
}

// lookAtTold holds what the heaters are told against the frames that may stand behind it.
// That is fair once, as it is told: when nothing comes after it, the frames go on, and what
// the unit holds until its own time-out is no word of theirs. The heat of it is rule a's.
func (s *trial) lookAtTold(duty []float64) {
	watts := 0.0
	for i, d := range duty {
		watts += d * s.settings.Pots[i].HeaterW
		asked := 0.0
		for _, f := range s.recent {
			asked = max(asked, f.Outputs.Duty[i])
		}
		if d > asked+rounding {
			s.breaks("b: the wire says what a frame says", "pot %d is told %.4f, frames say %.4f at most", i, d, asked)
		}
	}
	if watts > s.settings.Circuit.MaxW+1 {
		s.breaks("c: the circuit carries it", "%.1f W on the wire", watts)
	}
}

// closesAgain is how long the contactor may be open and close again by itself: the
// longest time in which a finding of the whole bench comes before its trip, and a
// second for the line.
const closesAgain = 2500 * time.Millisecond

// hotMelt is a melt over its trip, by what an honest probe would say.
type hotMelt struct {
	seenBy time.Duration // when a trip must have ended all heat
	mostC  float64       // what it can come to
	blind  bool          // its probe does not say so
}

// lookAtMelt: a true melt is never above its trip by more than its own coast, where
// its probe is honest (e).
func (s *trial) lookAtMelt(i int) {
	p, spec, tripC := s.truth.Pots[i], s.specs[i], s.settings.Limits.MeltTripC
	if p.MeltC > tripC {
		if over := p.MeltC - tripC; s.lied(i) {
			s.blindC = max(s.blindC, over)
		} else {
			s.overC = max(s.overC, over)
		}
	}
	h := s.hot[i]
	shows := p.MeltC+spec.MeltProbe.OffsetC >= tripC+physics.ResolutionC
	switch {
	case h == nil && shows:
		sees := spec.MeltProbe.Dead + 3*spec.MeltProbe.Lag + heatGoneWithin
		mainsMost := 1.1 * spec.HeaterW * spec.HeaterGain
		h = &hotMelt{seenBy: s.now() + sees, blind: s.lied(i)}
		h.mostC = s.coastsTo(i) + mainsMost*sees.Seconds()/(spec.MeltJKgK*spec.VolumeML/1000*physics.DensityKGL)
		s.hot[i] = h
		s.note("pot %d is truly at %.1f °C, may come to %.1f °C", i, p.MeltC, h.mostC)
	case h == nil:
	case p.MeltC < tripC-15:
		s.hot[i] = nil
	default:
		h.blind = h.blind || s.lied(i)
		s.holdMelt(i, h, shows)
	}
}

// holdMelt holds a melt that is too hot against what it may come to.
func (s *trial) holdMelt(i int, h *hotMelt, shows bool) {
	if h.blind {
		return
	}
	if c := s.truth.Pots[i].MeltC; c > h.mostC {
		s.breaks("e: no more than its coast", "pot %d at %.1f °C, its coast ends at %.1f °C", i, c, h.mostC)
	}
	for j := range s.truth.Pots {
		if shows && s.now() > h.seenBy && s.draws(j) {
			s.breaks("e: an over-temperature ends all heat", "pot %d draws power, pot %d is at %.1f °C", j, i, s.truth.Pots[i].MeltC)
		}
	}
}

// lied reports whether anything has been wrong with a pot's melt probe of late.
func (s *trial) lied(pot int) bool {
	return slices.ContainsFunc(s.troubles, func(w *wrong) bool {
		scope := w.kind.fault.Scope()
		probe := scope == simbench.OfProbe && w.at.Pot == pot && w.at.Probe == registers.Melt
		return probe && (w.ended < 0 || s.now() < w.ended+lingers)
	})
}

// coastsTo is the most that a melt can come to with its heater off now: element,
// plate, wall and melt pass heat on in this order only, so that the melt's share in
// each of them falls with its distance, and the melt is never above the hottest
// mean of the melt with its nearest one, two or three neighbours (elementary, for
// heat conducted along a chain; derived here).
func (s *trial) coastsTo(pot int) float64 {
	p, spec := s.truth.Pots[pot], s.specs[pot]
	kg := (spec.VolumeML + s.addedML[pot]) / 1000 * physics.DensityKGL
	capacity, joules := kg*spec.MeltJKgK, kg*spec.MeltJKgK*p.MeltC
	most := p.MeltC
	for _, b := range [][2]float64{{spec.WallJK, p.WallC}, {spec.PlateJK, p.PlateC}, {spec.ElementJK, p.ElementC}} {
		capacity, joules = capacity+b[0], joules+b[0]*b[1]
		most = max(most, joules/capacity)
	}
	return most
}

// close looks at the bench a last time, after the program has ended.
func (s *trial) close() {
	time.Sleep(heatGoneWithin)
	for i, p := range s.bench.Truth().Pots {
		if p.PowerW > 0 {
			s.breaks("a: heat gone within 2 s", "pot %d draws power after the program's end", i)
		}
	}
}

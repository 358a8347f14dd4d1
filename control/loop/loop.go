// Package loop brings one pot to its temperature and holds it there: the cascade,
// with the eyes of the model where its forecasts come true, and with its own where
// they do not. The cascade aims the plate in either case; what the model adds is
// where melt and plate are before their probes show it, and how much heat the
// element still holds, so that power is cut neither late nor early.
//
// What a pot was found to be is Known: the model's figures, the cascade's balance and the
// resting excess, taken down while it is held, if the model fitted it on the way there,
// and nothing has been drawn of it. Beside the filter that knows, a second one that knows
// nothing sees the same readings until the pot has been held; where it awaits them better,
// it takes over. What a first heat has shown of it is less: the model's figures of a pot that
// was hardly warm, without its losses.
//
// What a maker announces goes to the model before the probe shows it. After a pot has been
// held and was never doubted, a melt that is too cold gets all heat until the plate is as
// warm as it coasts to its target from, by the model and by the cascade's balance, the
// lower of the two. A trial tunes the cascade for where the model is doubted and its own
// gain leaves a gain margin of less than two.
package loop

import (
	"math"

	"meltwarden/control/cascade"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// Pot is what is known of a pot before it has ever been heated.
type Pot struct {
	// HeaterW is the heater's rated power in watts.
	HeaterW float64
	// MeltJPerK is the melt's heat capacity in joules per kelvin.
	MeltJPerK float64
	// PlateLimitC is the most that its plate may be heated to, in degrees Celsius.
	PlateLimitC float64
	// Probes are those that it has.
	Probes reading.Probes
}

// View is what is known in a cycle.
type View struct {
	// Melt and Plate are the readings, those that are believed: any other has a fault.
	Melt, Plate reading.Temperature
	// Seen is what their filters make of them, with the target and the plate's limit.
	Seen cascade.Measure
	// Dt is the time since the last cycle in seconds.
	Dt float64
}

// Grades: E estimate.
const (
	plateInS = 4.0 // E: how fast the plate is brought where it should be

	stopsShortC = 0.5   // E: a melt this far under its target,
	staysOverC  = 0.3   // E: or over it,
	nearC       = 8.0   // E: and no further,
	arrivesInS  = 150.0 // E: that would not be there in this time rests there,
	stoppedInS  = 600.0 // E: nor in this, once it has been near it for a while
	leastLeft   = 0.1   // E: of what was typed: a pot is never drawn empty, whatever is marked
	mostAdded   = 4.0   // E: times what was typed: and no vessel holds more
	lowShare    = 0.07  // E: of what is still to rise it is aimed low, because no coast is known to the degree
	nearlyC     = 1.0   // E: a melt nearer than this is brought to its target by the melt loop
	leanS       = 120.0 // E: as long as a few stirs, which is what the model's word wavers by
	leanBackS   = 60.0  // E: sooner, because a melt loses heat slowly
	steadyKS    = 0.03  // E: if its plate does as well
	findS       = 60.0  // E: as long as a few stirs
)

// Loop is the memory of one pot's loop.
type Loop struct {
	pot Pot
	// typedJPerK is the melt's heat capacity in J/K before anything was added or drawn.
	typedJPerK float64

	cascade  *cascade.Cascade
	model    *model.Filter
	given    float64 // the duty since the last cycle
	asked    float64
	memory   memory
	trial    *trial // nil where there is none
	triedOut bool   // the last trial came to its end
	held     held
	restedC  float64 // the target that it last came to rest at
	// foundS is how long the pot has been held. A melt that only came near its target has not
	// been: it may have stopped short of it.
	foundS  float64
	ceiling ceiling
}

// New returns a pot's loop, at rest, with what is known of the pot from earlier times:
// nil is nothing, and what was not of this heater and plate limit counts as nothing.
func New(p Pot, k *Known) *Loop {
	l := &Loop{
		pot: p, typedJPerK: p.MeltJPerK,
		cascade: cascade.New(cascade.Pot{HeaterW: p.HeaterW, MeltJPerK: p.MeltJPerK}),
		model:   model.New(p.model()),
	}
	if k != nil && k.Tunes(p) {
		l.cascade.Tune(*k.Tuning)
	}
	if k != nil && k.Fits(p) {
		l.recall(k)
	}
	return l
}

func (p Pot) model() model.Pot {
	return model.Pot{HeaterW: p.HeaterW, MeltJPerK: p.MeltJPerK, Probes: p.Probes}
}

// Watch takes in a cycle, whether the pot may be heated in it or not.
func (l *Loop) Watch(v *View) {
	l.model.Step(l.given, v.Dt, v.Plate, v.Melt)
	if l.memory.beside != nil {
		l.memory.beside.Step(l.given, v.Dt, v.Plate, v.Melt)
		l.compare()
	}
}

// Added says that something as cold as the room was just put into the melt: of a heat
// capacity in J/K, or zero where nobody says how much.
func (l *Loop) Added(jPerK float64) {
	l.trial = nil
	l.memory.sealed = l.memory.sealed || l.memory.leaves
	jPerK = min(jPerK, l.pot.MeltJPerK, mostAdded*l.typedJPerK-l.pot.MeltJPerK)
	if !(jPerK > 0) {
		l.each((*model.Filter).Startle)
		return
	}
	l.each(func(f *model.Filter) { f.Added(jPerK) })
	l.resize(l.pot.MeltJPerK + jPerK)
}

// Drawn says that some of the melt was just taken out: of a heat capacity in J/K, or
// zero where nobody says how much.
func (l *Loop) Drawn(jPerK float64) {
	l.trial = nil
	l.memory.sealed = true
	jPerK = min(jPerK, l.pot.MeltJPerK-leastLeft*l.typedJPerK)
	if !(jPerK > 0) {
		jPerK = 0
	}
	l.each(func(f *model.Filter) { f.Drawn(jPerK) })
	l.resize(l.pot.MeltJPerK - jPerK)
}

// resize goes on with a melt of another heat capacity in J/K.
func (l *Loop) resize(meltJPerK float64) {
	times := meltJPerK / l.pot.MeltJPerK
	l.cascade.Resize(times, math.Pow(times, model.WettedPower))
	l.pot.MeltJPerK = meltJPerK
}

// Stirred says that a hand has just begun to stir.
func (l *Loop) Stirred() { l.each((*model.Filter).Stirred) }

// each tells something to the filter and to the one beside it.
func (l *Loop) each(tell func(*model.Filter)) {
	tell(l.model)
	if l.memory.beside != nil {
		tell(l.memory.beside)
	}
}

// Moved says that the pot is not where it was: what its probes showed is past.
func (l *Loop) Moved() {
	l.trial = nil
	l.memory.sealed = true
	l.each((*model.Filter).Restart)
}

// Rest takes the loop out of service: the next Step starts without a bump.
func (l *Loop) Rest() {
	l.trial, l.held = nil, held{}
	l.cascade.Rest()
}

// Trusted reports whether the model's eyes are used.
func (l *Loop) Trusted() bool { return l.model.Trusted() }

// PlateTargetC is what the plate is held at now; NaN at rest.
func (l *Loop) PlateTargetC() float64 { return l.cascade.PlateTargetC() }

// Step returns the duty asked for, 0 to 1, after Watch. Anything in the view that is
// no finite number gives zero.
func (l *Loop) Step(v *View) float64 {
	m := v.Seen
	if l.trial != nil {
		if duty, lasts := l.try(v); lasts {
			l.asked = duty
			return duty
		}
	}
	m.LimitC -= l.ceiling.rippleC(l.pot.HeaterW, l.cascade.Known().PlateJPerK)
	if !l.model.Trusted() {
		l.memory.doubt()
		m.Doubted = l.model.Doubted()
		l.asked = l.cascade.Step(m, v.Dt)
		return l.asked
	}
	s := l.model.Sight(l.given)
	m.MeltC, m.PlateC, m.MeltSlope, m.PlateSlope = s.MeltC, s.PlateC, s.MeltSlope, s.PlateSlope
	m.Upset = m.Upset || l.model.Unexplained()
	l.look(&s, &m, v.Dt)
	l.keep(&m, v.Dt)
	l.asked = l.cascade.StepBy(m, v.Seen, v.Dt)
	if plateC := l.cascade.PlateTargetC(); !math.IsNaN(plateC) {
		l.asked = l.energy(&s, &v.Seen, plateC, m.LimitC-cascade.MarginC, v.Dt)
	}
	return l.asked
}

// find helps a melt that rests short of its target, or over it. What the plate has to be
// warmer by is only guessed at in a first heat-up, and the melt loop takes long to find it
// out; a melt that rests, on a plate that does, shows it. Once it has been held, the loop
// has found it, and a melt that something was added to would only mislead.
func (l *Loop) find(s *model.Sight, m *cascade.Measure, dt float64) {
	short := m.TargetC - s.MeltC
	if m.Upset || math.Abs(short) > nearC || math.Abs(s.PlateSlope) > steadyKS {
		return
	}
	arrives := arrivesInS
	if l.memory.heldS >= heldForS {
		arrives = stoppedInS
	}
	excess := l.cascade.Excess()
	switch restC := l.restsC(s); {
	case short > stopsShortC && s.MeltSlope*arrives < short:
		if restC = l.restC(restC, m.TargetC); restC > excess {
			l.cascade.LeanTo(restC, dt/findS)
		}
	case -short > staysOverC && -s.MeltSlope*arrivesInS < -short && restC < excess:
		l.cascade.LeanTo(restC, dt/findS)
	}
}

// look tells the cascade what the model sees of a melt that is off its target.
func (l *Loop) look(s *model.Sight, m *cascade.Measure, dt float64) {
	short := m.TargetC - s.MeltC
	off, closes := math.Abs(short), math.Copysign(s.MeltSlope, short*s.MeltSlope)
	found := l.foundS >= heldForS
	sure := found && !l.cascade.Wary()
	if !found {
		l.find(s, m, dt)
	}
	switch {
	case off > stopsShortC && found && off < nearC && closes*arrivesInS < off:
		l.lean(s, m, short > 0, sure, dt)
	case short > nearlyC && sure:
		m.CoastC = l.model.CoastC(m.TargetC-lowShare*short, l.cascade.Excess())
	case off < stopsShortC && !m.Upset:
		l.restedC = m.TargetC
		l.foundS += dt
	}
}

// lean helps a melt of a pot that has been held and stops short of its target: the model
// has seen by then what the pot loses. Where it comes short by less than that it is left
// to the loop. Something is taken off only where a pot that has been held stays too warm,
// as when it is stirred again.
func (l *Loop) lean(s *model.Sight, m *cascade.Measure, cold, sure bool, dt float64) {
	switch restC := l.restC(s.RestC, m.TargetC); {
	case m.Upset:
	case cold && restC > l.cascade.Excess():
		l.cascade.LeanTo(restC, dt/leanS)
	case !cold && sure && l.restedC == m.TargetC && s.RestC < l.cascade.Excess():
		l.cascade.LeanTo(s.RestC, dt/leanBackS)
	}
}

// restsC is how much warmer than the melt the plate would have to be for the melt to stay
// as warm as it is: the gap that there is, less what makes the melt rise.
func (l *Loop) restsC(s *model.Sight) float64 {
	return s.PlateC - s.MeltC - s.MeltSlope*l.pot.MeltJPerK/l.cascade.Known().CouplingWK
}

// energy is the duty that brings the plate to its target, by its heat balance: what
// it gives off, and what it lacks or holds too much. Near its ceiling it counts where
// the plate is going.
func (l *Loop) energy(s *model.Sight, seen *cascade.Measure, plateC, ceilingC, dt float64) float64 {
	c := &l.ceiling
	if plateC >= ceilingC && l.asked > 0 {
		c.trim(seen, ceilingC, dt)
	}
	w := s.OutW + s.PlateJK*(min(plateC, ceilingC-c.trimC)-s.HeldC)/plateInS
	// A plate that is shown to rise faster than the model has it gives off less.
	outW := s.OutW - s.PlateJK*max(seen.PlateSlope-max(s.PlateSlope, 0), 0)
	room, plateJK := c.room(s, seen, ceilingC), s.PlateJK
	if room < 0 {
		// What is too much is taken away by the more that the plate may hold: where the
		// model is young, what the first rise took is often nearer.
		plateJK = max(plateJK, l.cascade.Known().PlateJPerK)
	}
	most := outW + plateJK*room/limitInS
	return min(max(min(w, most)/l.pot.HeaterW, 0), 1)
}

// Applied tells what became of the duty that was asked for, after the circuit's share
// and the guard, and what of it the heater draws until the next cycle, which within a
// relay's window is all or nothing.
func (l *Loop) Applied(duty, drawn, dt float64) {
	l.given = drawn
	l.ceiling.switched(duty, drawn, dt)
	if l.cascade.Applied(duty, dt); l.trial == nil && !math.IsNaN(l.cascade.PlateTargetC()) {
		l.held.follow(l.cascade.Seen(), duty, dt)
	}
}

// Ready is the way from now on at full power until the pot is ready to pour, by the
// model, and in ahead, unless that is nil, what it foresees of the melt.
func (l *Loop) Ready(j model.Journey, ahead *model.Ahead) model.Way { return l.model.Ready(j, ahead) }

// PeakC is the warmest that the melt becomes if the power is off from now on, in degrees
// Celsius; NaN while nothing is known.
func (l *Loop) PeakC() float64 { return l.model.PeakC() }

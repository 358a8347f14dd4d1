package loop

import (
	"math"

	"meltwarden/control/cascade"
	"meltwarden/control/pid"
	"meltwarden/control/swing"
)

// A trial finds out how a held pot answers, where its maker asks for it: first a relay
// of the heater lets the plate swing, then a relay of the plate lets the melt, both a
// little. It ends by itself, and at once where anything else happens.

// Grades: E estimate.
const (
	trialFromC = 0.7    // E: a melt this near its target is held
	trialMostC = 1.5    // E: and one further off ends the trial
	trialMostS = 1800.0 // E: no trial is longer
	dutySwing  = 0.15   // E: it takes most plates 2 or 3 °C either way
	plateTurnC = 0.4    // E: three times the noise that is left of a reading
	plateTurns = 4
	meltKS     = 0.012 // E: how fast the melt is to move, in kelvin per second
	meltTurnC  = 0.25  // E: twice the noise that is left of a reading
	meltTurns  = 3
	leastC     = 2.0   // E: the plate's swing, either way
	mostC      = 8.0   // E
	plateTurnS = 60.0  // E: what a swing of the plate takes until one has been seen
	meltTurnS  = 220.0 // E: likewise of the melt
	dutyMeanS  = 120.0 // E: a few stirs
)

// Trial says how far a trial has come: Swing, from 1, of Of, and the seconds it may
// still take. Of is zero where there is none; Done says then that the last one came to its
// end and was not broken off.
type Trial struct {
	Swing, Of int
	LeftS     float64
	Done      bool
}

// trial is one under way.
type trial struct {
	targetC, plateC float64
	duty            float64 // that holds the pot
	low, high       float64 // duties
	plateSwingC     float64
	relay           *swing.Relay
	melt            bool // it has come to the melt's swings
	tuning          cascade.Tuning
	spentS          float64
}

// CanTry reports whether a trial can begin: the pot has been held for a while, its plate
// may swing, and there is no trial yet.
func (l *Loop) CanTry() bool {
	plateC := l.cascade.PlateTargetC()
	return l.trial == nil && !math.IsNaN(plateC) && l.held.forS >= heldForS && plateC+leastC <= l.pot.PlateLimitC-cascade.MarginC
}

// Try begins a trial where one can, and reports whether it has.
func (l *Loop) Try() bool {
	if !l.CanTry() {
		return false
	}
	plateC, t := l.cascade.PlateTargetC(), l.held
	l.trial = &trial{
		targetC: t.targetC, plateC: plateC, duty: t.duty,
		low: max(t.duty-dutySwing, 0), high: min(t.duty+dutySwing, 1),
		plateSwingC: min(l.cascade.PlateFor(meltKS), mostC, l.pot.PlateLimitC-cascade.MarginC-plateC),
		relay:       swing.New(plateC, plateTurnC, plateTurns),
	}
	l.trial.plateSwingC = max(l.trial.plateSwingC, leastC)
	l.triedOut = false
	return true
}

// Trial says how far the trial has come, if there is one.
func (l *Loop) Trial() Trial {
	t := l.trial
	if t == nil {
		return Trial{Done: l.triedOut}
	}
	now, of := t.relay.Swing()
	if t.melt {
		return Trial{Swing: plateTurns + now, Of: plateTurns + of, LeftS: float64(of-now+1) * meltTurnS}
	}
	return Trial{Swing: now, Of: of + meltTurns, LeftS: float64(of-now+1)*plateTurnS + meltTurns*meltTurnS}
}

// Tuning returns what a trial has tuned the loops to; nil is nothing.
func (l *Loop) Tuning() *cascade.Tuning { return l.cascade.Tuning() }

// Doubted reports whether the model has been found wrong about this pot of late.
func (l *Loop) Doubted() bool { return l.model.Doubted() }

// held is how long and by what a pot has been held of late.
type held struct{ forS, duty, targetC float64 }

// follow takes in a cycle of a pot that may be heated.
func (h *held) follow(m *cascade.Measure, duty, dt float64) {
	if h.targetC != m.TargetC || m.Upset || math.Abs(m.TargetC-m.MeltC) > trialFromC {
		*h = held{duty: duty, targetC: m.TargetC}
		return
	}
	h.forS += dt
	h.duty += (duty - h.duty) * min(dt/min(h.forS, dutyMeanS), 1)
}

// try goes on with a trial: the duty asked for, and whether it still lasts.
func (l *Loop) try(v *View) (duty float64, lasts bool) {
	t, m := l.trial, v.Seen
	t.spentS += v.Dt
	if t.spoiled(&m) || t.relay.Done() && !l.learn() {
		l.trial = nil
		return 0, false
	}
	if !t.melt {
		duty = t.low
		if t.relay.Step(m.PlateC, v.Dt) {
			duty = t.high
		}
		l.cascade.StepTo(t.plateC, m, v.Dt)
		return duty, true
	}
	plateC := t.plateC - t.plateSwingC
	if t.relay.Step(m.MeltC, v.Dt) {
		plateC = t.plateC + t.plateSwingC
	}
	return l.cascade.StepTo(plateC, m, v.Dt), true
}

// spoiled reports whether something else than the trial decides what is seen.
func (t *trial) spoiled(m *cascade.Measure) bool {
	off := math.Abs(m.MeltC - t.targetC)
	return m.TargetC != t.targetC || m.Upset || t.spentS > trialMostS || !(off <= trialMostC) || !(m.PlateC < m.LimitC)
}

// learn ends a stage of the trial, and reports whether there is another one.
func (l *Loop) learn() bool {
	t := l.trial
	if !t.melt {
		gain, periodS := t.relay.Ultimate((t.high - t.low) / 2)
		if gain <= 0 {
			return false
		}
		t.tuning.Plate = pid.TyreusLuybenPID(gain, periodS)
		t.melt, t.relay = true, swing.New(t.targetC, meltTurnC, meltTurns)
		return true
	}
	if gain, periodS := t.relay.Ultimate(t.plateSwingC); gain > 0 {
		t.tuning.Melt, t.tuning.MeltUltimate = pid.TyreusLuyben(gain, periodS), gain
		l.cascade.Tune(t.tuning)
		l.triedOut = true
	}
	return false
}

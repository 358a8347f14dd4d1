package loop

import (
	"math"

	"meltwarden/control/cascade"
	"meltwarden/control/model"
	"meltwarden/control/reading"
)

// Known is what is worth keeping of a pot for the next time.
type Known struct {
	// PlateLimitC is the plate's limit of that time, in degrees Celsius.
	PlateLimitC float64
	Model       model.Known
	Cascade     cascade.Known
	// RestShare is the plate's resting excess, as the loop found it, over what the model
	// makes of it.
	RestShare float64
	// Tuning is what a trial has found; nil where there was none. It is kept of a pot of
	// which nothing else is, because it was not understood: then the rest is zero but for
	// PlateLimitC and Model.Pot.
	Tuning *cascade.Tuning `json:",omitempty"`
}

// Grades: E estimate.
const (
	heldC    = 1.5   // E: a melt this near its target is held
	hotC     = 150.0 // E: where it waits for other pots, below this, it has not shown all yet
	heldForS = 90.0  // E: so long altogether, and it has shown what it loses
	// decisive is by how much the readings have to speak for a pot of which nothing is
	// known, as the logarithm of a likelihood ratio, before what is known is dropped (E);
	// mostLead is how much they may speak for it ahead of that.
	decisive, mostLead = 3.0, 4.0
	// proven is how much they have to speak for what is known by the time the pot has been
	// held (E): who knew a pot has awaited its heat-up better than who did not.
	// decidedS is how long it is held by then, in seconds.
	proven, decidedS = 5.0, 120.0

	restsInS              = 600.0    // E: the melt loop's integral time at its longest
	leastShare, mostShare = 0.5, 2.0 // E: what a resting excess may be of the model's
)

// memory is what a loop remembers of earlier times, and what it leaves.
type memory struct {
	// beside is what the readings are to a filter of which nothing was known; nil where
	// nothing was, and when it has been decided which of the two is right.
	beside     *model.Filter
	lead, last float64 // of the one that knows, by the evidence
	recalled   bool
	share      float64 // of the model's resting excess

	heldS  float64
	sealed bool // what is in the pot is no longer what was typed
	left   Known
	leaves bool
}

// Warmed returns what a first heat has shown of the pot. What the loop finds while it holds
// a pot is not in it.
func (l *Loop) Warmed() Known {
	return Known{PlateLimitC: l.pot.PlateLimitC, Model: l.model.WarmedOnly()}
}

// Passes is what gets from plate to melt by now, over what a pot is taken for of which nothing
// was seen.
func (l *Loop) Passes() float64 { return l.model.Passes() }

// FirstHeat reports whether the pot is known by a first heat only.
func (k *Known) FirstHeat() bool { return k.Model.Warmed }

// Fits reports whether what is known may be said of a pot: both probes, the same heater
// and plate limit, and figures that some pot has. What a first heat has shown has nothing
// to do with that limit: no plate was near it.
func (k *Known) Fits(p Pot) bool {
	if k.FirstHeat() {
		return p.Probes == reading.BothProbes && k.Model.Fits(p.model())
	}
	c := cascade.Pot{HeaterW: p.HeaterW, MeltJPerK: k.Model.Pot.MeltJPerK}
	return p.Probes == reading.BothProbes && k.PlateLimitC == p.PlateLimitC && k.Model.Fits(p.model()) &&
		k.Cascade.Fits(c) && k.RestShare >= leastShare && k.RestShare <= mostShare
}

// Tunes reports whether a trial's tuning may be used for a pot: the same heater and plate
// limit, and gains that are any.
func (k *Known) Tunes(p Pot) bool {
	return k.Tuning != nil && k.PlateLimitC == p.PlateLimitC && k.Model.Pot.HeaterW == p.HeaterW && k.Tuning.Fits()
}

// recall starts a loop from what is known, with a filter beside it that does not know.
func (l *Loop) recall(k *Known) {
	m := &l.memory
	m.beside, m.recalled = model.New(l.pot.model()), true
	m.share = k.RestShare
	if l.model.Recall(&k.Model); k.FirstHeat() {
		return
	}
	c := k.Cascade
	c.CouplingWK *= math.Pow(l.pot.MeltJPerK/k.Model.Pot.MeltJPerK, model.WettedPower)
	l.cascade.Recall(c)
}

// Recalled reports whether the loop goes by what was known before it was started, and
// that has not been found wrong.
func (l *Loop) Recalled() bool { return l.memory.recalled }

// Foresees reports whether the way to ready is told by an earlier heat-up of the pot.
func (l *Loop) Foresees() bool { return l.memory.recalled && l.model.Foresees() }

// compare drops what was known of the pot as soon as its readings speak for another
// one: they were awaited better by a filter that knew nothing (a likelihood ratio; added
// up as in Page, Biometrika 41 (1954) 100-115, from memory, so that an early agreement
// hides nothing), or the filter that knew doubts itself, or it has not been the better one
// all the way until the pot is held: it learns, and may hide so that it began with another
// pot. What was seen since the start is not lost: the other filter has seen it too.
func (l *Loop) compare() {
	m := &l.memory
	lead := l.model.Evidence() - m.beside.Evidence()
	m.lead, m.last = min(m.lead+lead-m.last, mostLead), lead
	switch {
	case m.lead < -decisive || l.model.Doubted() || m.heldS >= decidedS && lead < proven:
		l.model, m.beside, m.recalled = m.beside, nil, false
		l.cascade.Forget()
	case m.heldS >= decidedS:
		m.beside = nil
		l.model.Live()
	}
}

// restC is how much warmer than a held melt the plate has to be: by what is seen now, or
// by what the loop has found of the pot before, where that is more.
func (l *Loop) restC(seenC, targetC float64) float64 {
	if !l.memory.recalled {
		return seenC
	}
	return max(seenC, l.memory.share*l.model.RestAtC(targetC))
}

// keep takes down what the pot is, once it has been held long enough, and was understood
// on the way there.
func (l *Loop) keep(m *cascade.Measure, dt float64) {
	k := &l.memory
	if k.sealed || l.pot.Probes != reading.BothProbes || m.Upset || m.TargetC < hotC || math.Abs(m.TargetC-m.MeltC) > heldC {
		return
	}
	if k.heldS += dt; k.heldS < heldForS || !l.cascade.Found() {
		return
	}
	k.left = Known{
		PlateLimitC: l.pot.PlateLimitC, Model: l.model.Known(), Cascade: l.cascade.Known(),
		RestShare: l.share(m.TargetC),
	}
	k.leaves = k.left.Model.Whole && k.left.Fits(l.pot)
}

// share is the plate's resting excess over what the model makes of it: near one until
// the loop, which is slow at it, has had the time to find it.
func (l *Loop) share(targetC float64) float64 {
	found := l.cascade.Excess() / l.model.RestAtC(targetC)
	found = 1 + (found-1)*(1-math.Exp(-l.memory.heldS/restsInS))
	return min(max(found, leastShare), mostShare)
}

// doubt begins anew: nothing of a pot that is not understood is kept.
func (m *memory) doubt() {
	if !m.sealed {
		m.heldS, m.leaves = 0, false
	}
}

// Known returns what the pot is, and whether that is worth keeping: it was understood,
// and held, while all that had been typed was in it, or a trial has tuned it.
func (l *Loop) Known() (k Known, worth bool) {
	k = l.memory.left
	if !l.memory.leaves {
		k = Known{PlateLimitC: l.pot.PlateLimitC}
		k.Model.Pot = l.pot.model()
	}
	k.Tuning = l.cascade.Tuning()
	return k, l.memory.leaves || k.Tuning != nil
}

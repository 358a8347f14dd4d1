package guard

import "time"

// Condition is one finding in one cycle.
type Condition struct {
	Code Code
	// Pot is an index into the pots, or -1 for the bench.
	Pot      int
	Severity Severity
	// Active: the cause is there now. Latched: it tripped and waits for a reset.
	Active, Latched bool
}

// finding is the memory of one rule.
type finding struct {
	active  bool
	latched bool
	silent  bool          // it came of silence: nothing was heard, rather than something bad
	held    time.Duration // how long it has been active, draining slowly
}

// stops reports whether it takes heat away now, by its row.
func (f *finding) stops(r *Rule, from Action) bool {
	return (f.active || f.latched) && r.Action >= from
}

// cameOf takes in whether a cause that is there is silence. What has latched by a
// device's word stays that when its line dies later: no trip is hidden by the next.
func (f *finding) cameOf(there, silence bool) {
	if there {
		f.silent = silence && (f.silent || !f.latched)
	}
}

// note updates one finding. The time it has been active drains at a quarter of
// the speed at which it fills, so that a flapping cause can not put off a trip.
func (g *Guard) note(found []finding, c Code, active bool, elapsed time.Duration) {
	f, r := &found[c], &table[c]
	if active {
		// No more than it takes: an hour of it while heat is blocked must not
		// make one bad cycle in the next hour trip.
		f.held = min(f.held+elapsed, max(r.after, r.toldAfter()))
	} else {
		f.held = max(0, f.held-elapsed/4)
	}
	// What has tripped is active whenever its cause is there: a press right after a
	// short gap in it must not reset it.
	f.active = active && (f.latched || r.atOnce() || f.held >= r.after)
	if active && r.Clears == AtTheBench && f.held >= r.after && (g.state == Enabled || !r.onlyWithHeat) {
		g.fresh = g.fresh || !f.latched
		f.latched = true
	}
}

// Append adds every finding that is to be told to the list, trips first.
func (g *Guard) Append(list []Condition) []Condition {
	for severity := Trip + 1; severity > 0; severity-- {
		list = g.appendOf(list, -1, severity-1)
		for i := range g.pots {
			list = g.appendOf(list, i, severity-1)
		}
	}
	return list
}

// AppendFolded adds every finding that would be told, were it not what another one
// brings about: it is evaluated and acts, and calls nobody.
func (g *Guard) AppendFolded(list []Condition) []Condition {
	for pot := -1; pot < len(g.pots); pot++ {
		for c := range table {
			f, r := &g.found(pot)[c], &table[c]
			if r.ChildOf != 0 && g.due(f, r, pot) && g.hasParent(f, r, pot) {
				list = append(list, Condition{Code(c), pot, r.Severity, f.active, f.latched})
			}
		}
	}
	return list
}

func (g *Guard) appendOf(list []Condition, pot int, severity Severity) []Condition {
	for c := range table {
		if table[c].Severity == severity && g.told(Code(c), pot) {
			f := &g.found(pot)[c]
			list = append(list, Condition{Code(c), pot, severity, f.active, f.latched})
		}
	}
	return list
}

// found returns the findings of a pot, or of the bench for -1.
func (g *Guard) found(pot int) []finding {
	if pot < 0 {
		return g.bench
	}
	return g.pots[pot].found
}

// told reports whether a finding is listed: it is there, has been for long
// enough, is not awaited in this phase, and is not what another one brings about.
func (g *Guard) told(c Code, pot int) bool {
	f, r := &g.found(pot)[c], &table[c]
	return g.due(f, r, pot) && !g.hasParent(f, r, pot)
}

// due is told for a finding that stands alone.
func (g *Guard) due(f *finding, r *Rule, pot int) bool {
	if !f.latched && !(f.active && f.held >= r.toldAfter()) {
		return false
	}
	return pot < 0 || f.latched || g.pots[pot].phase&r.Quiet == 0
}

// hasParent reports whether a finding behind this one is there as well.
func (g *Guard) hasParent(f *finding, r *Rule, pot int) bool {
	for c := r.ChildOf; c != 0; c = table[c].ChildOf {
		if p := &g.bench[c]; (f.silent || r.Severity < Trip) && (p.active || p.latched) {
			return true
		}
		if pot < 0 {
			continue
		}
		// Silence hides nothing that a device has reported.
		if p := &g.pots[pot].found[c]; (f.silent || !p.silent) && (p.active || p.latched) {
			return true
		}
	}
	return false
}

package guard

// press is a person at the bench having pressed the enable button: with something
// latched it resets what has lost its cause; with nothing latched and nothing
// in the way it enables heat. It never does both at once, for the bench or for a
// pot: a press may only be meant to say "I am here", or for another pot.
func (g *Guard) press() {
	g.reset()
	switch {
	case g.state != Tripped && !g.allOff():
		g.state = Enabled
	case g.state == Tripped && !g.latchedOnBench():
		g.state = Blocked
	}
}

// reset lifts every latch whose cause is gone. A pot of which it lifts one waits for
// the next press.
func (g *Guard) reset() {
	lift(g.bench)
	for i := range g.pots {
		g.pots[i].waits = lift(g.pots[i].found)
	}
}

// lift reports whether there was anything to lift.
func lift(found []finding) (lifted bool) {
	for c := range found {
		if found[c].latched && !found[c].active {
			found[c].latched, found[c].held = false, 0
			lifted = true
		}
	}
	return lifted
}

// latchedOnBench reports whether anything that stops the whole bench is latched.
func (g *Guard) latchedOnBench() bool {
	return g.any(func(f *finding, r *Rule) bool { return f.latched && r.Action == AllOff })
}

// allOff reports whether anything active or latched keeps the whole bench cold.
func (g *Guard) allOff() bool {
	return g.any(func(f *finding, r *Rule) bool { return f.stops(r, AllOff) })
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

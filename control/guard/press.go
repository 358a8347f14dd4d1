package guard

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
	lift(g.bench)
	for i := range g.pots {
		lift(g.pots[i].found)
	}
}

func lift(found []finding) {
	for c := range found {
		if found[c].latched && !found[c].active {
			found[c].latched, found[c].held = false, 0
		}
	}
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

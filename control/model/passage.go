package model

// The coupling of vessel and melt changes with every stir, and where it ends and the
// contact begins is hard to see. What both together let pass in the mean of a heat-up is
// not, and it is what decides how long one takes.

// passage adds up how a melt rose while it was as thin as it gets, or as thick.
type passage struct {
	riseC float64 // by how much, in kelvin
	gapKs float64 // over what gap to the plate, in kelvin seconds
	// wallKs and meltKs are with what drives to the room, in kelvin seconds.
	wallKs, meltKs float64
}

const (
	warmedC  = 45.0 // E: by then the vessel is warmed through
	passageC = 12.0 // E: a rise that says something
	// leastGel and mostGel are what is believed of what the thickening leaves (E): above
	// it there was none, as in a melt that had been cured before.
	leastGel, mostGel = 0.1, 0.95
	// mostOfGap is how much of the gap the vessel's contact can take (E).
	mostOfGap = 0.7
)

// follow adds a cycle to the passage that the melt is in.
func (f *Filter) follow(dt float64) {
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	wallX, _ := b.excess(f.x[wall])
	meltX, _ := b.excess(f.x[melt])
	gap := f.x[plate] - f.x[melt]
	f.hot.add(f.x[melt], gap, meltX, dt)
	p := f.passage()
	if p == nil || gap < showsC || f.trust.doubted {
		return
	}
	flow := b.flows(&f.x)
	p.riseC += (flow.over - flow.meltLoss) / b.meltJK * dt
	p.gapKs += gap * dt
	p.wallKs += wallX * dt
	p.meltKs += meltX * dt
}

func (f *Filter) passage() *passage {
	switch c := f.x[melt]; {
	case c >= warmedC && c < gelC:
		return &f.thin
	case c >= thickC && c < looseC:
		return &f.thick
	case c >= thinC:
		return &f.late
	}
	return nil
}

// and is two passages together.
func (p passage) and(q passage) passage {
	return passage{p.riseC + q.riseC, p.gapKs + q.gapKs, p.wallKs + q.wallKs, p.meltKs + q.meltKs}
}

// heat is what passed the contact, and what of it passed the coupling, in joules, with
// what a pot holds and loses.
func (p *passage) heat(b *body) (in, over float64) {
	over = b.meltJK*p.riseC + b.meltLossWK*p.meltKs
	return over + b.wallJK*p.riseC + b.wallLossWK*p.wallKs, over
}

// contactWK is the least that the contact can have been; zero where nothing passed.
func (p *passage) contactWK(b *body) float64 {
	if p.gapKs <= 0 {
		return 0
	}
	in, _ := p.heat(b)
	return in / (mostOfGap * p.gapKs)
}

// couplingWK is what the coupling was, beside a contact; zero where that can not be told.
func (p *passage) couplingWK(b *body) float64 {
	in, over := p.heat(b)
	left := p.gapKs - in/b.contactWK // over the coupling
	if p.riseC <= 0 || left <= 0 {
		return 0
	}
	return over / left
}

// whole makes contact and coupling such that both together are what the passages showed.
func (f *Filter) whole(k *Known) {
	k.CouplingWK.Value, k.GelShare = f.thinWK, f.gelShare
	thin := f.thin.and(f.late)
	if thin.riseC < passageC {
		return
	}
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	b.contactWK = max(b.contactWK, thin.contactWK(&b))
	k.ContactWK.Value, k.CouplingWK.Value, k.Whole = b.contactWK, thin.couplingWK(&b), true
	if f.thick.riseC < passageC {
		return
	}
	share := f.thick.couplingWK(&b) / k.CouplingWK.Value
	if share > 0 && share < mostGel {
		k.GelShare = max(share, leastGel)
	}
}

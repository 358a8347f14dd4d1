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
	p := f.passage()
	gap := f.x[plate] - f.x[melt]
	if p == nil || gap < showsC || f.trust.doubted {
		return
	}
	b := unpack(&f.x, f.pot.HeaterW, f.roomC)
	flow := b.flows(&f.x)
	wallX, _ := b.excess(f.x[wall])
	meltX, _ := b.excess(f.x[melt])
	p.riseC += (flow.over - flow.meltLoss) / b.meltJK * dt
	p.gapKs += gap * dt
	p.wallKs += wallX * dt
	p.meltKs += meltX * dt
}

func (f *Filter) passage() *passage {
	switch c := f.x[melt]; {
	case c >= warmedC && c < gelC || c >= thinC:
		return &f.thin
	case c >= thickC && c < looseC:
		return &f.thick
	}
	return nil
}

// heat is what passed the contact, and what of it passed the coupling, in joules, with
// what a pot holds and loses.
func (p *passage) heat(k *Known) (in, over float64) {
	over = k.MeltJPerK.Value*p.riseC + (1-wallLossShare)*k.MeltLossWK.Value*p.meltKs
	return over + wallShare*k.MeltJPerK.Value*p.riseC + wallLossShare*k.MeltLossWK.Value*p.wallKs, over
}

// couplingWK is what the coupling was, beside a contact; zero where that can not be told.
func (p *passage) couplingWK(k *Known) float64 {
	in, over := p.heat(k)
	left := p.gapKs - in/k.ContactWK.Value // over the coupling
	if p.riseC < passageC || left <= 0 {
		return 0
	}
	return over / left
}

// whole makes contact and coupling such that both together are what the passages showed.
func (f *Filter) whole(k *Known) {
	k.CouplingWK.Value, k.GelShare = f.thinWK, f.gelShare
	if f.thin.riseC < passageC {
		return
	}
	in, _ := f.thin.heat(k)
	k.ContactWK.Value = max(k.ContactWK.Value, in/(mostOfGap*f.thin.gapKs))
	k.CouplingWK.Value, k.Whole = f.thin.couplingWK(k), true
	share := f.thick.couplingWK(k) / k.CouplingWK.Value
	if share > 0 && share < mostGel {
		k.GelShare = max(share, leastGel)
	}
}

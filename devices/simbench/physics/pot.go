package physics

import "math"

// Pot is a vessel of melt on its hot plate. It is not safe for concurrent use.
type Pot struct {
	spec PotSpec

	element, plate, wall, melt body
	meltKG                     float64
	hottestC                   float64 // the hottest the melt has ever been
	clearing                   float64 // 1 is clear
	lifted                     bool
	stirredS                   float64 // seconds since the last stir
	ledger                     Ledger
}

// Ledger is where the heat went, in joules since the pot was made. What is
// stored is counted from 0 °C; StoredJ has grown by exactly
// InJ + AddedJ − LostJ, up to rounding.
type Ledger struct {
	InJ     float64 // by the element
	AddedJ  float64 // brought in by cold additions
	LostJ   float64 // to the room
	FusedJ  float64 // taken up by fusing; part of what is stored
	StoredJ float64
}

// NewPot returns a pot of raw, unstirred plastisol, all of it at roomC.
func NewPot(s PotSpec, roomC float64) *Pot {
	kg := s.VolumeML / 1000 * DensityKGL
	return &Pot{
		spec:     s,
		element:  body{c: roomC, capacity: s.ElementJK},
		plate:    body{c: roomC, capacity: s.PlateJK},
		wall:     body{c: roomC, capacity: s.WallJK},
		melt:     body{c: roomC, capacity: kg * s.MeltJKgK},
		meltKG:   kg,
		hottestC: roomC,
		stirredS: math.Inf(1),
	}
}

// Step lets one Step of time pass with the element drawing powerW watts.
func (p *Pot) Step(powerW float64, air Air) {
	p.element.w += powerW
	p.ledger.InJ += powerW * stepS
	exchange(&p.element, &p.plate, p.spec.ElementPlateWK)
	exchange(&p.wall, &p.melt, p.couplingWK())
	p.lose(&p.plate, p.spec.plateSurface(), air)
	p.lose(&p.wall, p.spec.wallSurface(), air)
	p.lose(&p.melt, p.spec.meltSurface(), air)
	if p.lifted {
		p.lose(&p.plate, p.spec.coveredSurface(), air)
		p.lose(&p.wall, p.spec.bottomSurface(), air)
	} else {
		exchange(&p.plate, &p.wall, p.spec.PlateWallWK)
	}
	p.fuse()
	for _, b := range p.bodies() {
		b.settle()
	}
	p.hottestC = max(p.hottestC, p.melt.c)
	p.clearing += stepS / p.spec.ClearAfter.Seconds() * clearingRate(p.melt.c)
	p.stirredS += stepS
}

func (p *Pot) bodies() [4]*body {
	return [...]*body{&p.element, &p.plate, &p.wall, &p.melt}
}

func (p *Pot) lose(b *body, s surface, air Air) {
	w := air.lossW(s, b.c)
	b.w -= w
	p.ledger.LostJ += w * stepS
}

// Stir stirs the melt.
func (p *Pot) Stir() { p.stirredS = 0 }

// Lift takes the pot off its plate.
func (p *Pot) Lift() { p.lifted = true }

// Return puts the pot back on its plate.
func (p *Pot) Return() { p.lifted = false }

// Add mixes in cold liquid of the melt's own density and specific heat.
// volumeML must not be negative.
func (p *Pot) Add(volumeML, atC float64) {
	kg := volumeML / 1000 * DensityKGL
	capacity := kg * p.spec.MeltJKgK
	p.ledger.AddedJ += capacity * atC
	whole := p.melt.capacity + capacity
	p.melt.c = (p.melt.storedJ() + capacity*atC) / whole
	p.melt.capacity = whole
	p.meltKG += kg
}

// MeltC is the melt's true mean temperature in degrees Celsius.
func (p *Pot) MeltC() float64 { return p.melt.c }

// PlateC is the plate's true temperature in degrees Celsius.
func (p *Pot) PlateC() float64 { return p.plate.c }

// WallC is the vessel's true temperature in degrees Celsius.
func (p *Pot) WallC() float64 { return p.wall.c }

// ElementC is the heating element's true temperature in degrees Celsius.
func (p *Pot) ElementC() float64 { return p.element.c }

// Lifted reports whether the pot is off its plate.
func (p *Pot) Lifted() bool { return p.lifted }

// Clear reports whether the melt has truly fused to a clear liquid.
func (p *Pot) Clear() bool { return p.clearing >= 1 }

// Ledger returns where the heat went so far.
func (p *Pot) Ledger() Ledger {
	l := p.ledger
	l.StoredJ = l.FusedJ
	for _, b := range p.bodies() {
		l.StoredJ += b.storedJ()
	}
	return l
}

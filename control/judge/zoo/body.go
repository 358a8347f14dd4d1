package zoo

import "math"

// StepS is the time of one step in seconds. It is a fiftieth or less of the fastest
// time constant in a pot; TestLinearPot (limit) says what that costs.
const StepS = 0.05

// The lumps of a pot. Those that a pot does not have are never coupled.
const (
	element = iota
	plate
	rim
	bath
	wall
	melt
	layer
	lumps
)

const (
	kelvin          = 273.15
	stefanBoltzmann = 5.670374419e-8 // W/(m² K⁴), CODATA 2018
	stirRiseS       = 2.0            // a hand has the whole pot moving by then (E)
)

// built is what follows from a Spec and never changes.
type built struct {
	spec                                   *Spec
	watts                                  float64
	bottomM2, sideM2                       float64
	elementWK, rimWK, contactWK, bathWK    float64
	room4                                  float64 // the room's absolute temperature to the fourth
	stirRise, stirFall                     float64 // share of a step
	stirEvery, stirFor                     int     // steps
	meltProbeA, meltProbeB, plateA, plateB float64 // likewise, of the probes' lags
}

// Body is a pot's heat: what is true, whoever looks. The zero value is no pot.
type Body struct {
	of     *built
	c      [lumps]float64 // degrees Celsius
	jk     [lumps]float64 // J/K; zero where the pot has no such lump
	per    [lumps]float64 // kelvin per watt and step
	grams  float64        // of melt and layer
	fill   float64        // share of the wetted side
	raw    float64        // share of the melt that has not fused
	hotC   float64        // the hottest the melt has been since it was raw
	stir   float64        // 0 still, 1 stirred
	steps  int
	handTo int  // the step until which a hand stirs, whatever its habit
	habit  bool // the hand stirs by habit
	lifted bool
	air    float64 // convection now, W/(m² K)
	mains  float64 // voltage over nominal
	open   float64 // share of the melt's surface that no lid covers
	ledger Ledger
}

// Ledger is where the heat went since the pot was made, in joules: stored has
// grown by In + Added − Lost − Fused, up to rounding. StoredJ counts from 0 °C.
type Ledger struct{ InJ, AddedJ, LostJ, FusedJ, StoredJ float64 }

// Start is how a pot begins: at the room's temperature where a figure is zero.
type Start struct {
	MeltC, PlateC float64
	Cured         bool // it has fused before: no thickening, no fusing heat
}

func newBody(s *Spec, start Start) Body {
	b := Body{of: build(s), grams: s.VolumeML * s.GramsML, fill: 1, raw: 1, habit: true, air: s.ConvectionWK, mains: 1, open: 1}
	b.jk[element] = s.ElementJKW * s.RatedW
	b.jk[plate] = s.PlateJKW * s.RatedW * (1 - s.Rim.Share)
	b.jk[rim] = s.PlateJKW * s.RatedW * s.Rim.Share
	b.jk[bath], b.jk[wall] = s.Bath.JK, s.WallJK()
	b.jk[melt] = s.MeltJK() * (1 - s.Layer.Share)
	b.jk[layer] = s.MeltJK() * s.Layer.Share
	b.weigh()
	if start.MeltC == 0 {
		start.MeltC = s.RoomC
	}
	if start.PlateC == 0 {
		start.PlateC = s.RoomC
	}
	if start.Cured {
		b.raw = 0
	}
	for i := range b.c {
		b.c[i] = start.MeltC
	}
	b.c[element], b.c[plate], b.c[rim], b.c[bath] = start.PlateC, start.PlateC, start.PlateC, start.PlateC
	b.hotC = start.MeltC
	return b
}

func build(s *Spec) *built {
	k := &built{
		spec: s, watts: s.TrueW(), bottomM2: s.bottomM2(), sideM2: s.sideM2(),
		elementWK: s.ElementWKW * s.RatedW, contactWK: s.ContactWK(),
		room4: pow4(s.RoomC + kelvin), stirRise: follow(stirRiseS), stirFall: follow(s.FadeS),
		meltProbeA: follow(s.MeltProbe.LagS), meltProbeB: follow(s.MeltProbe.SecondS),
		plateA: follow(s.PlateProbe.LagS), plateB: follow(s.PlateProbe.SecondS),
	}
	k.stirEvery, k.stirFor = int(math.Round(s.Stir.EveryS/StepS)), int(math.Round(s.Stir.ForS/StepS))
	if s.Rim.Share > 0 {
		k.rimWK = s.Rim.WK
	}
	if s.Bath.JK > 0 {
		k.bathWK = s.Bath.WK
	}
	return k
}

// follow is the share of the way to its input that a first-order lag goes in a step.
func follow(lagS float64) float64 {
	if lagS <= 0 {
		return 1
	}
	return -math.Expm1(-StepS / lagS)
}

// weigh follows a change of heat capacities.
func (b *Body) weigh() {
	for i, jk := range b.jk {
		b.per[i] = 0
		if jk > 0 {
			b.per[i] = StepS / jk
		}
	}
}

// step lets StepS pass with a duty, 0 to 1 (explicit Euler).
func (b *Body) step(duty float64) {
	k := b.of
	b.moveHand()
	in := duty * k.watts * b.mains * b.mains
	b.ledger.InJ += in * StepS
	var w [lumps]float64

	flow := k.elementWK * (b.c[element] - b.c[plate])
	w[element] = in - flow
	w[plate] = flow
	if k.rimWK > 0 {
		b.flow(&w, plate, rim, k.rimWK)
	}
	b.heatVessel(&w)
	b.flow(&w, wall, melt, b.couplingWK())
	if b.jk[layer] > 0 {
		b.flow(&w, melt, layer, k.spec.Layer.WK*(1+(k.spec.Layer.Stirred-1)*b.stir))
	}
	b.lose(&w)
	b.fuse(&w)
	for i := range b.c {
		b.c[i] += w[i] * b.per[i]
	}
	b.hotC = max(b.hotC, b.c[melt])
	b.steps++
}

func (b *Body) flow(w *[lumps]float64, from, to int, wk float64) {
	f := wk * (b.c[from] - b.c[to])
	w[from] -= f
	w[to] += f
}

// heatVessel is what reaches the vessel from under it.
func (b *Body) heatVessel(w *[lumps]float64) {
	under := plate
	if b.of.bathWK > 0 {
		under = bath
		b.flow(w, plate, bath, b.of.bathWK)
	}
	if !b.lifted {
		b.flow(w, under, wall, b.of.contactWK)
	}
}

// couplingWK is the conductance of vessel and melt now.
func (b *Body) couplingWK() float64 {
	s := b.of.spec
	thin := 1.0
	if b.raw > 0 {
		thin = 1 - b.raw*(1-s.Gel.thinness(b.hotC))
	}
	return s.StirredWK * (b.of.bottomM2 + b.of.sideM2*b.fill) * (s.Still + (1-s.Still)*b.stir) * thin
}

// lose is what the room gets: Newton's law of cooling and the Stefan-Boltzmann law
// of a small grey body in a large room (any handbook of heat transfer). The layer
// loses nothing of its own, so that at rest it is as warm as the melt that is
// seen: how far off it stays could be known to nobody.
func (b *Body) lose(w *[lumps]float64) {
	k, s := b.of, b.of.spec
	plateM2, wallM2 := s.PlateAreaM2, 1.25*k.sideM2
	if b.lifted {
		plateM2, wallM2 = plateM2+k.bottomM2, wallM2+k.bottomM2
	}
	hot := plate
	if b.jk[rim] > 0 {
		hot = rim // the outside of the plate
	}
	lost := b.lossW(w, hot, plateM2, s.PlateGrey) + b.lossW(w, wall, wallM2, s.VesselGrey) +
		b.lossW(w, melt, b.open*k.bottomM2, s.MeltGrey)
	b.ledger.LostJ += lost * StepS
}

func (b *Body) lossW(w *[lumps]float64, i int, areaM2, grey float64) float64 {
	f := areaM2 * (b.air*(b.c[i]-b.of.spec.RoomC) + grey*stefanBoltzmann*(pow4(b.c[i]+kelvin)-b.of.room4))
	w[i] -= f
	return f
}

func pow4(x float64) float64 { return x * x * x * x }

// fuse sets aside what fuses raw paste instead of warming it, evenly from the
// first gel to the thin liquid, as the melt that is stirred passes through it.
func (b *Body) fuse(w *[lumps]float64) {
	g := b.of.spec.Gel
	if b.raw <= 0 || w[melt] <= 0 || b.c[melt] < b.hotC || b.c[melt] < g.FromC || b.c[melt] >= g.ThinC {
		return
	}
	extra := b.raw * b.grams * b.of.spec.FusingJG / (g.ThinC - g.FromC) // J/K
	f := w[melt] * extra / (extra + b.jk[melt])
	w[melt] -= f
	b.ledger.FusedJ += f * StepS
}

// moveHand lets the hand stir, or the melt come to rest.
func (b *Body) moveHand() {
	if b.Stirring() {
		b.stir += (1 - b.stir) * b.of.stirRise
		return
	}
	b.stir -= b.stir * b.of.stirFall
}

// Stirring reports whether a hand is stirring.
func (b *Body) Stirring() bool {
	k := b.of
	byHabit := b.habit && !b.lifted && k.stirEvery > 0 && b.steps%k.stirEvery < k.stirFor
	return byHabit || b.steps < b.handTo
}

// BulkC is the mean of all the melt, layer included, in degrees Celsius.
func (b *Body) BulkC() float64 {
	if b.jk[layer] == 0 {
		return b.c[melt]
	}
	return (b.jk[melt]*b.c[melt] + b.jk[layer]*b.c[layer]) / (b.jk[melt] + b.jk[layer])
}

// TopC is what must not go over: the melt that takes the heat or the bulk, whichever
// is hotter. A layer takes its heat from the melt and is never hotter than that was.
func (b *Body) TopC() float64 {
	if b.jk[layer] > 0 {
		return max(b.c[melt], b.BulkC())
	}
	return b.c[melt]
}

// MeltC is the melt that is stirred, as its probe would see it.
func (b *Body) MeltC() float64 { return b.c[melt] }

// LayerC is the unstirred layer's temperature, or the melt's where there is none.
func (b *Body) LayerC() float64 {
	if b.jk[layer] > 0 {
		return b.c[layer]
	}
	return b.c[melt]
}

// PlateC and ElementC are those lumps' temperatures.
func (b *Body) PlateC() float64   { return b.c[plate] }
func (b *Body) ElementC() float64 { return b.c[element] }

// UnderC is the hottest of what can still give the melt heat with the power off.
func (b *Body) UnderC() float64 {
	hot := max(b.c[element], b.c[plate], b.c[wall])
	if b.jk[rim] > 0 {
		hot = max(hot, b.c[rim])
	}
	if b.jk[bath] > 0 {
		hot = max(hot, b.c[bath])
	}
	return hot
}

// Lifted reports whether the pot is off its plate.
func (b *Body) Lifted() bool { return b.lifted }

// Ledger returns where the heat went so far.
func (b *Body) Ledger() Ledger {
	l := b.ledger
	for i := range b.c {
		l.StoredJ += b.jk[i] * b.c[i]
	}
	return l
}

// HabitS is after how many seconds the hand stirs again by habit; zero: never.
func (b *Body) HabitS() float64 {
	if !b.habit {
		return 0
	}
	return b.of.spec.Stir.EveryS
}

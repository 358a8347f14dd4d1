package zoo

import "math"

// Kind is what can happen to a pot.
type Kind uint8

// What happens, and what Amount means.
const (
	Colour  Kind = iota // Amount mL of colour at room temperature, stirred in
	Salt                // Amount grams of salt at room temperature, stirred in
	Refill              // Amount share of the first volume in raw paste at room temperature, stirred in
	Draw                // Amount share of what is there is drawn
	Lift                // the pot is taken off its plate
	Return              // and put back
	StirOff             // the hand leaves off its habit
	StirOn              // and takes it up again
	Draught             // Amount W/(m² K) on top of the room's convection
	Mains               // the voltage is Amount of nominal
	Lid                 // Amount share of the melt's surface is open from now on
)

// Event is one thing that happens, AtS seconds after its phase began.
type Event struct {
	AtS    float64
	Kind   Kind
	Amount float64
	Told   bool // the controller hears of it, as a mark,
	// Measured says that it hears of how much that was, too.
	Measured bool
}

const (
	saltJGK  = 0.86 // sodium chloride near room temperature, J/(g K), handbook, from memory
	mixedInS = 15.0 // a hand stirs for so long after an addition (C)
)

// Happen makes it so. Colour is taken as fused: its own fusing heat is a hundredth
// of what warming it takes.
func (b *Body) Happen(e Event) {
	s := b.of.spec
	switch e.Kind {
	case Colour:
		b.add(e.Amount*s.GramsML, e.Amount*s.GramsML*s.MeltJGK)
	case Salt:
		b.add(e.Amount, e.Amount*saltJGK)
	case Refill:
		b.refill(e.Amount)
	case Draw:
		b.draw(e.Amount)
	case Lift, Return:
		b.lifted = e.Kind == Lift
	case StirOff, StirOn:
		b.habit = e.Kind == StirOn
	case Draught:
		b.air = s.ConvectionWK + e.Amount
	case Mains:
		b.mains = e.Amount
	case Lid:
		b.open = e.Amount
	}
}

// add mixes something at room temperature into the melt that is stirred.
func (b *Body) add(grams, jk float64) {
	roomC := b.of.spec.RoomC
	b.ledger.AddedJ += jk * roomC
	b.c[melt] = (b.jk[melt]*b.c[melt] + jk*roomC) / (b.jk[melt] + jk)
	b.jk[melt] += jk
	b.grams += grams
	b.handTo = b.steps + int(math.Round(mixedInS/StepS))
	b.weigh()
}

// refill adds raw paste. The mixture thickens as far as it is raw.
func (b *Body) refill(share float64) {
	s := b.of.spec
	grams, before := share*s.VolumeML*s.GramsML, b.grams
	b.add(grams, grams*s.MeltJGK)
	b.raw = (b.raw*before + grams) / b.grams
	b.hotC = b.c[melt]
	b.fill += share
}

// draw takes a share of melt and layer alike.
func (b *Body) draw(share float64) {
	b.ledger.AddedJ -= share * (b.jk[melt]*b.c[melt] + b.jk[layer]*b.c[layer])
	b.jk[melt] *= 1 - share
	b.jk[layer] *= 1 - share
	b.grams *= 1 - share
	b.fill *= 1 - share
	b.weigh()
}

// Upset is something that happens to a held pot, or to one before it is heated.
type Upset struct {
	Name   string
	Events []Event
}

// Upsets are what a held pot must come through.
func Upsets() []Upset {
	return []Upset{
		{"20 mL cold, told", []Event{{Kind: Colour, Amount: 20, Told: true}}},
		{"20 mL cold, with its mL", []Event{{Kind: Colour, Amount: 20, Told: true, Measured: true}}},
		{"20 mL cold, untold", []Event{{Kind: Colour, Amount: 20}}},
		{"60 g salt, told", []Event{{Kind: Salt, Amount: 60, Told: true}}},
		{"half drawn", []Event{{Kind: Draw, Amount: 0.5, Told: true}}},
		{"half drawn, refilled", []Event{{Kind: Draw, Amount: 0.5, Told: true}, {AtS: 30, Kind: Refill, Amount: 0.5, Told: true}}},
		{"lifted 60 s", []Event{{Kind: Lift, Told: true}, {AtS: 60, Kind: Return, Told: true}}},
		{"stirring left off", []Event{{Kind: StirOff}}},
		{"stirring taken up", []Event{{Kind: StirOn}}},
		{"draught", []Event{{Kind: Draught, Amount: 6}}},
		{"mains -10 %", []Event{{Kind: Mains, Amount: 0.9}}},
	}
}

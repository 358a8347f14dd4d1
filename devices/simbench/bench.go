// Package simbench is a bench without a shop: pots of hot liquid vinyl, their
// heaters, probes, contacts and a maker, behind a Modbus RTU server of three
// units, so that everything from the serial port upward runs as it does on real
// hardware. What a daemon may know of the bench goes over the line; what the
// bench really is (Truth, the upsets and the faults) is for those who judge.
//
// Bench time is the clock's. The bench catches up with it, in steps of
// physics.Step, whenever it is asked for anything, so that the same seed and the
// same requests at the same times give the same bench to the last bit.
//
// All names, powers and volumes of a simulated bench are invented.
package simbench

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"meltwarden/devices/clock"
	"meltwarden/devices/simbench/physics"
)

// Pot is one pot as its maker would describe it.
type Pot struct {
	Name     string
	VolumeML float64 // liquid vinyl, millilitres
	HeaterW  float64 // rated power, watts
	Plate    physics.PlateKind
}

// Config is what a bench is made from.
type Config struct {
	// Pots are 1 to MaxPots pots with distinct names.
	Pots []Pot
	// Seed draws everything that a maker would not know: two benches of one
	// seed are alike, benches of different seeds are not.
	Seed uint64
	// Evening is which evening it is on the bench of a seed, from zero: the pots are the
	// same, and what nobody does twice alike is drawn anew.
	Evening uint64
	// Maker puts a simulated person at the bench, who presses the enable button,
	// stirs and looks.
	Maker bool
	// Baud, when above zero, makes every byte on the line take its 11 bits of
	// bench time.
	Baud int
	// Controllers gives every pot a controller of its own that holds its plate, in the place
	// of a duty; the power unit is left with the contactor.
	Controllers bool
}

// MaxPots is how many pots one bench has at most: all channels of the
// thermocouple unit, with their status, still fit one read request.
const MaxPots = 16

// conversionSteps is how often the thermocouple module converts: 8 times a second.
const conversionSteps = 5

// cutOutC is where the hardware cut-out opens, at the plate.
const cutOutC = 280

// The streams of random numbers, one for each purpose, so that using one more
// number somewhere does not change what is drawn elsewhere.
const (
	streamRoom = iota + 1
	streamMains
	streamMaker
	streamLine
	streamMould
	streamAmbient
	streamPots // and three for each pot from here on
)

// streamsAnEvening is more than any evening needs.
const streamsAnEvening = 1000

// Bench is a simulated bench. It is safe for use by several goroutines.
type Bench struct {
	config Config
	clk    *clock.Clock

	mu       sync.Mutex
	at       time.Duration // bench time the physics has reached
	steps    uint64
	roomC    float64
	draught  bool
	mains    *physics.Mains
	pots     []*pot
	mould    *channel
	room     *channel
	power    *power
	contacts contacts
	faults   faultSet
	line     *rand.Rand
	maker    *maker
	marks    Marks
	pending  []mark
}

// pot is one pot with its two probes as the thermocouple module has them.
type pot struct {
	laid        bool // the melt probe lies on the plate
	spec        physics.PotSpec
	heat        *physics.Pot
	melt, plate *channel
	controller  *controller // nil where there is none
}

// New returns a bench that has stood cold since yesterday. Its time is the
// clock's.
func New(c Config, clk *clock.Clock) (*Bench, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	source := func(stream uint64) *rand.Rand {
		return rand.New(rand.NewPCG(c.Seed, stream+streamsAnEvening*c.Evening))
	}
	roomC := 17 + 10*source(streamRoom).Float64()
	loose := physics.ProbeSpec{Lag: 5 * time.Second, AirLag: 50 * time.Second}
	b := &Bench{
		config: c, clk: clk, at: clk.Now(), roomC: roomC,
		mains:    physics.NewMains(source(streamMains)),
		mould:    newChannel(loose, roomC, source(streamMould)),
		room:     newChannel(loose, roomC, source(streamAmbient)),
		power:    newPower(len(c.Pots)),
		contacts: contacts{cutOut: true},
		faults:   faultSet{},
		line:     source(streamLine),
	}
	for i, p := range c.Pots {
		stream := uint64(streamPots + 3*i)
		spec := physics.Sample(physics.Nominal(p.VolumeML, p.HeaterW, p.Plate), rand.New(rand.NewPCG(c.Seed, stream)))
		if c.Evening > 0 {
			spec = physics.Another(spec, source(stream))
		}
		b.pots = append(b.pots, &pot{
			spec:  spec,
			heat:  physics.NewPot(spec, roomC),
			melt:  newChannel(spec.MeltProbe, roomC, source(stream+1)),
			plate: newChannel(spec.PlateProbe, roomC, source(stream+2)),
		})
		if c.Controllers {
			b.pots[i].controller = newController(roomC, source(streamsAnEvening-uint64(i)-1))
		}
	}
	if c.Maker {
		b.maker = newMaker(len(c.Pots), source(streamMaker))
	}
	b.convert()
	return b, nil
}

func (c Config) check() error {
	if len(c.Pots) == 0 || len(c.Pots) > MaxPots {
		return fmt.Errorf("simulated bench: %d pots, want 1 to %d", len(c.Pots), MaxPots)
	}
	names := map[string]bool{}
	for _, p := range c.Pots {
		if !(p.VolumeML > 0) || !(p.HeaterW > 0) {
			return fmt.Errorf("simulated bench: pot %q needs a volume and a heater above zero", p.Name)
		}
		if names[p.Name] {
			return fmt.Errorf("simulated bench: two pots are named %q", p.Name)
		}
		names[p.Name] = true
	}
	return nil
}

// do runs f at the bench's present, then passes on what the maker said
// meanwhile, without holding the bench.
func (b *Bench) do(f func()) {
	b.mu.Lock()
	for now := b.clk.Now(); b.at+physics.Step <= now; {
		b.step()
	}
	f()
	said, marks := b.pending, b.marks
	b.pending = nil
	b.mu.Unlock()
	if marks == nil {
		return
	}
	for _, m := range said {
		m.tell(marks)
	}
}

// step lets one physics.Step of bench time pass.
func (b *Bench) step() {
	b.at += physics.Step
	b.steps++
	if b.maker != nil {
		b.pending = append(b.pending, b.maker.step(b)...)
	}
	b.power.expire(b.at)
	b.mains.Step()
	b.tripCutOut()
	air := b.air()
	for i, p := range b.pots {
		p.heat.Step(b.heaterW(i), air)
		p.melt.probe.Step(p.atMeltProbeC(), b.roomC)
		p.plate.probe.Step(p.heat.PlateC(), b.roomC)
		if p.controller != nil {
			p.controller.step(p.heat.PlateC(), b.roomC)
		}
	}
	b.mould.probe.Step(b.roomC, b.roomC)
	b.room.probe.Step(b.roomC, b.roomC)
	if b.steps%conversionSteps == 0 {
		b.convert()
	}
}

func (b *Bench) air() physics.Air {
	air := physics.Air{C: b.roomC}
	if b.draught {
		air.DraughtWM2K = 7 // an open door; estimate
	}
	return air
}

// heaterW is what a heater draws now. A welded relay gets past no contactor.
func (b *Bench) heaterW(i int) float64 {
	live := b.contactorClosed() || b.faults.has(HeaterBypasses, Place{Pot: i})
	if !live || b.faults.has(HeaterFailed, Place{Pot: i}) {
		return 0
	}
	duty := float64(b.power.duty[i]) / fullDuty
	if k := b.pots[i].controller; k != nil {
		duty = k.draws()
	}
	if b.faults.has(RelayWelded, Place{Pot: i}) {
		duty = 1
	}
	p := b.pots[i].spec
	return p.HeaterW * p.HeaterGain * b.mains.Power() * duty
}

// contactorClosed reports whether the contactor carries the mains. Its coil,
// emergency stop and cut-out are in series, in hardware.
func (b *Bench) contactorClosed() bool {
	return b.faults.has(ContactorWelded, Place{}) || b.power.contactor && b.eStopClosed() && b.contacts.cutOut
}

func (b *Bench) eStopClosed() bool { return !b.faults.has(EStopOpened, Place{}) }

// tripCutOut opens the cut-out where a plate is too hot. It stays open until it
// is reset by hand.
func (b *Bench) tripCutOut() {
	for _, p := range b.pots {
		if p.heat.PlateC() >= cutOutC {
			b.contacts.cutOut = false
		}
	}
}

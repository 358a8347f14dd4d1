package control_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
)

const period = 200 * time.Millisecond

// demoSettings are an invented bench and recipe of three pots.
func demoSettings() control.Settings {
	s := control.Settings{
		Period:  period,
		Circuit: circuit.Rating{MaxW: 2400, ContinuousW: 1920},
		Limits: guard.Limits{
			MeltWarnC: 178, MeltTripC: 190, PlateTripC: 250,
			EStop: true, CutOut: true, Fan: true, HeatersProven: true,
		},
	}
	for _, p := range []struct {
		name, colour        string
		watts, ml, setpoint float64
	}{{"left", "demo one", 1000, 260, 166}, {"middle", "demo two", 1000, 220, 168}, {"right", "demo three", 800, 180, 164}} {
		s.Pots = append(s.Pots, control.PotSettings{
			Name: p.name, Colour: p.colour, HeaterW: p.watts, VolumeML: p.ml,
			SetpointC: p.setpoint, BandC: 2, CureC: 172, Dwell: 90 * time.Second,
			SteadyFor: 20 * time.Second, StirWithin: 2 * time.Minute, PlateLimitC: 230,
		})
	}
	return s
}

func good(c float64) reading.Temperature {
	return reading.Temperature{C: c, Age: 10 * time.Millisecond, Fault: reading.None}
}

func contact(closed bool) reading.Contact {
	return reading.Contact{Closed: closed, Fault: reading.None}
}

func healthy(enable bool) control.Contacts {
	return control.Contacts{
		EStop: contact(true), CutOut: contact(true), Fan: contact(true), Link: contact(true),
		Pedal: contact(false), Enable: contact(enable),
	}
}

// body is one pot in truth: a plate and a melt, two lumped bodies over a room.
type body struct{ plateJPerK, meltJPerK, coupling, plateWPerK, meltWPerK, plate, melt float64 }

func (b *body) step(watts float64) {
	const h = 0.02
	for range 10 {
		flow := b.coupling * (b.plate - b.melt)
		b.plate += h / b.plateJPerK * (watts - flow - b.plateWPerK*(b.plate-21))
		b.melt += h / b.meltJPerK * (flow - b.meltWPerK*(b.melt-21))
	}
}

// rig is a bench on bodies of its own; script may change each cycle's input
// before the step.
type rig struct {
	settings control.Settings
	bench    *control.Bench
	in       control.Input
	f        control.Frame
	bodies   []body
	welded   bool // the first pot's relay: only the contactor ends its heat
	noise    *rand.Rand
	cycle    int
	script   func(*control.Input)
	seen     func(*control.Frame) // done with every frame while it is not nil
	saved    []control.Input      // every input, where keep is set
	keep     bool
}

func newRig(s control.Settings, startC float64) *rig {
	r := &rig{settings: s, bench: control.NewBench(s), noise: rand.New(rand.NewPCG(1, 2))}
	for _, p := range s.Pots {
		melt := p.VolumeML * 2.1
		r.bodies = append(r.bodies, body{0.6 * p.HeaterW, melt, 0.003 * melt, 5e-4 * p.HeaterW, 2.5e-4 * melt, startC, startC})
	}
	return r
}

func (r *rig) read(c float64) reading.Temperature {
	return good(math.Round((c+0.25*r.noise.NormFloat64())*4) / 4)
}

// step makes one cycle, with commands.
func (r *rig) step(commands ...control.Command) *control.Frame {
	r.in.Elapsed = period
	if r.cycle == 0 {
		r.in.Elapsed = 0
	}
	r.cycle++
	r.in.Pots = r.in.Pots[:0]
	for i := range r.bodies {
		b := &r.bodies[i]
		r.in.Pots = append(r.in.Pots, control.PotReadings{Melt: r.read(b.melt), Plate: r.read(b.plate)})
	}
	r.in.Contacts, r.in.Commands = healthy(false), commands
	if r.script != nil {
		r.script(&r.in)
	}
	if r.keep {
		in := r.in
		in.Pots, in.Commands = slices.Clone(in.Pots), slices.Clone(in.Commands)
		r.saved = append(r.saved, in)
	}
	r.bench.Step(&r.in, &r.f)
	if r.seen != nil {
		r.seen(&r.f)
	}
	for i := range r.bodies {
		watts := 0.0
		if r.f.Outputs.Contactor {
			watts = r.f.Outputs.Duty[i] * r.settings.Pots[i].HeaterW
			if r.welded && i == 0 {
				watts = r.settings.Pots[i].HeaterW
			}
		}
		r.bodies[i].step(watts)
	}
	return &r.f
}

func (r *rig) run(d time.Duration) *control.Frame {
	for range d / period {
		r.step()
	}
	return &r.f
}

// button makes the cycles of a span with the bench's enable button held down or
// let go.
func (r *rig) button(closed bool, d time.Duration) *control.Frame {
	before := r.script
	r.script = func(in *control.Input) {
		if before != nil {
			before(in)
		}
		in.Contacts.Enable = contact(closed)
	}
	defer func() { r.script = before }()
	return r.run(d)
}

// hold leaves the button alone and then holds it down, for as long as a press needs.
func (r *rig) hold() {
	r.button(false, 1200*time.Millisecond)
	r.button(true, 800*time.Millisecond)
}

// press presses the button and lets it go; it counts in the last cycle.
func (r *rig) press() *control.Frame {
	r.hold()
	return r.button(false, 800*time.Millisecond)
}

func all(k control.CommandKind, pots int) (commands []control.Command) {
	for i := range pots {
		commands = append(commands, control.Command{Kind: k, Pot: i})
	}
	return commands
}

// evening does what a careful maker does: stirs every half minute and ticks
// each pot clear when it is asked about.
func (r *rig) evening(d time.Duration, see func(*control.Frame)) {
	for range d / period {
		var commands []control.Command
		if r.cycle%150 == 0 {
			commands = all(control.Stir, len(r.bodies))
		}
		for i := range r.f.Pots {
			if r.f.Pots[i].Wait == control.WaitClear {
				commands = append(commands, control.Command{Kind: control.TickClear, Pot: i})
			}
		}
		r.step(commands...)
		if see != nil {
			see(&r.f)
		}
	}
}

// readyRig returns a bench that has just become, and stayed, ready to pour.
func readyRig() *rig {
	r := newRig(demoSettings(), 160)
	r.step(all(control.ArrivedCured, 3)...)
	r.press()
	r.evening(20*time.Minute, nil)
	return r
}

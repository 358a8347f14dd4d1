// Package cycles is what history keeps of a control cycle, and how: every input
// and output of every cycle, in columns of integer differences, compressed.
//
// Inputs are kept exactly, so that they can be played back; control.Input.Round
// has made them such that they can be. Outputs are kept rounded, for looking at,
// with a checksum of their exact bits.
package cycles

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/control/reading"
)

// Record is one cycle.
type Record struct {
	// At is the wall time, a label, to the millisecond.
	At    time.Time
	Input control.Input
	Kept  Kept
}

// Kept is what is kept of the frame.
type Kept struct {
	Cycle                          uint64
	Time                           time.Duration // bench time
	Heat                           control.HeatState
	Ready, Contactor, Lamp, Buzzer bool
	Pots                           []Pot
	// Print is Fingerprint of the frame.
	Print uint32
}

// Pot is one pot of a kept frame. Temperatures are in degrees Celsius, to a
// thousandth; Duty is 0 to 1, to a ten-thousandth.
type Pot struct {
	State          control.PotState
	Duty           float64
	TargetC, MeltC float64 // MeltC is filtered; NaN when not known
	// Estimate is of the place that has no probe, to a thousandth; the zero value is none.
	Estimate control.Estimate
	// ToldC is what the pot's controller is told; zero where it has none.
	ToldC float64
}

// Keep copies what is kept of a cycle; the record shares nothing with in and f.
func Keep(at time.Time, in *control.Input, f *control.Frame) Record {
	r := Record{At: at, Input: *in, Kept: Kept{
		Cycle: f.Cycle, Time: f.Time, Heat: f.Heat, Ready: f.Ready,
		Contactor: f.Outputs.Contactor, Lamp: f.Outputs.Lamp, Buzzer: f.Outputs.Buzzer,
		Pots: make([]Pot, len(f.Pots)), Print: Fingerprint(f),
	}}
	r.Input.Pots = append([]control.PotReadings(nil), in.Pots...)
	r.Input.Commands = append([]control.Command(nil), in.Commands...)
	for i := range f.Pots {
		p := &f.Pots[i]
		r.Kept.Pots[i] = Pot{State: p.State, Duty: p.Duty, TargetC: p.TargetC, MeltC: p.MeltC, Estimate: estimate(p), ToldC: p.Controller.ToldC}
	}
	return r
}

// estimate is the one that a pot with one probe has.
func estimate(p *control.PotFrame) control.Estimate {
	if p.MeltEstimate.Known() {
		return p.MeltEstimate
	}
	return p.PlateEstimate
}

// Fingerprint is a checksum over the exact bits of what a cycle decided: with
// equal ones, outputs, states and findings are the same.
func Fingerprint(f *control.Frame) uint32 {
	var buffer [512]byte
	b := append(buffer[:0], byte(f.Heat), bit(f.Ready), bit(f.Hot),
		bit(f.Outputs.Contactor), bit(f.Outputs.Lamp), bit(f.Outputs.Buzzer))
	for _, d := range f.Outputs.Duty {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(d))
	}
	for _, c := range f.Outputs.SetpointC {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(c))
	}
	for i := range f.Pots {
		p := &f.Pots[i]
		b = append(b, byte(p.State), byte(p.Wait))
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.TargetC))
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.PlateTargetC))
	}
	for _, c := range f.Conditions {
		b = append(b, byte(c.Code), byte(c.Pot), bit(c.Active), bit(c.Latched))
	}
	return crc32.ChecksumIEEE(b)
}

func bit(on bool) byte {
	if on {
		return 1
	}
	return 0
}

// walk names every value of a record once, in the order of the columns, for
// writing and for reading.
func walk(c *columns, r *Record, pots int) {
	c.time(&r.At)
	c.duration(&r.Input.Elapsed)
	for i := range pots {
		p := &r.Input.Pots[i]
		temperature(c, &p.Melt)
		temperature(c, &p.Plate)
		temperature(c, &p.Injector)
	}
	temperature(c, &r.Input.Mould)
	temperature(c, &r.Input.Room)
	k := &r.Input.Contacts
	for _, contact := range []*reading.Contact{&k.EStop, &k.CutOut, &k.Fan, &k.Pedal, &k.Enable, &k.Link} {
		c.bool(&contact.Closed)
		c.duration(&contact.Age)
		number(c, &contact.Fault)
	}
	number(c, &r.Kept.Cycle)
	c.duration(&r.Kept.Time)
	number(c, &r.Kept.Heat)
	for _, b := range []*bool{&r.Kept.Ready, &r.Kept.Contactor, &r.Kept.Lamp, &r.Kept.Buzzer} {
		c.bool(b)
	}
	for i := range pots {
		p := &r.Kept.Pots[i]
		number(c, &p.State)
		c.scaled(&p.Duty, 10000)
		c.scaled(&p.TargetC, 1000)
		c.scaled(&p.MeltC, 1000)
		if c.format >= withEstimates {
			c.scaled(&p.Estimate.C, 1000)
			c.scaled(&p.Estimate.WithinC, 1000)
		} else if c.reading {
			p.Estimate = control.Estimate{} // a newer block before it may have had one
		}
	}
	walkControllers(c, r, pots)
	number(c, &r.Kept.Print)
	c.bool(&r.Input.HistoryFailing)
	walkCommands(c, r)
}

// walkControllers is what the controllers of a bench say and are told.
func walkControllers(c *columns, r *Record, pots int) {
	for i := range pots {
		in, kept := &r.Input.Pots[i], &r.Kept.Pots[i]
		if c.format >= withControllers {
			temperature(c, &in.Setpoint)
			temperature(c, &in.Own)
			c.scaled(&kept.ToldC, 1000)
		} else if c.reading { // a newer block before it may have had some
			in.Setpoint, in.Own, kept.ToldC = reading.Temperature{}, reading.Temperature{}, 0
		}
	}
}

func temperature(c *columns, t *reading.Temperature) {
	c.scaled(&t.C, control.PerDegree)
	c.duration(&t.Age)
	number(c, &t.Fault)
}

// mostCommands is how many commands of one cycle are kept: as many as the daemon's
// queue holds, and "all off".
const mostCommands = 33

// walkCommands is the part of a record whose length varies: a count and a column
// for each place, nearly all of them empty.
func walkCommands(c *columns, r *Record) {
	n := min(len(r.Input.Commands), mostCommands)
	if c.reading && c.changes() {
		c.commands = c.column
	}
	number(c, &n)
	n = min(max(n, 0), mostCommands)
	if c.reading {
		r.Input.Commands = sized(r.Input.Commands, n)
		clear(r.Input.Commands) // an older layout leaves out what a newer block before it had
	}
	places(c, r.Input.Commands[:n], 2, func(command *control.Command) {
		number(c, &command.Kind)
		number(c, &command.Pot)
	})
	if c.format >= withTemperatures {
		places(c, r.Input.Commands[:n], 1, func(command *control.Command) { c.scaled(&command.C, control.PerDegree) })
	}
	if c.format >= withAfar {
		places(c, r.Input.Commands[:n], 1, func(command *control.Command) { c.bool(&command.Afar) })
	}
	if c.format >= withAside {
		places(c, r.Input.Commands[:n], 2, func(command *control.Command) {
			number(c, &command.Code)
			c.duration(&command.For)
		})
	}
	if c.format >= withAmounts {
		places(c, r.Input.Commands[:n], 1, func(command *control.Command) { c.scaled(&command.ML, control.PerML) })
	}
	if c.format >= withTakenBack {
		places(c, r.Input.Commands[:n], 1, func(command *control.Command) { number(c, &command.Mark) })
	}
}

// places walks the columns of every place of a command, so many each; the empty
// ones are passed over in reading.
func places(c *columns, commands []control.Command, each int, walk func(*control.Command)) {
	for i := range commands {
		walk(&commands[i])
	}
	empty := mostCommands - len(commands)
	if c.reading {
		c.column += empty * each
		return
	}
	var none control.Command
	for range empty {
		walk(&none)
	}
}

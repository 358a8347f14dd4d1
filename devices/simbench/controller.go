package simbench

import (
	"math"
	"math/rand/v2"
	"time"

	"meltwarden/devices/registers"
	"meltwarden/devices/simbench/physics"
)

// The controllers' settings, as such a device may come out of its box: nobody has tuned them
// to the plates (from memory; no source).
const (
	proportionalC = 30.0  // band, °C
	resetS        = 240.0 // integral time, seconds
	rateS         = 60.0  // derivative time, seconds, filtered by this part of it:
	rateFilter    = 8.0
	sampleS       = 0.5 // how often it decides, seconds
	cycleS        = 2.0 // of its solid-state relay, seconds
	firstRestC    = 5.0 // what it was left at
)

// hottestSetpoint is the most that a controller takes, in counts.
const hottestSetpoint = 4000

// controllerSpread is how far the own sensors of controllers are off, in °C (standard
// deviation; estimate).
const controllerSpread = 1.5

// controller is a panel controller with a sensor of its own on the plate: it closes the loop
// by itself, keeps its set-point through silence and loss of supply, and counts how often
// that was written.
type controller struct {
	probe    *channel
	setpoint uint16 // counts
	writes   int
	locked   bool // it acknowledges what it is told, and keeps what it has

	open  bool // its sensor
	roomC float64

	stepped, decided int // physics steps; those at the last decision
	integral, lastC  float64
	power            float64
}

func newController(roomC float64, draw *rand.Rand) *controller {
	spec := physics.ProbeSpec{
		Lag: 3 * time.Second, Dead: 400 * time.Millisecond, AirLag: 50 * time.Second,
		OffsetC: controllerSpread * draw.NormFloat64(),
	}
	k := &controller{probe: newChannel(spec, roomC, draw), setpoint: counts(firstRestC), lastC: roomC, roomC: roomC}
	k.convert()
	return k
}

func (k *controller) setpointC() float64 { return float64(k.setpoint) / countsPerC }

func (k *controller) convert() {
	k.probe.convert(func(f Fault) bool { return f == OpenProbe && k.open }, k.roomC)
}

// step lets one physics.Step pass.
func (k *controller) step(plateC, roomC float64) {
	k.probe.probe.Step(plateC, roomC)
	if k.stepped++; float64(k.stepped-k.decided)*physics.Step.Seconds() >= sampleS {
		k.decided = k.stepped
		k.convert()
		k.decide()
	}
}

// decide is a textbook PID on the measured value: its integral is forgotten outside of the
// proportional band. Without a sensor the output is off.
func (k *controller) decide() {
	if k.open {
		k.power = 0
		return
	}
	c := float64(int16(k.probe.raw)) / countsPerC
	off := (k.setpointC() - c) / proportionalC
	rate := rateFilter * (c - k.lastC) / proportionalC
	k.lastC += (c - k.lastC) * sampleS / (rateS / rateFilter)
	if math.Abs(off) < 1 {
		k.integral = math.Min(math.Max(k.integral+off*sampleS/resetS, 0), 1)
	} else {
		k.integral = 0
	}
	k.power = math.Min(math.Max(off+k.integral-rate, 0), 1)
}

// draws is what of its power the heater draws now: all or nothing, in the relay's cycle.
func (k *controller) draws() float64 {
	if at := math.Mod(float64(k.stepped)*physics.Step.Seconds(), cycleS); at < k.power*cycleS {
		return 1
	}
	return 0
}

// tell writes a set-point; the same again is no write in Apply, as none is sent.
func (k *controller) tell(raw uint16) {
	if raw != k.setpoint {
		k.setpoint = raw
		k.writes++
	}
}

func (k *controller) tables() tables {
	return tables{holding: []uint16{k.setpoint}, input: []uint16{k.probe.raw, uint16(math.Round(1000 * k.power))}}
}

func (k *controller) store(t tables) bool {
	if t.holding[0] > hottestSetpoint {
		return false
	}
	if !k.locked {
		k.setpoint = t.holding[0]
		k.writes++
	}
	return true
}

// UnitController is the unit of the controller of a pot, from 0.
func UnitController(pot int) uint8 { return UnitContacts + 1 + uint8(pot) }

func controllerOf(pot string) string { return pot + " controller" }

// controllerAt is the controller with a unit, nil where there is none.
func (b *Bench) controllerAt(unit uint8) *controller {
	if unit <= UnitContacts || int(unit-UnitContacts) > len(b.pots) {
		return nil
	}
	return b.pots[unit-UnitContacts-1].controller
}

// controllerChannels is the map of one controller: its set-point in tenths of a degree in
// holding register 0, its own reading in input register 0, its output in tenths of a percent
// in input register 1.
func controllerChannels(pot string) []registers.Channel {
	c := registers.Channel{
		Role: registers.Setpoint, Pot: pot, Device: controllerOf(pot), Function: 6, Address: 0, Type: registers.Int16,
		Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 1.0 / countsPerC, Unit: registers.Celsius,
		RestC: firstRestC, Senses: registers.OfPlate,
	}
	own := c
	own.Role, own.Function, own.RestC, own.Senses, own.Sentinels = registers.ProcessValue, 4, 0, "", []float64{noReading}
	return []registers.Channel{c, own}
}

// TurnController has somebody turn the knob of a pot's controller to celsius.
func (b *Bench) TurnController(pot int, celsius float64) {
	b.do(func() { b.pots[pot].controller.setpoint = counts(celsius) })
}

// LockController locks a pot's controller: it acknowledges what it is told and keeps what it
// has, as many do in local mode or with their keypad locked.
func (b *Bench) LockController(pot int) {
	b.do(func() { b.pots[pot].controller.locked = true })
}

// BreakController breaks the own sensor of a pot's controller, or mends it.
func (b *Bench) BreakController(pot int, broken bool) {
	b.do(func() { b.pots[pot].controller.open = broken })
}

// MisreadController makes the own sensor of a pot's controller read so much too high.
func (b *Bench) MisreadController(pot int, byC float64) {
	b.do(func() { b.pots[pot].controller.probe.probe.Err(byC, 0) })
}

// UnseatController takes the own sensor of a pot's controller off the plate, or puts it back:
// it hangs in the air, and its controller heats on.
func (b *Bench) UnseatController(pot int, off bool) {
	b.do(func() { b.pots[pot].controller.probe.probe.Pull(off) })
}

package simbench

import (
	"math"
	"math/rand/v2"
	"time"

	"meltwarden/devices/registers"
	"meltwarden/devices/simbench/physics"
	"meltwarden/devices/thermocouple"
)

// tables are the four data tables of a Modbus unit, addresses from 0. A table
// that is nil does not exist there, nor do its functions.
type tables struct {
	coils, discretes []bool
	holding, input   []uint16
}

// Raw values of the thermocouple unit.
const (
	countsPerC   = 10     // 0.1 °C a count
	noReading    = 0x7FFF // no measurement
	statusOpen   = 1 << 0 // thermocouple open
	statusGround = 1 << 1 // thermocouple shorted to ground
)

// channel is one input of the thermocouple module with its probe.
type channel struct {
	probe  *physics.Probe
	raw    uint16
	status uint16
}

func newChannel(s physics.ProbeSpec, atC float64, noise *rand.Rand) *channel {
	return &channel{probe: physics.NewProbe(s, atC, noise)}
}

// convert takes a new reading. moduleC is the temperature of the module's own
// terminals.
func (c *channel) convert(has func(Fault) bool, moduleC float64) {
	const switchingNoiseC = 8 // picked up from a heater's switching; estimate
	extra := 0.0
	if has(NoisyProbe) {
		extra = switchingNoiseC
	}
	raw := counts(misread(has, c.probe.Read(extra), moduleC))
	c.status = 0
	switch {
	case has(OpenProbe):
		c.raw, c.status = noReading, statusOpen
	case has(GroundedProbe):
		c.raw, c.status = noReading, statusGround
	case has(SentinelReading):
		c.raw = noReading
	case has(ShortedProbe):
		c.raw = counts(moduleC)
	case has(FrozenProbe):
	default:
		c.raw = raw
	}
}

// misread is what the module makes of a probe at celsius, its type wrong or not.
func misread(has func(Fault) bool, celsius, moduleC float64) float64 {
	probe, input := thermocouple.K, thermocouple.K
	switch {
	case has(TypeKOnJ):
		input = thermocouple.J
	case has(TypeJOnK):
		probe = thermocouple.J
	default:
		return celsius
	}
	shown, err := thermocouple.Misread(probe, input, celsius, moduleC)
	if err != nil { // beyond a table
		return float64(noReading) / countsPerC
	}
	return shown
}

func counts(c float64) uint16 { return uint16(int16(math.RoundToEven(c * countsPerC))) }

// channels lists the thermocouple unit's channels in the order of their registers.
func (b *Bench) channels() ([]*channel, []Place) {
	var all []*channel
	var places []Place
	for i, p := range b.pots {
		all = append(all, p.melt, p.plate)
		places = append(places, Place{Pot: i, Probe: registers.Melt}, Place{Pot: i, Probe: registers.Plate})
	}
	return append(all, b.mould, b.room), append(places, Place{Probe: registers.Mould}, Place{Probe: registers.Room})
}

func (b *Bench) convert() {
	const selfHeatingC = 5 // of the module above the room; estimate
	all, places := b.channels()
	for i, c := range all {
		c.convert(func(f Fault) bool { return b.faults.has(f, places[i]) }, b.roomC+selfHeatingC)
	}
}

func (b *Bench) thermocoupleTables() tables {
	all, _ := b.channels()
	var values, status []uint16
	for _, c := range all {
		values = append(values, c.raw)
		status = append(status, c.status)
	}
	return tables{input: append(values, status...)}
}

// fullDuty is the raw value of 100 % heater power.
const fullDuty = 10000

// The communication time-out of the power unit, in milliseconds.
const (
	defaultTimeoutMS = 1500
	minTimeoutMS     = 100
	maxTimeoutMS     = 60000
)

// heaterCoils is the first heater's coil; before it is the contactor's.
const heaterCoils = 1

// power is the power module: a duty for each heater, the contactor's coil, and
// the time-out that lets go of both when nobody writes a duty any more. Each
// heater has a coil as well: full power or none.
type power struct {
	duty      []uint16
	contactor bool
	timeoutMS uint16
	written   time.Duration // bench time of the last valid write to a duty
}

func newPower(heaters int) *power {
	return &power{duty: make([]uint16, heaters), timeoutMS: defaultTimeoutMS, written: math.MinInt64 / 2}
}

// wake is what a power unit does that is set to begin with its outputs on.
func (p *power) wake(now time.Duration) {
	for i := range p.duty {
		p.duty[i] = fullDuty / 20
	}
	p.contactor, p.written = true, now
}

// expire drops heaters and contactor when the last write is too old.
func (p *power) expire(now time.Duration) {
	if now-p.written > time.Duration(p.timeoutMS)*time.Millisecond {
		clear(p.duty)
		p.contactor = false
	}
}

func (p *power) tables() tables {
	holding := append([]uint16(nil), p.duty...)
	coils := []bool{p.contactor}
	for _, d := range p.duty {
		coils = append(coils, d > 0)
	}
	return tables{coils: coils, holding: append(holding, p.timeoutMS)}
}

// store takes over what was written; it refuses values out of range as a whole.
func (p *power) store(t tables, heaterWritten bool, now time.Duration) bool {
	before := p.tables().coils
	duty, timeout := t.holding[:len(p.duty)], t.holding[len(p.duty)]
	for _, d := range duty {
		if d > fullDuty {
			return false
		}
	}
	if timeout < minTimeoutMS || timeout > maxTimeoutMS {
		return false
	}
	copy(p.duty, duty)
	for i := range p.duty {
		if on := t.coils[heaterCoils+i]; on != before[heaterCoils+i] {
			p.duty[i] = 0
			if on {
				p.duty[i] = fullDuty
			}
		}
	}
	p.timeoutMS, p.contactor = timeout, t.coils[0]
	if heaterWritten {
		p.written = now
	}
	return true
}

// pressFor is how long a person keeps a button pressed (common practice, no source).
const pressFor = 800 * time.Millisecond

// contacts is the input/output module. The cut-out is its own latch; emergency
// stop and fan are healthy unless a fault says otherwise.
type contacts struct {
	cutOut                  bool // closed
	enableUntil, pedalUntil time.Duration
	lamp, buzzer            bool
}

func (b *Bench) contactTables() tables {
	return tables{
		discretes: []bool{
			b.eStopClosed(), b.contacts.cutOut, !b.faults.has(FanStopped, Place{}),
			b.at < b.contacts.pedalUntil, b.at < b.contacts.enableUntil,
		},
		coils: []bool{b.contacts.lamp, b.contacts.buzzer},
	}
}

// ProvesTimeout reports whether the power unit, as it is set now, lets go of
// its heaters and contactor within two seconds of the last write. It tries it
// out, on a copy of the unit.
func (b *Bench) ProvesTimeout() bool {
	proven := true
	b.do(func() {
		trial := newPower(len(b.pots))
		trial.timeoutMS = b.power.timeoutMS
		t := trial.tables()
		for i := range trial.duty {
			t.holding[i] = fullDuty
		}
		t.coils[0] = true
		trial.store(t, true, 0)
		trial.expire(2 * time.Second)
		proven = !trial.contactor
		for _, d := range trial.duty {
			proven = proven && d == 0
		}
	})
	return proven
}

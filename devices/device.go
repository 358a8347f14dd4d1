package devices

import (
	"sync/atomic"
	"time"

	"meltwarden/control/reading"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

const (
	// deadAfter is how many time-outs in a row make a device count as dead: one or
	// two are noise.
	deadAfter = 3
	// deadRests is how long a dead device is then left alone, in bench time.
	deadRests = time.Second
)

// device is one unit of a line: its plan, and what its owner knows of it.
type device struct {
	modbus.Device
	line     string
	channels []registers.Channel
	index    []int // of each channel in the table
	cold     int   // the cold-junction channel, or -1
	plan     registers.Plan

	// results are this round's, one for each span of the plan.
	results []result
	asked   int  // how many spans were asked for in this round
	gaveUp  bool // in this round
	silent  int  // time-outs in a row
	rests   time.Duration
	goneAt  atomic.Pointer[time.Time] // since when it is dead, for who looks from outside; nil while it is not

	memory    memory              // of its outputs
	terminals terminals           // of its cold junction
	reference reading.Temperature // this round's, as far as it is believed

	clock   func() time.Duration // the bench's
	targets atomic.Uint64        // how often it was sent a set-point
}

// result is what a span's request brought in this round.
type result struct {
	asked   bool
	at      time.Duration
	outcome modbus.Outcome
	words   []uint16
	bits    []bool
}

func newDevice(dc DeviceConfig, cfg Config) *device {
	d := &device{Device: modbus.Device{Name: dc.Name, Unit: dc.Unit, Timeout: dc.Timeout}, line: dc.Line, cold: -1}
	for i, c := range cfg.Channels {
		if c.Device != dc.Name {
			continue
		}
		if cfg.ReadOnly && !c.Role.Read() {
			c.Function = c.ReadBack()
		}
		if c.Role == registers.ColdJunction {
			d.cold = len(d.channels)
		}
		d.channels = append(d.channels, c)
		d.index = append(d.index, i)
	}
	d.plan = registers.PlanReads(d.channels, dc.MaxGap)
	d.results = make([]result, len(d.plan.Spans))
	return d
}

// dead reports whether the device has not answered for several requests.
func (d *device) dead() bool { return d.silent >= deadAfter }

// begin starts a round.
func (d *device) begin() {
	clear(d.results)
	d.asked, d.gaveUp = 0, false
}

// note keeps count of silence.
func (d *device) note(outcome modbus.Outcome, now time.Duration) {
	switch outcome {
	case modbus.OK, modbus.Refused:
		d.silent = 0
	case modbus.TimedOut:
		if d.silent++; d.dead() {
			d.rests = now + deadRests
		}
	}
	switch {
	case !d.dead():
		d.goneAt.Store(nil)
	case d.goneAt.Load() == nil:
		at := time.Now()
		d.goneAt.Store(&at)
	}
}

// request returns the request for a span.
func (d *device) request(span int) modbus.Request {
	s := d.plan.Spans[span]
	return modbus.Request{Function: s.Function, Address: s.Address, Quantity: s.Count}
}

// receive keeps what a span's request brought.
func (d *device) receive(span int, at time.Duration, data []byte, outcome modbus.Outcome) {
	r := result{asked: true, at: at, outcome: outcome}
	if s := d.plan.Spans[span]; outcome == modbus.OK && s.Function <= modbus.ReadInputs {
		r.bits = modbus.Bits(data, int(s.Count))
	} else if outcome == modbus.OK {
		r.words = modbus.Registers(data)
	}
	d.results[span] = r
	d.gaveUp = outcome != modbus.OK && outcome != modbus.Refused
}

// deliver puts what the round brought into the table. A value for which the
// device did not answer stays as it is and ages.
func (d *device) deliver(t *table) {
	if d.cold >= 0 {
		d.reference = reading.Temperature{Fault: reading.Missing}
		if at, outcome := d.answered(d.cold); outcome == modbus.OK {
			d.reference = d.terminals.believe(d.temperature(d.cold), at)
		}
	}
	for i := range d.channels {
		if v, ok := d.decode(i); ok {
			t.set(d.index[i], v)
		} else {
			t.miss(d.index[i])
		}
	}
}

// unreachable notes that nothing of the device is known any more.
func (d *device) unreachable(t *table) {
	for _, channel := range d.index {
		t.miss(channel)
	}
}

// decode returns a channel's value of this round, false when there is none.
func (d *device) decode(i int) (value, bool) {
	at, outcome := d.answered(i)
	switch outcome {
	case modbus.OK:
		return value{came: true, taken: at, temperature: d.temperature(i), contact: d.contact(i), output: d.hasOutput(i)}, true
	case modbus.Refused:
		return value{came: true, taken: at, temperature: reading.Temperature{Fault: reading.Refused}, contact: reading.Contact{Fault: reading.Refused}}, true
	}
	return value{}, false
}

// answered returns since when all that a channel's value rests on is known, and
// the worst outcome among it.
func (d *device) answered(i int) (at time.Duration, worst modbus.Outcome) {
	at, worst = 0, modbus.TimedOut
	for n, span := range d.restsOn(i) {
		r := d.results[span]
		if !r.asked {
			return 0, modbus.TimedOut
		}
		if n == 0 {
			at, worst = r.at, r.outcome
			continue
		}
		at = min(at, r.at)
		if worst == modbus.OK || r.outcome != modbus.OK && r.outcome != modbus.Refused {
			worst = r.outcome
		}
	}
	return at, worst
}

// restsOn returns the spans of a channel's value, of its status and, for
// millivolts, of the cold junction.
func (d *device) restsOn(i int) []int {
	var spans []int
	if p, ok := d.plan.Value(i); ok {
		spans = append(spans, p.Span)
	}
	if p, ok := d.plan.Status(i); ok {
		spans = append(spans, p.Span)
	}
	if d.channels[i].Unit == registers.Millivolt && d.cold >= 0 {
		spans = append(spans, d.restsOn(d.cold)...)
	}
	return spans
}

// temperature decodes a channel that is one.
func (d *device) temperature(i int) reading.Temperature {
	value, _ := d.plan.Value(i)
	var status []uint16
	if p, ok := d.plan.Status(i); ok {
		status = registers.At(d.results[p.Span].words, p)
	}
	return d.channels[i].Temperature(registers.At(d.results[value.Span].words, value), status, d.reference)
}

// contact decodes a channel that is one.
func (d *device) contact(i int) reading.Contact {
	value, _ := d.plan.Value(i)
	if d.channels[i].Mask != 0 {
		return d.channels[i].ContactOf(registers.At(d.results[value.Span].words, value))
	}
	return d.channels[i].Contact(registers.At(d.results[value.Span].bits, value))
}

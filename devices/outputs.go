package devices

import (
	"cmp"
	"math"
	"slices"
	"time"

	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// signalsEvery is how often lamp and buzzer are told what they have already: a line
// has other things to say.
const signalsEvery = 500 * time.Millisecond

// outputs are what a line is to write. The zero value is safe.
type outputs struct {
	duty, setpointC         []float64
	contactor, lamp, buzzer bool
	at                      time.Duration
}

// cold returns the outputs without anything that heats.
func (o *outputs) cold() *outputs { return &outputs{lamp: o.lamp, buzzer: o.buzzer, at: o.at} }

// urgency orders what is written.
type urgency uint8

const (
	heaterFirst urgency = iota
	contactorNext
	setpointThen // a silent controller must not keep the contactor waiting
	signalsLast
)

func urgencyOf(r registers.Role) urgency {
	switch r {
	case registers.Heater:
		return heaterFirst
	case registers.Contactor:
		return contactorNext
	case registers.Setpoint:
		return setpointThen
	}
	return signalsLast
}

// output is a channel that is written.
type output struct {
	registers.Channel
	pot   int // index into the pots, for heaters
	place registers.Place
	state state // what it may be, by what it was told and what was read back
	// heldC is what a controller said last that it was told, in °C; NaN before it has.
	heldC float64
}

// power returns the duty of a heater, zero for one that got none.
func (o output) power(all *outputs) float64 {
	if o.pot < len(all.duty) {
		return all.duty[o.pot]
	}
	return 0
}

// whole is a duty that is full power, but for what rounding takes off it.
const whole = 1 - 1e-9

// on returns the bit of an output that is one. A heater that can only be switched is on
// at full power and off at any less.
func (o output) on(all *outputs) bool {
	switch o.Role {
	case registers.Heater:
		return o.power(all) >= whole
	case registers.Contactor:
		return all.contactor
	case registers.Lamp:
		return all.lamp
	}
	return all.buzzer
}

// appendDuty appends the registers that are written to a heater or a controller. What is
// no duty is written as off, which a validated channel can always carry.
func (o output) appendDuty(regs []uint16, all *outputs) []uint16 {
	if o.Role == registers.Setpoint {
		return o.appendTarget(regs, all)
	}
	longer, err := o.AppendDuty(regs, o.power(all))
	if err != nil {
		longer, _ = o.AppendDuty(regs, 0)
	}
	return longer
}

// told is the state that the outputs put it into.
func (o output) told(all *outputs) state {
	switch {
	case o.Type == registers.Bit:
		return stateOfBit(o.on(all))
	case o.Role == registers.Setpoint:
		return either // it forgets nothing, and what it has is read all the time
	}
	return stateOf(o.Duty(o.appendDuty(nil, all)))
}

// stateIn is its state in what was read back of a span.
func (o output) stateIn(data []byte, s registers.Span, at registers.Place) state {
	if o.Type == registers.Bit {
		return stateOfBit(registers.At(modbus.Bits(data, int(s.Count)), at)[0] == o.Coil(true))
	}
	return stateOf(o.Duty(registers.At(modbus.Registers(data), at)))
}

// write is one request that writes outputs.
type write struct {
	device  *device
	span    registers.Span
	outputs []output // in the order of their addresses
	urgency urgency
	data    []byte

	pending bool
	tried   time.Duration
	// confirmed is when the device last said that it has what it was told; heard
	// is false until it has said so once.
	confirmed time.Duration
	heard     bool
	has       []byte        // the data confirmed last
	told      time.Duration // when it was last sent without asking for an answer
	// sentData is what a controller was sent last, at sentAt, and tries how often.
	sentData []byte
	sentAt   time.Duration
	tries    int
}

// off reports whether the write carries heaters or a contactor, and only "off" for them.
func (w *write) off(all *outputs) bool {
	for _, o := range w.outputs {
		switch {
		case urgencyOf(o.Role) == signalsLast:
		case o.Role == registers.Setpoint:
			if o.targetC(all) > o.RestC {
				return false
			}
		case o.Type == registers.Bit && o.on(all), o.Type != registers.Bit && o.power(all) > 0:
			return false
		}
	}
	return w.urgency < signalsLast
}

// heats reports whether the write is one that switches something on that heats.
func (w *write) heats(all *outputs) bool { return w.urgency < signalsLast && !w.off(all) }

// due reports whether new outputs are to be written: always, but for signals that
// their device has had for a short while only.
func (w *write) due(all *outputs, now time.Duration) bool {
	if w.urgency == setpointThen {
		return w.dueTarget(all, now)
	}
	return w.urgency < signalsLast || !w.heard || now-w.confirmed >= signalsEvery ||
		!slices.Equal(w.request(all).Data, w.has)
}

// sent notes that the device may have taken the outputs.
func (w *write) sent(all *outputs) {
	for i := range w.outputs {
		w.outputs[i].state |= w.outputs[i].told(all)
	}
	w.sentTarget(all)
}

// taken notes that the device has acknowledged the outputs, which it was sent at a time. For
// a controller that confirms nothing: many a locked one acknowledges what it does not take.
func (w *write) taken(all *outputs, at time.Duration) {
	if w.urgency == setpointThen {
		w.holds(all)
	} else {
		w.confirmed, w.heard = at, true
	}
	w.has = append(w.has[:0], w.data...)
	for i := range w.outputs {
		w.outputs[i].state = w.outputs[i].told(all)
	}
}

// newWrites plans the writes of one device, the most urgent first.
func newWrites(d *device, channels []registers.Channel, pots []string) ([]*write, error) {
	plan, err := registers.PlanWrites(channels)
	if err != nil {
		return nil, err
	}
	writes := make([]*write, len(plan.Spans))
	for i, s := range plan.Spans {
		writes[i] = &write{device: d, span: s, urgency: signalsLast}
	}
	for i, c := range channels {
		if place, ok := plan.Value(i); ok {
			writes[place.Span].add(output{Channel: c, pot: slices.Index(pots, c.Pot), place: place, heldC: math.NaN()})
		}
	}
	return writes, nil
}

func (w *write) add(o output) {
	w.outputs = append(w.outputs, o)
	w.urgency = min(w.urgency, urgencyOf(o.Role))
	slices.SortFunc(w.outputs, func(a, b output) int { return cmp.Compare(a.place.Offset, b.place.Offset) })
}

// request returns the request that writes the outputs.
func (w *write) request(all *outputs) modbus.Request {
	w.data = w.data[:0]
	switch w.span.Function {
	case modbus.WriteCoil:
		w.data = modbus.AppendCoil(w.data, w.bits(all)[0])
	case modbus.WriteCoils:
		w.data = modbus.AppendBits(w.data, w.bits(all)...)
	default:
		w.data = modbus.AppendRegisters(w.data, w.registers(all)...)
	}
	return modbus.Request{Function: w.span.Function, Address: w.span.Address, Quantity: w.span.Count, Data: w.data}
}

// bits returns the span's bits. Neighbours lie without gaps in a span.
func (w *write) bits(all *outputs) []bool {
	bits := make([]bool, 0, w.span.Count)
	for _, o := range w.outputs {
		bits = append(bits, o.Coil(o.on(all)))
	}
	return bits
}

// registers returns the span's registers.
func (w *write) registers(all *outputs) []uint16 {
	regs := make([]uint16, 0, w.span.Count)
	for _, o := range w.outputs {
		regs = o.appendDuty(regs, all)
	}
	return regs
}

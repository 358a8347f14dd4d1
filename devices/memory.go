package devices

import (
	"errors"
	"slices"

	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// state is what an output may be: on, off, or where nobody can tell, both.
type state uint8

const (
	off state = 1 << iota
	on
	either = off | on
)

// coarsest is the largest step in which a device is taken to keep a duty (E): what is
// told below it may read back as nothing.
const coarsest = 0.01

// stateOf is the state of a heater with a duty.
func stateOf(duty float64) (s state) {
	if duty >= coarsest/2 {
		s |= on
	}
	if !(duty >= coarsest) {
		s |= off
	}
	return s
}

// stateOfBit is the state of an output that is one bit.
func stateOfBit(isOn bool) state {
	if isOn {
		return on
	}
	return off
}

// memory is what a device is known to hold of what it was told. One that lost its
// supply for a moment has forgotten it, and would go on heating, with nobody asked,
// if it were only told anew. So before it is told to heat it has to say what it has:
// its contactor or, where it has none, its heaters.
//
// This does not see a loss that begins and ends in the gap between two frames, one of a
// device without a contactor while its heaters are told less than coarsest, nor a
// device that comes back with its outputs on, which commissioning refuses.
type memory struct {
	plan registers.Plan
	held []*output // by their index in the plan
	next int       // the span to be read
	// sure says that since the last outputs it was found to hold what it was told, and
	// that it has answered everything after that.
	sure bool
	// asked is whether it was asked since the port was opened, read whether it ever
	// said what it has, and excused whether it refused since heat began.
	asked, read, excused bool
	trouble              string // why it did not say so when it was asked last, or ""
}

// newMemory plans how the outputs of a device's writes are read back.
func newMemory(writes []*write) memory {
	var all []*output
	for _, w := range writes {
		for i := range w.outputs {
			if o := &w.outputs[i]; urgencyOf(o.Role) < setpointThen {
				o.state = either
				all = append(all, o)
			}
		}
	}
	contactor := func(o *output) bool { return o.Role == registers.Contactor }
	if slices.ContainsFunc(all, contactor) {
		all = slices.DeleteFunc(all, func(o *output) bool { return !contactor(o) })
	}
	channels := make([]registers.Channel, len(all))
	for i, o := range all {
		channels[i] = o.Channel
		channels[i].Function = o.ReadBack()
	}
	return memory{plan: registers.PlanReads(channels, 0), held: all}
}

// forOutputs begins anew with new outputs.
func (m *memory) forOutputs(allOff bool) {
	m.next, m.sure = 0, false
	m.excused = m.excused && !allOff
}

// request returns the next read.
func (m *memory) request() modbus.Request {
	s := m.plan.Spans[m.next]
	return modbus.Request{Function: s.Function, Address: s.Address, Quantity: s.Count}
}

// take takes in how the read went, and reports whether the device still has what it
// was told, as far as it says.
func (m *memory) take(data []byte, err error) (holds bool) {
	m.asked = true
	if err != nil {
		m.next, m.trouble = 0, "it is not read back: no good answer"
		if m.excused = mute(err) && !m.read; m.excused {
			m.trouble = "it can not be read back"
		}
		return true
	}
	for i, o := range m.held {
		place, _ := m.plan.Value(i)
		if place.Span != m.next {
			continue
		}
		was := o.state
		if o.state &= o.stateIn(data, m.plan.Spans[m.next], place); o.state == 0 {
			o.state, m.next = was, 0
			m.trouble = "it reads as something else"
			return false
		}
	}
	if m.next++; m.next == len(m.plan.Spans) {
		m.next, m.sure, m.read, m.trouble = 0, true, true, ""
	}
	return true
}

// mute reports whether a device refuses what it does not know.
func mute(err error) bool {
	refusal, refused := errors.AsType[modbus.Exception](err)
	return refused && (refusal.Code == modbus.IllegalFunction || refusal.Code == modbus.IllegalDataAddress)
}

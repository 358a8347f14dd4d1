package devices

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"meltwarden/control/reading"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// Output is what an output says that it has, of a bench that is only read. It is the device's
// own word: a relay that is welded reads as off.
type Output struct {
	Role   registers.Role `json:"role"`
	Pot    string         `json:"pot,omitempty"`
	Device string         `json:"device"`
	// On is whether it reads back as on, for a controller as told more than its rest; null
	// where it is not known.
	On *bool `json:"on"`
	// Heats is true for what power flows by: a heater, a contactor, a controller.
	Heats bool `json:"heats"`
	// Value is what it has in words, or why that is not known.
	Value string `json:"value"`
}

// MayHeat reports whether heat may be on by it: it is, or nobody knows.
func (h Output) MayHeat() bool { return h.Heats && (h.On == nil || *h.On) }

// Outputs are what all outputs say that they have. Of a bench that is told its outputs it
// is not asked, and so not known.
func (s Snapshot) Outputs(now time.Duration) (all []Output) {
	for i, c := range s.channels {
		if c.Role.Read() {
			continue
		}
		h := Output{Role: c.Role, Pot: c.Pot, Device: c.Device, Heats: urgencyOf(c.Role) < signalsLast}
		h.On, h.Value = s.held(i, now)
		all = append(all, h)
	}
	return all
}

// held is what a channel's output has. A controller may heat to what is written, or to what it
// says elsewhere that it has: the worse of the two counts. A register that can only be written
// says nothing beside the other.
func (s Snapshot) held(i int, now time.Duration) (on *bool, words string) {
	c, v := s.channels[i], s.values[i]
	on, words = v.held(c, now)
	at := slices.IndexFunc(s.channels, func(o registers.Channel) bool { return o.Role == registers.SetpointRead && o.Pot == c.Pot })
	if c.Role != registers.Setpoint || at < 0 {
		return on, words
	}
	elsewhere, its := s.channels[at], s.values[at]
	elsewhere.Role, elsewhere.RestC = c.Role, c.RestC
	alsoOn, alsoWords := its.held(elsewhere, now)
	if v.refused() && its.came || worse(alsoOn) > worse(on) || worse(alsoOn) == worse(on) && its.output > v.output {
		return alsoOn, alsoWords
	}
	return on, words
}

// worse puts whether an output is on in an order: off, not known, on.
func worse(on *bool) int {
	switch {
	case on == nil:
		return 1
	case *on:
		return 2
	}
	return 0
}

// refused reports whether the device says that it can not be read.
func (v value) refused() bool { return v.contact.Fault == reading.Refused }

// held says whether an output is on, and in words what it has. Where its device has not
// answered since, a word of it that is older than outputs count is none. Age alone is no
// silence: a slow line asks less often than that.
func (v value) held(c registers.Channel, now time.Duration) (on *bool, words string) {
	age := now - v.taken
	switch {
	case !v.came:
		return nil, "no answer"
	case v.missed && age > OutputsLast:
		return nil, fmt.Sprintf("no answer for %.0f s", age.Seconds())
	case v.refused():
		return nil, "can not be read back"
	}
	is, words := isOn(c, v.output)
	if age > OutputsLast {
		words += fmt.Sprintf(", %.0f s ago", age.Seconds())
	}
	return &is, words
}

// nothingGiven is the part of full power below which a duty is none, but for what a decimal
// scale makes of zero.
const nothingGiven = 1e-6

// isOn tells whether an output is on by what was read back of it. What is no number counts as
// on: no device has it that was told off.
func isOn(c registers.Channel, has float64) (is bool, words string) {
	switch {
	case math.IsNaN(has):
		return true, "no number"
	case c.Role == registers.Setpoint:
		is = !(has <= c.RestC+c.StepC()/2)
		return is, fmt.Sprintf("%.1f °C, its rest is %.1f °C", has, c.RestC)
	case has <= nothingGiven:
		return false, "off"
	case c.Type == registers.Bit:
		return true, "on"
	}
	return true, "on, " + strconv.FormatFloat(100*has, 'f', -1, 32) + " %"
}

// hasOutput is what was read back of a channel that is written in other benches, or of where
// a controller says its set-point: a duty, 1 or 0 for a bit, or °C; NaN for any other that is
// read, or where nothing came.
func (d *device) hasOutput(i int) float64 {
	c := &d.channels[i]
	place, planned := d.plan.Value(i)
	if c.Role.Read() && c.Role != registers.SetpointRead || !planned || d.results[place.Span].outcome != modbus.OK {
		return math.NaN()
	}
	r := d.results[place.Span]
	switch {
	case c.Type == registers.Bit && registers.At(r.bits, place)[0] == c.Coil(true):
		return 1
	case c.Type == registers.Bit:
		return 0
	case c.Role == registers.Setpoint, c.Role == registers.SetpointRead:
		return c.Target(registers.At(r.words, place))
	}
	return c.Duty(registers.At(r.words, place))
}

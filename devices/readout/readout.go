// Package readout reads a part of an unknown device's registers, or bits, again and again,
// politely: it only reads, no more than a bounded number, with a pause between requests, and
// asks no second time for a register that was refused, nor for ever for one that is met with
// silence. What is refused is kept, with the reason.
package readout

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// Most is how many registers of one table are read at most, its neighbours included.
const Most = 66

// pause is between two requests: a device has other things to do (estimate, no source).
const pause = 20 * time.Millisecond

// mostMute is how often a part is asked for that never answers while others do: some devices
// are silent where the standard wants a refusal, and every silence makes a round longer.
const mostMute = 3

// Exchanger makes one request of a device; *modbus.Client is one.
type Exchanger interface {
	Exchange(*modbus.Device, modbus.Request) ([]byte, error)
}

// Refusal is what a device said no to.
type Refusal struct {
	registers.Span
	Why string
}

// String is the refusal in words.
func (r Refusal) String() string {
	if r.Count == 1 {
		return fmt.Sprintf("%s %d: %s", guess.Table(r.Function), r.Address, r.Why)
	}
	return fmt.Sprintf("%ss %d to %d: %s", guess.Table(r.Function), r.Address, int(r.Address)+int(r.Count)-1, r.Why)
}

// Reader reads spans of one device.
type Reader struct {
	line    Exchanger
	device  *modbus.Device
	clk     *clock.Clock
	spans   []registers.Span
	mute    map[registers.Span]int // how often a span that has never answered did not
	refused []Refusal
}

// Spans are count registers from an address on, by each function, with one neighbour on
// either side, where a map that counts otherwise would have its ends.
func Spans(functions []uint8, from, count uint16) (spans []registers.Span, err error) {
	if count < 1 || count > Most-2 {
		return nil, fmt.Errorf("%d registers: from 1 to %d can be read at once, and one on either side", count, Most-2)
	}
	first, last := max(int(from)-1, 0), min(int(from)+int(count), 0xFFFF)
	for _, f := range functions {
		spans = append(spans, registers.Span{Function: f, Address: uint16(first), Count: uint16(last - first + 1)})
	}
	return spans, nil
}

// New returns a reader of spans. The device's time-out is the caller's.
func New(line Exchanger, device *modbus.Device, spans []registers.Span, clk *clock.Clock) *Reader {
	return &Reader{line: line, device: device, spans: spans, mute: map[registers.Span]int{}, clk: clk}
}

// Refused is what the device has refused so far.
func (r *Reader) Refused() []Refusal { return r.refused }

// Round reads every register or bit once that was not refused. The error, nil where anything
// was read, is that of the last request.
func (r *Reader) Round(ctx context.Context) (map[guess.Register]uint16, error) {
	read := map[guess.Register]uint16{}
	var last error
	var answered []registers.Span
	for todo := r.spans; len(todo) > 0 && ctx.Err() == nil; {
		s := todo[0]
		todo = todo[1:]
		data, err := r.line.Exchange(r.device, modbus.Request{Function: s.Function, Address: s.Address, Quantity: s.Count})
		switch halves := r.smaller(s, err); {
		case err == nil:
			for i, v := range values(s, data) {
				read[guess.Register{Function: s.Function, Address: s.Address + uint16(i)}] = v
			}
			answered = append(answered, s)
			r.mute[s] = -1
		case modbus.OutcomeOf(err) == modbus.Refused:
			todo = append(halves, todo...)
		case modbus.OutcomeOf(err) == modbus.PortLost:
			return nil, err
		default:
			answered, last = append(answered, s), err
			if r.mute[s] >= 0 {
				r.mute[s]++
			}
		}
		r.clk.Sleep(ctx, pause)
	}
	if ctx.Err() == nil {
		r.spans = answered
	}
	if len(read) > 0 {
		last = nil
		r.giveUp()
	} else if last == nil && ctx.Err() == nil {
		last = errors.New("the device refuses every register that was asked for: name others with --from, --count or --function")
	}
	return read, last
}

// giveUp leaves out what never answers, of a device that does.
func (r *Reader) giveUp() {
	r.spans = slices.DeleteFunc(r.spans, func(s registers.Span) bool {
		mute := r.mute[s] >= mostMute
		if mute {
			r.refused = append(r.refused, Refusal{s, fmt.Sprintf("no answer, %d times; some devices are silent where a part does not exist: ask for less with --count", mostMute)})
		}
		return mute
	})
}

// values are what a span reads: a coil or a discrete input is 0 or 1.
func values(s registers.Span, data []byte) []uint16 {
	if s.Function != modbus.ReadCoils && s.Function != modbus.ReadInputs {
		return modbus.Registers(data)
	}
	all := make([]uint16, s.Count)
	for i, on := range modbus.Bits(data, int(s.Count)) {
		if on {
			all[i] = 1
		}
	}
	return all
}

// smaller is what is left to ask for after a refusal: halves, unless the device knows the
// function not at all or refuses a single register.
func (r *Reader) smaller(s registers.Span, err error) []registers.Span {
	refused, is := errors.AsType[modbus.Exception](err)
	if !is {
		return nil
	}
	if s.Count > 1 && refused.Code != modbus.IllegalFunction {
		half := s.Count / 2
		return []registers.Span{{Function: s.Function, Address: s.Address, Count: half}, {Function: s.Function, Address: s.Address + half, Count: s.Count - half}}
	}
	if last := len(r.refused) - 1; last >= 0 && r.refused[last].follows(s, refused) {
		r.refused[last].Count++
	} else {
		r.refused = append(r.refused, Refusal{s, refused.Error()})
	}
	return nil
}

// follows reports whether a register stands right behind what was refused alike.
func (r Refusal) follows(s registers.Span, why modbus.Exception) bool {
	return s.Count == 1 && r.Function == s.Function && int(r.Address)+int(r.Count) == int(s.Address) && r.Why == why.Error()
}

package registers

import (
	"cmp"
	"fmt"
	"slices"
)

// Span is what one request reads or writes.
type Span struct {
	Function uint8
	Address  uint16 // as on the wire, from 0
	Count    uint16 // registers or bits
}

// Place is where something lies in the data of a plan's spans.
type Place struct {
	Span   int // which of the plan's spans
	Offset int // registers or bits before it in that span
	Count  int // registers or bits
}

// At returns what lies at a place in the registers or bits of its span, nothing
// if these end before it. It aliases the data.
func At[T uint16 | bool](data []T, p Place) []T {
	if p.Offset+p.Count > len(data) {
		return nil
	}
	return data[p.Offset : p.Offset+p.Count]
}

// Plan is the requests that together read or write the channels of one device,
// in the order of function and address.
type Plan struct {
	Spans    []Span
	values   map[int]Place
	statuses map[int]Place
}

// Value returns where a channel's registers or bit lie, by the channel's index in
// what was planned; false for one that is not part of the plan.
func (p Plan) Value(channel int) (Place, bool) {
	place, ok := p.values[channel]
	return place, ok
}

// Status returns where a channel's status register lies, by the channel's index;
// false for one that has none or is not part of the plan.
func (p Plan) Status(channel int) (Place, bool) {
	place, ok := p.statuses[channel]
	return place, ok
}

// PlanReads plans the requests that read those of one device's channels which are
// read, with their status registers. What lies next to each other, or with at
// most maxGap registers or bits between that nobody wants, is read in one request
// as far as the standard's limits allow. With a maxGap of 0 no address is read
// that no channel has: some devices refuse a request that contains one. A value
// is never split over two requests.
func PlanReads(channels []Channel, maxGap int) Plan {
	var wants []want
	for i, c := range channels {
		if !reads(c.Function) {
			continue
		}
		wants = append(wants, c.want(i))
		if c.Status != nil && reads(c.Status.Function) {
			wants = append(wants, want{function: c.Status.Function, address: int(c.Status.Address), count: 1, channel: i, status: true})
		}
	}
	return group(wants, max(maxGap, 0))
}

// PlanWrites plans the requests that write those of one device's channels which
// are written. Functions 15 and 16 write neighbours in one request, 5 and 6 one
// channel each, and nothing is written that no channel has. A set-point has a request of its
// own: it is judged by itself whether its controller took it, and one that changes wears no
// other's memory. The error says which
// two channels would write the same place.
func PlanWrites(channels []Channel) (Plan, error) {
	var wants []want
	for i, c := range channels {
		if writes(c.Function) {
			wants = append(wants, c.want(i))
		}
	}
	if err := checkApart(channels, wants); err != nil {
		return Plan{}, err
	}
	return group(wants, 0), nil
}

// want is a channel's value or status, where it is.
type want struct {
	function uint8
	address  int
	count    int
	channel  int
	status   bool
	alone    bool // with nothing else in its request
}

func (c Channel) want(channel int) want {
	return want{function: c.Function, address: int(c.Address), count: c.Registers(), channel: channel, alone: c.Role == Setpoint}
}

func (w want) end() int { return w.address + w.count }

// group joins what fits into one request. The order of the channels does not
// matter to the spans.
func group(wants []want, maxGap int) Plan {
	slices.SortStableFunc(wants, func(a, b want) int {
		return cmp.Or(cmp.Compare(a.function, b.function), cmp.Compare(a.address, b.address), cmp.Compare(a.count, b.count))
	})
	p := Plan{values: map[int]Place{}, statuses: map[int]Place{}}
	for i, w := range wants {
		apart := i == 0 || w.alone || wants[i-1].alone
		if last := len(p.Spans) - 1; apart || !p.Spans[last].reach(w, maxGap) {
			p.Spans = append(p.Spans, Span{w.function, uint16(w.address), uint16(w.count)})
		}
		p.place(w)
	}
	return p
}

// reach lengthens the span to take something in, and reports whether it could.
func (s *Span) reach(w want, maxGap int) bool {
	start, end := int(s.Address), int(s.Address)+int(s.Count)
	longer := max(end, w.end()) - start
	if w.function != s.Function || w.address-end > maxGap || longer > mostAtOnce(s.Function) {
		return false
	}
	s.Count = uint16(longer)
	return true
}

// place notes that something lies in the last span.
func (p *Plan) place(w want) {
	last := len(p.Spans) - 1
	at := Place{Span: last, Offset: w.address - int(p.Spans[last].Address), Count: w.count}
	if w.status {
		p.statuses[w.channel] = at
		return
	}
	p.values[w.channel] = at
}

// checkApart finds two channels that would write the same coil or register,
// whatever function each writes it by.
func checkApart(channels []Channel, wants []want) error {
	for i, a := range wants {
		for _, b := range wants[:i] {
			if writesBits(a.function) == writesBits(b.function) && a.address < b.end() && b.address < a.end() {
				return fmt.Errorf("%s and %s both write address %d of device %s, give each its own",
					channels[b.channel].what(), channels[a.channel].what(), max(a.address, b.address), channels[a.channel].Device)
			}
		}
	}
	return nil
}

// what names the channel in messages.
func (c Channel) what() string {
	if c.Pot == "" {
		return string(c.Role)
	}
	return fmt.Sprintf("%s of pot %s", c.Role, c.Pot)
}

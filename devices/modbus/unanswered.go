package modbus

import (
	"errors"
	"maps"
	"slices"
	"time"
)

// shape is what a reply can be recognised by: beside unit and function the
// address of a write, or the number of bytes of a read.
type shape struct {
	function uint8
	mark     uint16
}

func (r Request) shape() shape {
	if r.Writes() {
		return shape{r.Function, r.Address}
	}
	return shape{r.Function, uint16(r.size())}
}

// unanswered are the requests to a unit whose replies may still come. Each bars
// its shape, until the unit has answered a later request of another shape, since
// devices answer in order, or until the last of them is too old.
type unanswered struct {
	counts *Counts // of the device that was asked last
	shapes []shape
	until  time.Duration
	// told are those for whose answer nobody waited, and until when each bars its
	// shape. They count by themselves: one that is told again and again must not
	// keep the unit from being asked anything else for ever.
	told map[shape]time.Duration
}

// bars returns until when a shape is barred; the time may be over.
func (u *unanswered) bars(s shape) time.Duration {
	if u == nil {
		return 0
	}
	if slices.Contains(u.shapes, s) {
		return max(u.until, u.told[s])
	}
	return u.told[s]
}

// awaits reports whether a reply to an earlier request of a function may still come.
func (u *unanswered) awaits(function uint8, now time.Duration) bool {
	if u == nil {
		return false
	}
	of := func(s shape) bool { return s.function == function && now < u.bars(s) }
	return slices.ContainsFunc(u.shapes, of) || slices.ContainsFunc(slices.Collect(maps.Keys(u.told)), of)
}

var errDoubtful = errors.New("a refusal that may be meant for an earlier request")

// bar notes a request that was not answered.
func (c *Client) bar(d *Device, r Request, sentAt time.Duration) {
	u := c.of(r.Unit)
	if sentAt >= u.until {
		u.shapes = u.shapes[:0]
	}
	if !slices.Contains(u.shapes, r.shape()) {
		u.shapes = append(u.shapes, r.shape())
	}
	u.until, u.counts = c.lastReply(d, r, sentAt), &d.Counts
}

// barTold notes a request for whose answer nobody waited.
func (c *Client) barTold(d *Device, r Request, sentAt time.Duration) {
	u := c.of(r.Unit)
	if u.told == nil {
		u.told = map[shape]time.Duration{}
	}
	u.told[r.shape()] = c.lastReply(d, r, sentAt)
}

// of returns what a unit has not answered.
func (c *Client) of(unit uint8) *unanswered {
	if c.unanswered[unit] == nil {
		c.unanswered[unit] = &unanswered{}
	}
	return c.unanswered[unit]
}

// lastReply returns until when the reply to a request can come.
func (c *Client) lastReply(d *Device, r Request, sentAt time.Duration) time.Duration {
	return sentAt + max(longestLate, 2*d.Timeout) + c.timing.Of(r.ReplyLength())
}

// barred reports whether a late reply to an earlier request could be taken for
// the request's.
func (c *Client) barred(r Request) bool { return c.clk.Now() < c.unanswered[r.Unit].bars(r.shape()) }

// Barred reports whether a late reply to an earlier request could be taken for the
// request's, so that an exchange would have to make sure first.
func (c *Client) Barred(d *Device, r Request) bool {
	r.Unit = d.Unit
	return c.barred(r)
}

// freeAt returns from when on the request can be made.
func (c *Client) freeAt(r Request) time.Duration {
	if c.barred(r) {
		return c.unanswered[r.Unit].bars(r.shape())
	}
	return 0
}

// answers reports whether a whole frame, parsed with the given error, answers the
// request. A refusal carries nothing but the function, so an earlier request of
// the same function puts it in doubt.
func (c *Client) answers(r Request, err error) bool {
	return err == nil || OutcomeOf(err) == Refused && !c.unanswered[r.Unit].awaits(r.Function, c.clk.Now())
}

// errNoAnswer returns the error of a frame that is not the answer.
func errNoAnswer(err error) error {
	if OutcomeOf(err) == Refused {
		return errDoubtful
	}
	return err
}

// ReadyAt returns the bench time from which an exchange does not have to wait for
// an earlier request's late reply.
func (c *Client) ReadyAt(d *Device, r Request) time.Duration {
	r.Unit = d.Unit
	if _, ok := c.other(r); ok {
		return 0
	}
	return c.freeAt(r)
}

// overtake lifts the bar from a request's shape, if it can, by a read of another
// shape: once that is answered, nothing from before can come any more.
func (c *Client) overtake(d *Device, r Request) error {
	if !c.barred(r) {
		return nil
	}
	read, ok := c.other(r)
	if !ok {
		return nil
	}
	_, err := c.exchange(d, read)
	if OutcomeOf(err) == Refused {
		return nil
	}
	return err
}

// other returns a harmless request of another shape that is not barred.
func (c *Client) other(r Request) (Request, bool) {
	read := r.readBack()
	return read, !c.barred(read)
}

// Unbarred returns a read of a request's address, in one table of the standard or
// another, to which no late reply can be taken for the answer. The device may refuse it;
// that, too, shows that nothing from before can come. It is for a request that can not
// wait for its own bar.
func (c *Client) Unbarred(d *Device, r Request) (Request, bool) {
	for f := ReadCoils; f <= ReadInput; f++ {
		if read := (Request{Unit: d.Unit, Function: f, Address: r.Address, Quantity: 1}); !c.barred(read) {
			return read, true
		}
	}
	return Request{}, false
}

// readBack returns a read, of a shape other than the request's, of addresses that
// the request names.
func (r Request) readBack() Request {
	read := Request{Unit: r.Unit, Function: r.Function, Address: r.Address, Quantity: 1}
	switch {
	case r.Function == WriteCoil || r.Function == WriteCoils:
		read.Function = ReadCoils
	case r.Writes():
		read.Function = ReadHolding
	case r.size() > 2 && !ofBits(r.Function):
		read.Quantity = r.Quantity - 1
	case r.size() > 1 && ofBits(r.Function):
		read.Quantity = 8 * uint16(r.size()-1)
	default:
		// The same table of the standard's other function, which may be refused.
		read.Function = siblings[r.Function]
	}
	return read
}

var siblings = map[uint8]uint8{
	ReadCoils: ReadInputs, ReadInputs: ReadCoils, ReadHolding: ReadInput, ReadInput: ReadHolding,
}

package modbus

import (
	"errors"
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

// unanswered are the requests to a unit whose replies may still come, and until
// when, by shape. Each bars its own shape only, and only for as long as its own
// reply can come: one that is told again and again bars no question for ever. All
// end when the unit has answered a request of a shape that is not barred, since
// devices answer in order.
type unanswered map[shape]time.Duration

var errDoubtful = errors.New("a refusal that may be meant for an earlier request")

// bar notes a request that was not answered.
func (c *Client) bar(d *Device, r Request, sentAt time.Duration) {
	u := c.unanswered[r.Unit]
	if u == nil {
		u = unanswered{}
		c.unanswered[r.Unit] = u
	}
	u[r.shape()] = sentAt + max(longestLate, 2*d.Timeout) + c.timing.of(r.ReplyLength())
}

// barred reports whether a late reply to an earlier request could be taken for
// the request's.
func (c *Client) barred(r Request) bool { return c.clk.Now() < c.unanswered[r.Unit][r.shape()] }

// Barred reports whether a late reply to an earlier request could be taken for the
// request's, so that an exchange would have to make sure first.
func (c *Client) Barred(d *Device, r Request) bool {
	r.Unit = d.Unit
	return c.barred(r)
}

// freeAt returns from when on the request can be made.
func (c *Client) freeAt(r Request) time.Duration {
	if c.barred(r) {
		return c.unanswered[r.Unit][r.shape()]
	}
	return 0
}

// answers reports whether a whole frame, parsed with the given error, answers the
// request. A refusal carries nothing but the function, so an earlier request of
// the same function puts it in doubt.
func (c *Client) answers(r Request, err error) bool {
	if err == nil {
		return true
	}
	return OutcomeOf(err) == Refused && !c.awaits(r.Unit, r.Function)
}

// awaits reports whether a reply to an earlier request of a function may still come.
func (c *Client) awaits(unit, function uint8) bool {
	for s, until := range c.unanswered[unit] {
		if s.function == function && c.clk.Now() < until {
			return true
		}
	}
	return false
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

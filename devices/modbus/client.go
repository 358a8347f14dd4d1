package modbus

import (
	"errors"
	"fmt"
	"time"

	"meltwarden/devices/clock"
)

// Port is what the client needs of a serial port.
type Port interface {
	// Read returns 0 and no error when nothing came within the time-out.
	Read(p []byte) (int, error)
	// Write may block for ever when nobody takes the bytes.
	Write(p []byte) (int, error)
	SetReadTimeout(t time.Duration) error
	// Close may block for long.
	Close() error
}

// Device is one unit on a line, as the client addresses it.
type Device struct {
	Name string
	Unit uint8 // 1 to 247
	// Timeout is how long after the end of a request the device may take to begin
	// its reply, in bench time.
	Timeout time.Duration
	// Counts are the exchanges with the device since its making, Trips how long those took
	// that were answered.
	Counts Counts
	Trips  Trips
}

// Client exchanges requests and replies over one port. Everything but the port's
// own writes and its closing happens on the caller's goroutine, and only one may
// call. After a failure of the port the client is of no more use.
//
// # No answer to another question
//
// Unit, function, length and check are tested on every reply, and for a write
// also what was written. A late reply of the same shape passes all of these:
// nothing on the wire tells it from the right one. So a request that got no good
// answer bars its shape (see unanswered) until its late reply can not come any
// more; requests of other shapes and to other units go on meanwhile. Before every
// request the client listens until the line has been silent, for longer after
// anything unexpected, and discards what it hears. The first thing to arrive
// decides an exchange: after a bad frame the client does not wait for a better
// one.
//
// What remains is the assumption that a device answers a request once, in the
// order in which it was asked, and not later than longestLate.
type Client struct {
	port   Port
	clk    *clock.Clock
	timing Timing
	writer *writer
	failed error // of the port; once set it stays

	// lastHeard is when the line last carried anything, lastOdd when it last
	// carried something unexpected.
	lastHeard, lastOdd time.Duration
	unanswered         map[uint8]*unanswered // by unit
	strange            *Counts               // whose exchange was answered by something that begins with another unit's number
	echo               echo
	sent, heard        []byte
}

const (
	// longestLate is how long after a request its reply can come (estimate, no
	// source; a device's Timeout is when it is given up, not what it can do).
	longestLate = 2 * time.Second
	// afterOdd is the silence that ends something unexpected. Common practice, no
	// source: adapters on a universal serial bus hand bytes over in batches up to
	// 16 ms apart.
	afterOdd = 20 * time.Millisecond
	// babbleAfter is how long a line may carry unasked bytes before a request is
	// given up.
	babbleAfter = 500 * time.Millisecond
	// writeWithin is how long, beyond the time on the wire, a port may take to
	// accept a request.
	writeWithin = 500 * time.Millisecond
	// longestListen is how long the clock is not looked at, at most: a fast one
	// changes its pace, and rests when nobody looks.
	longestListen = 200 * time.Millisecond
)

// NewClient returns a client on an open port at the given speed in bits per
// second. Its gaps and time-outs are in the clock's bench time.
func NewClient(port Port, baud int, clk *clock.Clock) *Client {
	now := clk.Now()
	return &Client{
		port: port, clk: clk, timing: TimingOf(baud, CharacterBits), writer: newWriter(port),
		// What was on the line before is unknown: begin as after something odd.
		lastHeard: now, lastOdd: now,
		unanswered: map[uint8]*unanswered{},
		sent:       make([]byte, 0, MaxFrame),
		heard:      make([]byte, 0, 2*MaxFrame),
	}
}

// Characters tells the client how many bits a character has on its line, for what time
// frames take; without it they have CharacterBits.
func (c *Client) Characters(baud, bits int) { c.timing = TimingOf(baud, bits) }

// Close, to be called once, gives the port up. It does not wait: the returned channel is closed when
// the port is closed and no write to it is under way any more.
func (c *Client) Close() <-chan struct{} {
	if c.failed == nil {
		c.failed = errClosed
	}
	return c.writer.close()
}

// Exchange makes a request of the device and returns what was read, as on the
// wire; it is valid until the next exchange. The request's Unit is the device's,
// and the request must pass Check. If an earlier request's late reply could be
// taken for this one's, the exchange first makes sure that it can not; see
// ReadyAt. Every error is an *Error.
func (c *Client) Exchange(d *Device, r Request) ([]byte, error) {
	r.Unit = d.Unit
	err := c.learnEcho(d, r)
	if err == nil {
		err = c.overtake(d, r)
	}
	if err != nil {
		return nil, c.count(d, r, err)
	}
	data, err := c.exchange(d, r)
	return data, c.count(d, r, err)
}

// Tell sends a write and does not ask whether it was heard: for what must not wait
// until an answer can be told from a late one. What is answered confirms nothing
// and is discarded; it bars its shape like any reply that may still come.
func (c *Client) Tell(d *Device, r Request) error {
	r.Unit = d.Unit
	if c.failed != nil {
		return c.failed
	}
	if err := c.settle(0); err != nil && !errors.Is(err, ErrNeverSilent) {
		return err
	}
	c.sent = r.Append(c.sent[:0])
	if err := c.send(); err != nil {
		return err
	}
	c.barTold(d, r, c.lastHeard)
	err := c.settle(c.lastHeard + d.Timeout)
	if errors.Is(err, ErrNeverSilent) {
		return nil
	}
	return err
}

// count notes the outcome and wraps the error.
func (c *Client) count(d *Device, r Request, err error) error {
	d.Counts.add(err)
	if err == nil {
		return nil
	}
	if errors.Is(err, ErrUnit) {
		c.strange = &d.Counts
	}
	return &Error{Device: d.Name, Unit: r.Unit, Function: r.Function, Address: r.Address, Outcome: OutcomeOf(err), Err: err}
}

// exchange makes a request, waiting first while its shape is barred.
func (c *Client) exchange(d *Device, r Request) ([]byte, error) {
	if c.failed != nil {
		return nil, c.failed
	}
	if err := c.settle(c.freeAt(r)); err != nil {
		return nil, err
	}
	c.sent = r.Append(c.sent[:0])
	began := c.clk.Now()
	if err := c.send(); err != nil {
		return nil, err
	}
	sentAt := c.lastHeard
	frame, err := c.receive(r, sentAt+d.Timeout+c.timing.Of(r.ReplyLength()))
	if err != nil {
		c.bar(d, r, sentAt)
		return nil, err
	}
	data, err := r.ParseReply(frame)
	if c.answers(r, err) {
		round := c.lastHeard - began
		d.Trips.add(trip{round, max(0, round-c.timing.Of(len(c.sent)+len(frame)))})
		delete(c.unanswered, r.Unit)
		return data, err
	}
	c.lastOdd = c.lastHeard
	c.bar(d, r, sentAt)
	return nil, errNoAnswer(err)
}

// settle listens until the given time, and until the line has been silent for as
// long as it must be before a request, and discards what it hears.
func (c *Client) settle(until time.Duration) error {
	giveUp := max(until, c.clk.Now()) + babbleAfter
	for {
		now := c.clk.Now()
		if now > giveUp {
			return ErrNeverSilent
		}
		free := max(until, c.lastHeard+c.timing.Silence, c.lastOdd+afterOdd)
		n, err := c.listen(free - now)
		if err != nil {
			return err
		}
		if n > 0 {
			c.lastOdd = c.lastHeard
			if len(c.heard) < cap(c.heard) {
				continue
			}
		}
		c.judge()
		c.heard = c.heard[:0]
		if n == 0 && c.clk.Now() >= free {
			return nil
		}
	}
}

// listen waits at most for the given span for bytes and appends them to heard.
func (c *Client) listen(span time.Duration) (int, error) {
	var wait time.Duration
	if span > 0 {
		// Never round down to no wait at all: in virtual time nothing would pass.
		wait = max(1, c.clk.Real(min(span, longestListen)))
	}
	if err := c.port.SetReadTimeout(wait); err != nil {
		return 0, c.fail(err)
	}
	n, err := c.port.Read(c.heard[len(c.heard):cap(c.heard)])
	if err != nil {
		return 0, c.fail(err)
	}
	if n > 0 {
		c.heard = c.heard[:len(c.heard)+n]
		c.lastHeard = c.clk.Now()
	}
	return n, nil
}

// send writes the request. The line is busy with it until lastHeard.
func (c *Client) send() error {
	c.heard = c.heard[:0]
	wire := c.timing.Of(len(c.sent))
	start := c.clk.Now()
	if err := c.writer.write(c.sent, c.clk.Real(wire+writeWithin)); err != nil {
		return c.fail(err)
	}
	// A port may take the bytes at once or only as they go out.
	c.lastHeard = max(c.clk.Now(), start+wire)
	return nil
}

// receive returns the first whole frame after the request's own echo, if the line
// has one. Gaps between bytes do not matter: adapters put them in.
func (c *Client) receive(r Request, deadline time.Duration) ([]byte, error) {
	for {
		now := c.clk.Now()
		if now >= deadline {
			return nil, c.late(r)
		}
		n, err := c.listen(deadline - now)
		if err != nil {
			return nil, err
		}
		if n == 0 {
			continue
		}
		reply, echoed := c.afterEcho(r)
		length, err := r.replyLength(reply)
		if err != nil {
			c.lastOdd = c.lastHeard
			return nil, err
		}
		if length > 0 && len(reply) >= length {
			c.echo = echoSeen(echoed)
			return reply[:length], nil
		}
		if len(c.heard) == cap(c.heard) {
			c.lastOdd = c.lastHeard
			return nil, ErrLength
		}
	}
}

// late says how much of a reply came before the deadline.
func (c *Client) late(r Request) error {
	reply, echoed := c.afterEcho(r)
	if !r.single() && (echoed || len(c.heard) == 0) {
		c.echo = echoSeen(echoed)
	}
	if len(reply) == 0 {
		return errTimeout
	}
	c.lastOdd = c.lastHeard
	return fmt.Errorf("%w: %d of %d bytes came", errCutShort, len(reply), r.ReplyLength())
}

// fail marks the port as lost.
func (c *Client) fail(err error) error {
	c.failed = fmt.Errorf("%w: %w", errPort, err)
	return c.failed
}

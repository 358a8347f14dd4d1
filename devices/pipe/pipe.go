// Package pipe is a serial line in memory: two ends with the manners of a serial
// port, which wait on channels and timers only, so that both can run in virtual
// time. What is written at one end is read at the other, in order and whole. Like
// a port, an end buffers a bounded amount and then blocks its writer.
package pipe

import (
	"errors"
	"sync"
	"time"
)

// Capacity is how many bytes an end takes before its writer must wait for the
// other end to read, as a terminal's buffer does.
const Capacity = 4096

// What an end says when it is closed, by either side.
var (
	ErrClosed = errors.New("this end of the line is closed")
	ErrHungUp = errors.New("the other end of the line hung up")
)

// New returns the two ends of a line.
func New() (*End, *End) {
	ab, ba := newDirection(), newDirection()
	aClosed, bClosed := make(chan struct{}), make(chan struct{})
	return &End{in: ba, out: ab, closed: aClosed, hungUp: bClosed, timeout: -1},
		&End{in: ab, out: ba, closed: bClosed, hungUp: aClosed, timeout: -1}
}

// direction carries bytes one way. Both channels hold one wake-up.
type direction struct {
	mu       sync.Mutex
	waiting  []byte
	readable chan struct{}
	writable chan struct{}
}

func newDirection() *direction {
	return &direction{readable: make(chan struct{}, 1), writable: make(chan struct{}, 1)}
}

func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// take moves waiting bytes into p.
func (d *direction) take(p []byte) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := copy(p, d.waiting)
	d.waiting = append(d.waiting[:0], d.waiting[n:]...)
	if n > 0 {
		wake(d.writable)
	}
	return n
}

// put takes over as many bytes of p as there is room for.
func (d *direction) put(p []byte) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := min(len(p), Capacity-len(d.waiting))
	d.waiting = append(d.waiting, p[:n]...)
	if n > 0 {
		wake(d.readable)
	}
	return n
}

// End is one end of a line: one goroutine may read, one may write, and any may
// close it.
type End struct {
	in, out *direction
	once    sync.Once
	closed  chan struct{}
	hungUp  <-chan struct{}
	timeout time.Duration
}

// SetReadTimeout sets how long Read waits for a first byte; negative, as at the
// start, means for ever.
func (e *End) SetReadTimeout(t time.Duration) error {
	e.timeout = t
	return nil
}

// Read returns what has come, or 0 and no error when nothing came in time. What
// came before the other end hung up is still read.
func (e *End) Read(p []byte) (int, error) {
	var late <-chan time.Time
	if e.timeout >= 0 {
		t := time.NewTimer(e.timeout)
		defer t.Stop()
		late = t.C
	}
	for {
		if e.isClosed() {
			return 0, ErrClosed
		}
		if n := e.in.take(p); n > 0 {
			return n, nil
		}
		select {
		case <-e.in.readable:
		case <-e.closed:
		case <-e.hungUp:
			// What was written before the hang-up may have come just now.
			if n := e.in.take(p); n > 0 {
				return n, nil
			}
			return 0, ErrHungUp
		case <-late:
			return 0, nil
		}
	}
}

// Write returns when the other end's buffer holds all of p. It waits without
// limit for room, as a serial port does.
func (e *End) Write(p []byte) (int, error) {
	n := 0
	for {
		select {
		case <-e.closed:
			return n, ErrClosed
		case <-e.hungUp:
			return n, ErrHungUp
		default:
		}
		if n += e.out.put(p[n:]); n == len(p) {
			return n, nil
		}
		select {
		case <-e.out.writable:
		case <-e.closed:
		case <-e.hungUp:
		}
	}
}

func (e *End) isClosed() bool {
	select {
	case <-e.closed:
		return true
	default:
		return false
	}
}

// Close ends every read and write at this end, and hangs up on the other.
func (e *End) Close() error {
	e.once.Do(func() { close(e.closed) })
	return nil
}

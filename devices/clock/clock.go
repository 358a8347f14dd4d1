// Package clock is the bench's time: monotonic, counted from its making, and
// for the simulated bench optionally faster than the wall's.
//
// At ×1 it is plain monotonic time, because there a gap is a gap. Above ×1 a
// computer that can not keep up must not look like a dead line: bench time then
// moves by ticks that wait for the processor like everything else in the
// program, and slows down for whoever reports that he could not keep up.
package clock

import (
	"context"
	"sync"
	"time"
)

const (
	// tick is how often, on the wall, fast time is let go on. A cycle of the daemon
	// takes some two dozen turns of waiting for the processor; a tick takes one, so
	// it has to stand for a small part of a cycle.
	tick = 250 * time.Microsecond
	// ahead is how many ticks' worth of bench time may pass between two of them.
	ahead = 2
	// rests is how long after the last look at it a fast clock stops ticking.
	rests = time.Second
)

// Clock gives bench time. It is safe for use by several goroutines.
type Clock struct {
	speed   float64 // what was asked for
	stepped bool    // it goes on only when told
	start   time.Time

	mu     sync.Mutex
	pace   float64       // what the computer can carry now: 1 to speed
	last   time.Time     // wall time of the last look
	bench  time.Duration // bench time at the last look
	limit  time.Duration // how far fast time may go before the next tick
	looked time.Time     // when somebody but the tick last looked
	asleep int           // how many are in Sleep
	armed  bool
}

// New returns a clock that runs speed times as fast as the wall's, from zero.
// A speed below 1 counts as 1.
func New(speed float64) *Clock {
	if !(speed > 1) {
		speed = 1
	}
	now := time.Now()
	c := &Clock{speed: speed, pace: speed, start: now, last: now}
	c.limit = c.span()
	return c
}

// Stepped returns a clock that stands at zero and goes on only by Advance.
func Stepped() *Clock { return &Clock{speed: 1, pace: 1, stepped: true} }

// Advance lets a stepped clock go on; another one does not listen.
func (c *Clock) Advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.bench += d
}

// Speed returns how many times faster than the wall's the clock runs.
func (c *Clock) Speed() float64 { return c.speed }

// Now returns the bench time since New.
func (c *Clock) Now() time.Duration {
	if c.stepped {
		c.mu.Lock()
		defer c.mu.Unlock()
		return c.bench
	}
	if c.speed == 1 {
		return time.Since(c.start)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	c.looked = now
	c.arm()
	return c.advance(now)
}

// span is the bench time that may pass until the next tick.
func (c *Clock) span() time.Duration { return time.Duration(ahead * float64(tick) * c.pace) }

// advance moves bench time on, up to the limit.
func (c *Clock) advance(now time.Time) time.Duration {
	c.bench = min(c.bench+time.Duration(float64(now.Sub(c.last))*c.pace), c.limit)
	c.last = now
	return c.bench
}

// arm sets off the next tick, if none is under way.
func (c *Clock) arm() {
	if !c.armed {
		c.armed = true
		time.AfterFunc(tick, c.tick)
	}
}

// tick lets time go on.
func (c *Clock) tick() {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	c.limit = c.advance(now) + c.span()
	c.armed = false
	if c.asleep > 0 || now.Sub(c.looked) < rests {
		c.arm()
	}
}

// Real returns how long a span of bench time takes on the wall, at the present pace.
func (c *Clock) Real(bench time.Duration) time.Duration {
	if c.speed == 1 {
		return bench
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Duration(float64(bench) / c.pace)
}

// quicken is by how much a fast clock that is kept up with regains its speed.
const quicken = 1.1

// KeptUp tells a fast clock whether the computer could do in time what it had to.
// If not, time slows down by half at once, as far as ×1; otherwise it regains its
// speed little by little. Plain time does not listen.
func (c *Clock) KeptUp(yes bool) {
	if c.speed == 1 {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(time.Now()) // what has passed, passed at the old pace
	if yes {
		c.pace = min(c.pace*quicken, c.speed)
	} else {
		c.pace = max(c.pace/2, 1)
	}
}

func (c *Clock) sleepers(more int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asleep += more
}

// Sleep waits for a span of bench time, or until the context ends; it reports
// whether the span passed.
func (c *Clock) Sleep(ctx context.Context, bench time.Duration) bool {
	c.sleepers(1)
	defer c.sleepers(-1)
	until := c.Now() + bench
	for left := bench; left > 0; left = until - c.Now() {
		t := time.NewTimer(max(1, c.Real(left)))
		select {
		case <-t.C:
		case <-ctx.Done():
			t.Stop()
			return false
		}
	}
	return ctx.Err() == nil
}

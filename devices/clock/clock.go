// Package clock is the bench's time: monotonic, counted from its making, and
// for the simulated bench optionally faster than the wall's.
//
// Above ×1 a starved computer must not look like a dead line: when nobody could
// ask for the time for long (the whole process was held up), the bench's clock
// goes on by at most maxLeap instead of by the whole gap. At ×1 it is plain
// monotonic time, because there a gap is a gap.
package clock

import (
	"context"
	"sync"
	"time"
)

// maxLeap is the most bench time that may pass unobserved above ×1.
const maxLeap = 400 * time.Millisecond

// Clock gives bench time. It is safe for use by several goroutines.
type Clock struct {
	speed float64
	mu    sync.Mutex
	last  time.Time
	bench time.Duration
}

// New returns a clock that runs speed times as fast as the wall's, from zero.
// A speed below 1 counts as 1.
func New(speed float64) *Clock {
	if !(speed > 1) {
		speed = 1
	}
	return &Clock{speed: speed, last: time.Now()}
}

// Speed returns how many times faster than the wall's the clock runs.
func (c *Clock) Speed() float64 { return c.speed }

// Now returns the bench time since New.
func (c *Clock) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	real := now.Sub(c.last)
	c.last = now
	step := time.Duration(float64(real) * c.speed)
	if c.speed > 1 && step > maxLeap {
		step = maxLeap
	}
	c.bench += step
	return c.bench
}

// Real returns how long a span of bench time takes on the wall.
func (c *Clock) Real(bench time.Duration) time.Duration {
	return time.Duration(float64(bench) / c.speed)
}

// Sleep waits for a span of bench time, or until the context ends; it reports
// whether the span passed.
func (c *Clock) Sleep(ctx context.Context, bench time.Duration) bool {
	if bench <= 0 {
		return ctx.Err() == nil
	}
	t := time.NewTimer(c.Real(bench))
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

package clock

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestRunsAtItsSpeed(t *testing.T) {
	for _, speed := range []float64{0, 1, 3, 20} {
		synctest.Test(t, func(t *testing.T) {
			c := New(speed)
			want := max(speed, 1)
			first, began := c.Now(), time.Now() // from the first look on it ticks
			for range 1000 {
				time.Sleep(time.Millisecond)
				c.Now()
			}
			assert.InEpsilon(t, want*time.Since(began).Seconds(), (c.Now() - first).Seconds(), 1e-6)
			assert.Equal(t, time.Second, c.Real(time.Duration(want*float64(time.Second))))
		})
	}
}

// TestGapIsAGapOnlyInRealTime: at ×1 nothing hides that nobody ran; above, the
// ticks that did not run hold time up. A bubble's ticks always run, so that here
// the limit itself is tried.
func TestGapIsAGapOnlyInRealTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		real := New(1)
		time.Sleep(time.Minute)
		assert.Equal(t, time.Minute, real.Now())

		fast := New(20)
		time.Sleep(time.Minute) // not looked at yet: no tick is under way
		assert.Equal(t, ahead*20*tick, fast.Now())
	})
}

func TestSleepsBenchTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := New(10)
		before, began := c.Now(), time.Now()
		assert.True(t, c.Sleep(t.Context(), 20*time.Second))
		assert.GreaterOrEqual(t, c.Now()-before, 20*time.Second)
		assert.InDelta(t, 2, time.Since(began).Seconds(), 0.01)

		ended, end := context.WithCancel(t.Context())
		end()
		assert.False(t, c.Sleep(ended, time.Hour))
		assert.False(t, c.Sleep(ended, 0))
	})
}

// TestSlowsDownForWhoCanNotKeepUp, at once, and comes back little by little.
func TestSlowsDownForWhoCanNotKeepUp(t *testing.T) {
	fast := New(20)
	for range 10 {
		fast.KeptUp(false)
	}
	assert.Equal(t, time.Second, fast.Real(time.Second), "never slower than the wall")
	fast.KeptUp(true)
	assert.Less(t, fast.Real(time.Second), time.Second)
	for range 1000 {
		fast.KeptUp(true)
	}
	assert.Equal(t, time.Second/20, fast.Real(time.Second))

	plain := New(1)
	plain.KeptUp(false)
	assert.Equal(t, time.Second, plain.Real(time.Second))
}

package estimate_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/estimate"
	"meltwarden/control/reading"
)

const maxAge = time.Second

func at(c float64, age time.Duration) reading.Temperature {
	return reading.Temperature{C: c, Age: age, Fault: reading.None}
}

// TestFilterFollowsAStep: a first-order lag of 2 s has gone 1-1/e of the way after
// 2 s, however often it was told (elementary).
func TestFilterFollowsAStep(t *testing.T) {
	for _, every := range []time.Duration{100 * time.Millisecond, 500 * time.Millisecond, 2 * time.Second} {
		e := estimate.OfMelt()
		e.Take(at(0, 0), true, 0, maxAge)
		for now := every; now <= 2*time.Second; now += every {
			e.Take(at(100, 0), true, now, maxAge)
		}
		assert.InDelta(t, 100*(1-math.Exp(-1)), e.C(), 1e-9)
	}
}

// TestSlopeOfARamp: once the filters have settled the slope is the ramp's own.
func TestSlopeOfARamp(t *testing.T) {
	e := estimate.OfPlate()
	for now := time.Duration(0); now < 2*time.Minute; now += 100 * time.Millisecond {
		e.Take(at(1.5*now.Seconds(), 0), true, now, maxAge)
	}
	assert.InDelta(t, 1.5, e.Slope(), 0.01)
}

// TestASampleCountsOnce: by when it was taken, not by when it was seen.
func TestASampleCountsOnce(t *testing.T) {
	e := estimate.OfMelt()
	e.Take(at(20, 0), true, 0, maxAge)
	e.Take(at(30, 0), true, 200*time.Millisecond, maxAge)
	once := e
	e.Take(at(30, 200*time.Millisecond), true, 400*time.Millisecond, maxAge)
	assert.Equal(t, once, e)
}

// TestWhatIsNotBelieved is not filtered in, and the last that was outlives it by maxAge.
func TestWhatIsNotBelieved(t *testing.T) {
	e := estimate.OfMelt()
	e.Take(at(20, 0), false, 0, maxAge)
	assert.False(t, e.Valid() || e.Seen())
	e.Take(at(20, 0), true, 0, maxAge)
	e.Take(at(500, 0), false, maxAge, maxAge)
	assert.True(t, e.Valid())
	assert.Equal(t, 20.0, e.C())
	e.Take(at(500, 0), false, maxAge+1, maxAge)
	assert.False(t, e.Valid())
	assert.True(t, e.Seen(), "it has been hot once, whoever knows now")
	e.Take(at(40, 0), true, time.Minute, maxAge)
	assert.Equal(t, 40.0, e.C(), "and begins anew")
}

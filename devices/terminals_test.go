package devices

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/reading"
)

// TestAColdJunctionThatLeapsIsNotBelieved until it is back: all probes of a device go by it.
func TestAColdJunctionThatLeapsIsNotBelieved(t *testing.T) {
	const round = 200 * time.Millisecond
	now := time.Duration(0)
	var k terminals
	// say is how many of some rounds are believed, of a reading that begins at c and drifts.
	say := func(c, driftCS float64, rounds int) (believed int) {
		for range rounds {
			now += round
			r := k.believe(reading.Temperature{C: c, Fault: reading.None}, now)
			if r.Fault == reading.None {
				believed++
				assert.InDelta(t, c, r.C, 0, "as it was read")
			}
			c += driftCS * round.Seconds()
		}
		return believed
	}
	say(0, 0, 10) // a module that has just begun; the temperatures of its probes are refused
	assert.Equal(t, 100, say(24, 0, 100))
	assert.Equal(t, 3000, say(24, 0.05, 3000), "thirty degrees in ten minutes, beside warm plates")
	assert.Equal(t, 10, say(56, 0, 10), "noise and coarse steps")
	assert.Equal(t, 0, say(25, 0, 3000), "ten minutes after a leap it is still one")
	assert.Equal(t, 0, say(79, 0, 10))
	assert.Equal(t, 10, say(53, 0, 10), "it is back")
	assert.Equal(t, reading.Sentinel, k.believe(reading.Temperature{Fault: reading.Sentinel}, now).Fault)
	now += 10 * time.Minute // unplugged, and cooled
	assert.Equal(t, 10, say(22, 0, 10))
	now += 10 * time.Second
	assert.Equal(t, 0, say(35, 0, 10), "so fast it does not cool")
}

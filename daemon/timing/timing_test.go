package timing

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// TestWaitingIsNotChargedWhereTheProcessorsTimeIsKnown, up to a bound: waiting takes time and
// no processor.
func TestWaitingIsNotChargedWhereTheProcessorsTimeIsKnown(t *testing.T) {
	const most = 4 * time.Millisecond
	waiting := Fastest(most, func() { time.Sleep(2 * most) }) // what is measured is time itself
	assert.GreaterOrEqual(t, waiting.Clock, 2*most)
	assert.Equal(t, Used() > 0, waiting.Within(most), waiting)

	tries := 0
	working := Fastest(most, func() {
		tries++
		for began := Used(); Used() > 0 && Used()-began < 2*most; {
		}
	})
	assert.Equal(t, Used() == 0, working.Within(most), working)
	assert.Contains(t, []int{fewest, mostTries}, tries)
}

func TestABoundOnTheClockAsWell(t *testing.T) {
	const most = 100 * time.Millisecond
	for _, c := range []struct {
		took   Took
		within bool
	}{
		{Took{most, most}, true}, {Took{Clock: most}, true}, {Took{Clock: most + 1}, false}, {Took{most + 1, most}, true},
		{Took{most + 1, most + 1}, false}, {Took{4 * most, most}, true}, {Took{4*most + 1, most}, false},
	} {
		assert.Equal(t, c.within, c.took.Within(most), c.took)
	}
}

func TestTimesInWords(t *testing.T) {
	assert.Equal(t, "90 ms", Took{Clock: 90 * time.Millisecond}.String())
	assert.Equal(t, "90 ms", Took{90 * time.Millisecond, 89 * time.Millisecond}.String())
	assert.Equal(t, "190 ms (90 of a processor)", Took{190 * time.Millisecond, 90 * time.Millisecond}.String())
}

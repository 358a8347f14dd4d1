package timing

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// TestWaitingIsNotChargedWhereTheProcessorsTimeIsKnown: waiting takes time and no processor.
func TestWaitingIsNotChargedWhereTheProcessorsTimeIsKnown(t *testing.T) {
	const most = 4 * time.Millisecond
	tries := 0
	waits := Fastest(most, func() {
		tries++
		time.Sleep(2 * most) // what is measured is time itself
	})
	assert.Equal(t, mostTries, tries)
	assert.GreaterOrEqual(t, waits.Clock, 2*most)
	assert.Equal(t, waits.Processor > 0, waits.Within(most), waits)

	works := Fastest(most, func() {
		for began := Used(); Used() > 0 && Used()-began < 2*most; {
		}
	})
	assert.Equal(t, works.Processor == 0, works.Within(most), works)
}

func TestTimesInWords(t *testing.T) {
	assert.Equal(t, "90 ms", Took{Clock: 90 * time.Millisecond}.String())
	assert.Equal(t, "90 ms", Took{90 * time.Millisecond, 89 * time.Millisecond}.String())
	assert.Equal(t, "190 ms (90 of a processor)", Took{190 * time.Millisecond, 90 * time.Millisecond}.String())
	assert.False(t, Took{Clock: 190 * time.Millisecond}.Within(100*time.Millisecond))
	assert.True(t, Took{190 * time.Millisecond, 90 * time.Millisecond}.Within(100*time.Millisecond))
}

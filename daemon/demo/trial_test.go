package demo

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/devices/simbench/physics"
)

// TestTriesOutAPotOnTheBench: the maker asks for it with the command, of a pot on a heavy
// plate that is ready, and it ends by itself; the guard finds nothing wrong meanwhile.
func TestTriesOutAPotOnTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("an hour of a simulated bench")
	}
	t.Parallel()
	q := newQuick(t, 3, physics.Cast)
	q.passUntil(t, time.Hour, func() bool { return q.f.Ready })
	q.passUntil(t, time.Hour, func() bool { return q.f.Time > 55*time.Minute })
	heard := len(q.heard)
	q.mark(control.TryOut, 0)
	p := func() *control.PotFrame { return &q.f.Pots[0] }
	q.passUntil(t, time.Second, func() bool { return p().Trial.Of > 0 })
	offC, swings := 0.0, 0
	took := q.passUntil(t, 30*time.Minute, func() bool {
		offC, swings = max(offC, math.Abs(p().MeltC-p().SetpointC)), max(swings, p().Trial.Swing)
		return p().Trial.Of == 0
	})
	fmt.Printf("tried out in %v: %d swings, the melt at most %.2f °C off its set-point\n", took.Round(time.Second), swings, offC)
	assert.True(t, p().Tuned)
	assert.True(t, p().Trial.Done)
	assert.Less(t, offC, 1.5)
	assert.Equal(t, 7, swings)
	assert.Equal(t, heard, len(q.heard), "%v", q.heard)
	require.Equal(t, control.HeatEnabled, q.f.Heat)
	known, worth, _ := q.step.Known(0)
	assert.True(t, worth)
	assert.NotNil(t, known.Tuning)
}

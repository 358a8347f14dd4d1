package daemon

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/wear"
	"meltwarden/devices/simbench"
)

// TestRelaysAreCountedOverEvenings: what is counted is what the coils of a simulated unit
// did, it goes on after the program was started anew, and it is told on every way out.
func TestRelaysAreCountedOverEvenings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		file := relayBench(t)
		text := strings.ReplaceAll(string(file.Typed), "window: 20 s}", "relay: {life: 1000, used: 799}}")
		file, err := config.ParseBench("bench.yaml", []byte(text), nil)
		require.NoError(t, err)
		folder := t.TempDir()
		closed := make([]int64, len(file.Pots))
		began := time.Now()
		for range 2 {
			past, err := history.Open(folder)
			require.NoError(t, err)
			r := startOn(t, file, func(o *Options, b *simbench.Bench) { o.Simulated, o.History, o.Bench = b, past, file })
			time.Sleep(2 * time.Second)
			r.bench.PressEnable()
			r.countClosings(t, 3*time.Minute, closed)
			for i, s := range r.beside().Relays {
				assert.Equal(t, closed[i]+799, s.Operations(), "the metric's")
			}
			r.end()
			require.NoError(t, <-r.over)
			require.NoError(t, past.Close())
		}
		past, err := history.OpenExisting(folder)
		require.NoError(t, err)
		defer past.Close()
		kept, err := past.Relays()
		require.NoError(t, err)
		all := wear.Stand(kept, file)
		require.Len(t, all, len(file.Pots))
		for i, s := range all {
			require.NotNil(t, s.Counted)
			assert.Equal(t, closed[i], *s.Counted, "what the coil did")
			assert.Greater(t, closed[i], int64(3))
			assert.WithinDuration(t, began, *s.Since, time.Second, "counting goes on")
			assert.True(t, s.Worn)
			t.Log(s.Words)
		}
		back, err := past.Replay(1)
		require.NoError(t, err)
		assert.Nil(t, back.Differs, "with the shortest offs in its settings")
		assert.Contains(t, wear.Remind(all), "Relays commonly fail on, welded")
	})
}

// countClosings adds up how often each heater really went on in a time, and requires that it
// was off for ten seconds before: half of its window.
func (r *rig) countClosings(t *testing.T, span time.Duration, closed []int64) {
	t.Helper()
	const look = 20 * time.Millisecond
	off := make([]time.Duration, len(closed))
	for i := range off {
		off[i] = time.Hour
	}
	for range span / look {
		time.Sleep(look)
		for i, p := range r.bench.Truth().Pots {
			switch {
			case p.PowerW <= 0:
				off[i] += look
			case off[i] > 0:
				require.GreaterOrEqual(t, off[i], 10*time.Second-200*time.Millisecond)
				closed[i]++
				off[i] = 0
			}
		}
	}
}

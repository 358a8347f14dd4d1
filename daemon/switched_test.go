package daemon

import (
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

// relayBench is the demo's bench file with a coil and a relay for every heater.
func relayBench(t *testing.T) *config.Bench {
	t.Helper()
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	text := strings.ReplaceAll(string(demo.Typed), "output: smooth}", "window: 20 s}")
	for i := range demo.Pots {
		text = strings.Replace(text, "function: 16, address: "+strconv.Itoa(i)+", type: uint16, scale: 0.0001, unit: fraction}",
			"function: 15, address: "+strconv.Itoa(i+1)+", type: bit}", 1)
	}
	file, err := config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	return file
}

// TestRelaysOverTheLine: from the bench file to the coils of a simulated unit, relays
// never draw more than the breaker carries, and every pot gets its heat.
func TestRelaysOverTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		file := relayBench(t)
		r := startOn(t, file, proven)
		time.Sleep(2 * time.Second)
		r.bench.PressEnable()
		changes, was := 0, make([]bool, len(file.Pots))
		for range 10 * 60 * 20 {
			time.Sleep(50 * time.Millisecond)
			watts := 0.0
			for i, p := range r.bench.Truth().Pots {
				on := p.PowerW > 0
				if on {
					require.Greater(t, p.PowerW, 0.7*file.Pots[i].HeaterW, "all of it or none; the mains vary by 10 %")
					watts += file.Pots[i].HeaterW
				}
				if on != was[i] {
					changes++
				}
				was[i] = on
			}
			require.LessOrEqual(t, watts, file.Supply.MaxW)
		}
		for i, p := range r.bench.Truth().Pots {
			assert.Greater(t, p.HeatJ, 0.2*file.Pots[i].HeaterW*600)
		}
		assert.Greater(t, changes, 50)
		r.end()
		require.NoError(t, <-r.over)
		requireCold(t, r.bench)
	})
}

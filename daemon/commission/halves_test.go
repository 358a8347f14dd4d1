package commission

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
	"meltwarden/devices/simbench"
)

// halved takes the melt channel of the middle pot out of a bench file, and the plate
// channel of the right one.
func halved(text string) string {
	var kept []string
	lines := strings.Split(text, "\n")
	for i := 0; i < len(lines); i++ {
		if strings.Contains(lines[i], "role: melt, pot: middle") || strings.Contains(lines[i], "role: plate, pot: right") {
			i++ // and the line that goes on with it
			continue
		}
		kept = append(kept, lines[i])
	}
	return strings.Join(kept, "\n")
}

// TestPotsWithOneProbe are commissioned by it: without a melt probe there is nothing to
// dip, and without a plate probe the melt's lies on the plate for the nudge.
func TestPotsWithOneProbe(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of computing under the race detector; the whole session is raced")
	}
	fromNothing(t, halved, func(t *testing.T, r *rig) {
		require.Equal(t, reading.PlateOnly, r.file.Pots[1].Probes)
		require.Equal(t, reading.MeltOnly, r.file.Pots[2].Probes)
		r.saying["These pots have no plate probe: right."] = func() {
			time.AfterFunc(time.Second, func() {
				assert.NoError(t, r.Clear(simbench.PulledProbe, meltOf(2)))
				r.LayMelt(2)
			})
		}
		two := strings.TrimSuffix(answers, "60 C\ndry\n")
		require.NoError(t, r.commission(t.Context(), two, false), r.said())
		t.Log(r.said())
		require.NotContains(t, r.words(), "Melt probe middle")
		cleared, missing := r.record().Against(r.file)
		require.Empty(t, missing)
		words := strings.Join(cleared.Words(), "\n")
		require.Contains(t, words, "warms plate right and no other by its melt probe, laid on it")
		require.NotContains(t, words, "melt probe middle")
	})
}

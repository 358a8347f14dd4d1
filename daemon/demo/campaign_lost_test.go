package demo

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/devices/simbench"
)

// TestNumbersOfLostReplies prints how long heaters go on when "off" is wanted while
// the module does what it is told and its replies are lost: every one of them, for
// a span before, or just those around the moment.
func TestNumbersOfLostReplies(t *testing.T) {
	if testing.Short() {
		t.Skip("sixty sessions at the bench take some seconds")
	}
	t.Parallel()
	var table strings.Builder
	for _, unit := range []uint8{0, simbench.UnitPower} {
		for _, before := range []time.Duration{0, 300 * time.Millisecond, 700 * time.Millisecond} {
			for _, after := range []time.Duration{100 * time.Millisecond, 5 * time.Second} {
				var took []time.Duration
				for phase := range time.Duration(phases) {
					took = append(took, offWithoutReplies(t, simbench.Place{Unit: unit}, before, after, phase*200*time.Millisecond/phases))
				}
				slices.Sort(took)
				fmt.Fprintf(&table, "\nunit %d, lost from %.2f s before until %.1f s after: median %.2f s, worst %.2f s",
					unit, before.Seconds(), after.Seconds(), took[len(took)/2].Seconds(), took[len(took)-1].Seconds())
				assert.Less(t, took[len(took)-1], heatGoneWithin)
			}
		}
	}
	t.Log(table.String())
}

// offWithoutReplies asks for "all off" while replies are lost, and returns how long
// the heaters go on, by the truth. Nothing heats again by itself.
func offWithoutReplies(t *testing.T, at simbench.Place, before, after, phase time.Duration) (took time.Duration) {
	inSession(t, Options{Seed: 1}, func(s *session) {
		s.heating(30 * time.Second)
		s.pass(phase)
		require.NoError(t, s.Bench.Inject(simbench.LostReplies, at))
		s.pass(before)
		asked := time.Now()
		require.NoError(t, s.Daemon.Submit(history.Mark{Command: control.Command{Kind: control.AllOff}}))
		for time.Since(asked) < after+5*time.Second {
			if s.pass(sample); time.Since(asked) >= after {
				require.NoError(t, s.Bench.Clear(simbench.LostReplies, at))
			}
			if slices.Contains(s.drawing(), true) {
				took = time.Since(asked)
			}
		}
	})
	return took
}

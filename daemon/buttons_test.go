package daemon

import (
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control/call"
	"meltwarden/devices/simbench"
)

// TestAButtonMarksOverTheLine: from the bench file to the mark, and heat stays where it is.
func TestAButtonMarksOverTheLine(t *testing.T) {
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	text := strings.NewReplacer("{role: pedal,", "{role: stir-button, pot: middle,", ", short-press: shot", "").Replace(string(demo.Typed))
	require.NotEqual(t, string(demo.Typed), text)
	file, err := config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	synctest.Test(t, func(t *testing.T) {
		r := startOn(t, file, proven)
		time.Sleep(3 * time.Second)
		middle := slices.IndexFunc(file.Pots, func(p config.Pot) bool { return p.Name == "middle" })
		f := r.Hub().Latest()
		require.False(t, f.Pots[middle].StirredEver)
		r.bench.PressPedal()
		time.Sleep(3 * time.Second)
		f = r.Hub().Latest()
		for i := range f.Pots {
			assert.Equal(t, i == middle, f.Pots[i].StirredEver)
		}
		assert.Zero(t, f.PowerW)
		r.end()
		require.NoError(t, <-r.over)
	})
}

// TestWhatThePedalMeansOverTheLine: from the bench file to mark and silence. Of a file that
// says nothing of a short press any press silences, as it always did.
func TestWhatThePedalMeansOverTheLine(t *testing.T) {
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	const silenceOnly, both = "address: 3, type: bit}", "address: 3, type: bit, short-press: shot}"
	for _, c := range []struct {
		means string
		held  time.Duration
		again time.Duration // so long after, five times more; zero is once
		shots uint64
		quiet bool
	}{
		{both, 500 * time.Millisecond, 0, 1, false},
		{both, 1200 * time.Millisecond, 0, 1, false},
		{both, 2 * time.Second, 0, 0, true},
		{both, 4500 * time.Millisecond, 0, 0, true},
		{both, 8 * time.Second, 0, 0, false},                             // stuck, or leaned on
		{both, 200 * time.Millisecond, 0, 0, false},                      // a knock
		{both, 250 * time.Millisecond, 250 * time.Millisecond, 0, false}, // chatters
		{silenceOnly, 500 * time.Millisecond, 0, 0, true},
		{silenceOnly, 2 * time.Second, 0, 0, true},
	} {
		text := strings.Replace(string(demo.Typed), "role: pedal, device: contacts, function: 2, "+both, "role: pedal, device: contacts, function: 2, "+c.means, 1)
		file, err := config.ParseBench("bench.yaml", []byte(text), nil)
		require.NoError(t, err)
		synctest.Test(t, func(t *testing.T) {
			r := startOn(t, file, proven)
			r.enable(t)
			require.NoError(t, r.bench.Inject(simbench.EStopOpened, simbench.Place{}))
			time.Sleep(2 * time.Second)
			require.Equal(t, call.Danger, r.Hub().Latest().Call.Sound)
			for range 6 {
				r.bench.HoldPedal(c.held)
				time.Sleep(c.held + c.again)
				if c.again == 0 {
					break
				}
			}
			time.Sleep(2 * time.Second)
			assert.Equal(t, c.shots, r.tally.shots.Load(), "%+v", c)
			assert.Equal(t, c.quiet, r.Hub().Latest().Call.Silenced, "%+v", c)
			requireCold(t, r.bench)
			r.end()
			require.NoError(t, <-r.over)
		})
	}
}

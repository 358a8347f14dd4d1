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
)

// TestAButtonMarksOverTheLine: from the bench file to the mark, and heat stays where it is.
func TestAButtonMarksOverTheLine(t *testing.T) {
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	text := strings.Replace(string(demo.Typed), "{role: pedal,", "{role: stir-button, pot: middle,", 1)
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

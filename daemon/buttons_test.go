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
	"meltwarden/control/reading"
)

// TestAPressIsDeliberate: chatter, knocks, a button that is stuck or was not seen count
// nothing; a press counts once, after it was let go.
func TestAPressIsDeliberate(t *testing.T) {
	for name, c := range map[string]struct {
		seen string // a letter a cycle: o open, c closed, ? unknown
		want int
	}{
		"press":              {"oooocccoo", 1},
		"two presses":        {"oooocccoooocccoo", 2},
		"held for a while":   {"oooo" + strings.Repeat("c", 20) + "oo", 1},
		"stuck":              {"oooo" + strings.Repeat("c", 40) + "oooo", 0},
		"held at the start":  {"ccccoooo", 0},
		"a knock":            {"ooooccoooo", 0},
		"chatter":            {"oooococococococ", 0},
		"let go for a knock": {"oooocccoc", 0},
		"not seen meanwhile": {"ooooccc?oooo", 0},
		"not rested":         {"oocccoo", 0},
		"one long press":     {"ooooccccoooooooooo", 1},
	} {
		var p press
		counted := 0
		for i := range c.seen {
			contact := reading.Contact{Closed: c.seen[i] == 'c', Fault: reading.None}
			if c.seen[i] == '?' {
				contact.Fault = reading.Missing
			}
			if p.released(contact, 200*time.Millisecond) {
				counted++
			}
		}
		assert.Equal(t, c.want, counted, name)
	}
}

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

package checks

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/frames"
)

func TestTicksAreWrittenDownInOneLine(t *testing.T) {
	all := Of(nil, nil, "3 °C")
	keys := map[string]bool{}
	for _, c := range all {
		assert.False(t, keys[c.Key], c.Key)
		keys[c.Key] = true
		assert.NotEmpty(t, c.Short)
		assert.NotEmpty(t, c.Words)
	}
	but := func(keys ...string) func(string) bool {
		return func(key string) bool { return !slices.Contains(keys, key) }
	}
	assert.Equal(t, "all", Summary(all, but()))
	assert.Equal(t, "all but probes, sound", Summary(all, but(Sound, Probes)))
	assert.Equal(t, "2 of 12: all dry, mould and injectors", Summary(all, func(key string) bool { return key == "dry" || key == "mould" }))
	assert.Equal(t, "none", Summary(all, func(string) bool { return false }))
	assert.Equal(t, "heat", Unknown(all, []string{"dry", "heat"}))
	assert.Empty(t, Unknown(all, []string{"dry", Stop}))
}

// TestProbesThatAgreeCold: within 3 °C (common practice, no source), and only where all are
// read and cold.
func TestProbesThatAgreeCold(t *testing.T) {
	u := frames.Unknown()
	for _, c := range []struct {
		c      []frames.Figure
		want   Agreement
		spread float64
	}{
		{[]frames.Figure{20, 21.5, 22.9}, Agree, 2.9},
		{[]frames.Figure{20, 21.5, 23.1}, Disagree, 3.1},
		{[]frames.Figure{20, u, 21}, NotRead, 1},
		{[]frames.Figure{20, u, 171}, Warm, 151},
		{[]frames.Figure{45, 45, 45}, Warm, 0},
		{[]frames.Figure{u, u}, NotRead, -1},
		{[]frames.Figure{20}, NotToTell, -1},
	} {
		var probes []Probe
		for _, x := range c.c {
			probes = append(probes, Probe{C: x})
		}
		is, spread := Compare(probes)
		assert.Equal(t, c.want, is, "%v", c.c)
		if c.spread < 0 {
			assert.False(t, spread.Known())
			continue
		}
		assert.InDelta(t, c.spread, float64(spread), 1e-9)
	}
}

package simbench

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
)

// TestAnotherEveningIsOnTheSameBench: what pots and probes are stays, what nobody does
// twice alike is drawn anew, within its range, and the same for the same evening.
func TestAnotherEveningIsOnTheSameBench(t *testing.T) {
	on := func(evening uint64) *Bench {
		b, err := New(Config{Pots: demoPots(), Seed: 5, Evening: evening}, clock.Stepped())
		require.NoError(t, err)
		return b
	}
	first, second, again := on(0), on(1), on(1)
	assert.NotEqual(t, first.roomC, second.roomC)
	assert.InDelta(t, second.roomC, again.roomC, 0)
	for i, p := range first.pots {
		same, other := p.spec, second.pots[i].spec
		assert.Equal(t, other, again.pots[i].spec)
		for name, x := range map[string][3]float64{
			"volume":  {same.VolumeML, other.VolumeML, 0.05},
			"contact": {same.PlateWallWK, other.PlateWallWK, 0.15},
			"stirred": {same.StirredWK, other.StirredWK, 0.15},
		} {
			assert.NotEqual(t, x[0], x[1], name)
			assert.InEpsilon(t, x[0], x[1], x[2], name)
		}
		assert.Equal(t, same.MeltProbe, other.MeltProbe)
		assert.Equal(t, same.PlateProbe, other.PlateProbe)
		assert.Equal(t, []float64{same.HeaterGain, same.PlateJK, same.PlateAreaM2}, []float64{other.HeaterGain, other.PlateJK, other.PlateAreaM2})
	}
}

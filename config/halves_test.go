package config_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control/reading"
)

// TestAPotMayHaveOneProbe, and what it goes by then comes into the settings.
func TestAPotMayHaveOneProbe(t *testing.T) {
	b, err := config.LoadBench(fixtures+"/bench-halves.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, reading.PlateOnly, b.Pots[0].Probes)
	assert.Equal(t, 3*time.Minute, b.Pots[0].HandWithin)
	assert.Equal(t, reading.MeltOnly, b.Pots[1].Probes)
	assert.InDelta(t, 150, b.Pots[1].MostW, 1e-9)
	demo := demoBench(t)
	for _, p := range demo.Pots {
		assert.Equal(t, reading.BothProbes, p.Probes)
	}
}

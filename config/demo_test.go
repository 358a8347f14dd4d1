package config_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/clock"
	"meltwarden/devices/simbench"
)

// The demo's register map is that of the simulated bench, channel by channel,
// each written without looking at the other.
func TestDemoBenchIsTheSimulatedOne(t *testing.T) {
	b := demoBench(t)
	var pots []simbench.Pot
	for i, c := range config.DemoRecipe().Colours {
		pots = append(pots, simbench.Pot{Name: b.Pots[i].Name, VolumeML: c.Volume.ML, HeaterW: b.Pots[i].HeaterW})
	}
	simulated, err := simbench.New(simbench.Config{Pots: pots, Seed: 1}, clock.New(1))
	require.NoError(t, err)
	assert.Equal(t, simulated.Channels(), b.Channels)
	for i, d := range simulated.Devices() {
		assert.Equal(t, d.Name, b.Devices[i].Name)
		assert.Equal(t, d.Unit, b.Devices[i].Unit)
	}
}

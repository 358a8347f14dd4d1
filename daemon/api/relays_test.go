package api

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control/circuit"
	"meltwarden/daemon/frames"
)

// TestAWornRelayIsReminded: to programs, on the commissioning record and at the checks; a
// bench without relays that wear says nothing of them.
func TestAWornRelayIsReminded(t *testing.T) {
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	o, _ := options(&frames.Hub{})
	o.Simulated, o.Bench, o.History = false, bench, opened(t)
	assert.NotContains(t, pageOf(t, New(o), "/commissioning"), "mechanical relays")
	bench.Pots[0].Output, bench.Pots[0].Relay = circuit.Switched, config.Relay{Life: 100_000, Used: 90_000}
	requireAll(t, pageOf(t, New(o), "/commissioning"), "mechanical relays, worn by switching",
		"≈ 90 % of its 100000 rated operations used: 90000 before counting began, as its owner says", "Relays commonly fail on, welded")
	var told relayWear
	answered(t, do(New(o), request("GET", "/api/v1/relays")), &told)
	require.Len(t, told.Relays, 1)
	assert.Nil(t, told.Relays[0].Counted)
	assert.InDelta(t, 0.9, float64(told.Relays[0].Share), 1e-9)
	assert.Contains(t, told.Remind, "Change the relay of: left (≈ 90 %)")
}

package daemon

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/registers"
)

// TestAPotIsKnownAgainAfterAnUpdate: the digest was printed by the program that knew no
// fill of a pot, so what it found out is recalled.
func TestAPotIsKnownAgainAfterAnUpdate(t *testing.T) {
	b, err := config.LoadBench("../testdata/config/bench-small.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, "964cb6352ac035e97c07de72480e28b0743f96e63f1aeb64cdd9bb2840bf3916", potDigest(b, b.Pots[0].Name))
}

// TestALidMakesNoOtherPot: what was found out about a pot holds once it has a lid.
func TestALidMakesNoOtherPot(t *testing.T) {
	b, err := config.LoadBench("../testdata/config/bench-small.good.yaml", nil)
	require.NoError(t, err)
	pot := b.Pots[0].Name
	was := potDigest(b, pot)
	b.Channels = append(b.Channels, registers.Channel{Role: registers.Lid, Pot: pot, Device: b.Devices[len(b.Devices)-1].Name, Function: 2, Address: 77, Type: registers.Bit})
	assert.Equal(t, was, potDigest(b, pot))
}

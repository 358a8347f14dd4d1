package daemon

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

// TestAPotIsKnownAgainAfterAnUpdate: the digest was printed by the program that knew no
// fill of a pot, so what it found out is recalled.
func TestAPotIsKnownAgainAfterAnUpdate(t *testing.T) {
	b, err := config.LoadBench("../testdata/config/bench-small.good.yaml", nil)
	require.NoError(t, err)
	assert.Equal(t, "964cb6352ac035e97c07de72480e28b0743f96e63f1aeb64cdd9bb2840bf3916", potDigest(b, b.Pots[0].Name))
}

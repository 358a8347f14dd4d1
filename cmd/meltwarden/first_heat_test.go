package main

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/firstheat"
)

// TestFirstHeatMistakes: nothing is opened without a complete record, and what is known can be
// asked for all the same. daemon/firstheat has its own tests, in virtual time.
func TestFirstHeatMistakes(t *testing.T) {
	t.Parallel()
	file := benchIn(t, t.TempDir(), "/dev/there-is-no-such-port")
	folder := t.TempDir()
	for want, args := range map[string][]string{
		"--json: add --status": {"--config", file, "--json"},
		"no such file":         {"--config", filepath.Join(folder, "none.yaml")},
		"commissioning of this bench is not complete": {"--config", file, "--data", folder},
	} {
		_, err := run(t.Context(), append([]string{"first-heat"}, args...)...)
		require.ErrorContains(t, err, want)
	}
	said, err := run(t.Context(), "first-heat", "--config", file, "--data", folder, "--status", "--json")
	require.NoError(t, err)
	var status struct{ Pots []firstheat.Status }
	require.NoError(t, json.Unmarshal([]byte(said), &status), said)
	require.Len(t, status.Pots, 3)
	for _, p := range status.Pots {
		assert.True(t, p.Gains, p.Pot)
		assert.Nil(t, p.From)
	}
	said, err = run(t.Context(), "first-heat", "--config", file, "--data", t.TempDir(), "--status")
	require.NoError(t, err)
	assert.Contains(t, oneLine(said), "nothing is known of it yet; it has to gain by first-heat")
}

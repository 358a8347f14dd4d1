package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCheckSaysWhatIsNotSeen of each pot with one probe, before any port is opened.
func TestCheckSaysWhatIsNotSeen(t *testing.T) {
	folder := t.TempDir()
	bench, err := os.ReadFile("../../testdata/config/bench-halves.good.yaml")
	require.NoError(t, err)
	file := filepath.Join(folder, "bench.yaml")
	require.NoError(t, os.WriteFile(file, bench, 0o600))
	const recipe = `name: two halves
colours:
  - {name: moss, pot: shallow, position: back, base: invented base, volume: 250 mL, setpoint: 168 C, cure: {temperature: 172 C}}
  - {name: clay, pot: deep, position: belly, base: invented base, volume: 200 mL, setpoint: 166 C, cure: {temperature: 172 C}}
`
	require.NoError(t, os.WriteFile(filepath.Join(folder, "recipe.yaml"), []byte(recipe), 0o600))
	out, _ := run(t.Context(), "check", "--config", file) // there is no such port
	out = oneLine(out)
	assert.Contains(t, out, "pot shallow, by the way it is read: - Not known: how hot its melt is between two readings by hand, and so whether it is cured. - Its melt has no probe.")
	assert.Contains(t, out, "typed in for 180 s at most")
	assert.Contains(t, out, "pot deep, by the way it is read: - Not known: how hot its plate is, and so whether the melt scorches there. Its power is kept low for that. - Its plate has no probe.")
	assert.Contains(t, out, "Its heater gets 150 W at most")
	assert.Contains(t, out, "Not watched: ")
}

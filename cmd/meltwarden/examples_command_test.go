package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestExamplesAreWrittenOnce, all files of one or none.
func TestExamplesAreWrittenOnce(t *testing.T) {
	out, err := run(t.Context(), "examples")
	require.NoError(t, err)
	assert.Regexp(t, `(?m)^relays +an eight-channel`, out)

	folder := filepath.Join(t.TempDir(), "bench")
	out, err = run(t.Context(), "examples", "board", "--into", folder, "--json")
	require.NoError(t, err)
	var made struct{ Files []string }
	require.NoError(t, json.Unmarshal([]byte(out), &made))
	assert.Equal(t, []string{"bench.yaml", "board.md", "recipe.yaml"}, made.Files)
	_, err = run(t.Context(), "check", "--config", filepath.Join(folder, "bench.yaml"))
	assert.ErrorContains(t, err, "is the adapter plugged in", "the files are good, and the port is the maker's to name")

	_, err = run(t.Context(), "examples", "relays", "--into", folder)
	assert.ErrorContains(t, err, "there is "+filepath.Join(folder, "bench.yaml")+" already: name a folder without it")
	require.NoError(t, os.Remove(filepath.Join(folder, "bench.yaml")))
	_, err = run(t.Context(), "examples", "relays", "--into", folder)
	assert.ErrorContains(t, err, "recipe.yaml already")
	assert.NoFileExists(t, filepath.Join(folder, "bench.yaml"))

	for want, args := range map[string][]string{
		`example "none": there is none of this name; write one of relays`: {"examples", "none", "--into", folder},
		`add --into and a folder`: {"examples", "board"},
		`name an example`:         {"examples", "--into", folder},
	} {
		_, err := run(t.Context(), args...)
		assert.ErrorContains(t, err, want)
	}
}

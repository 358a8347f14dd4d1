package main

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/causes/maker"
	"meltwarden/daemon/history"
)

// TestWordsAreFoundInTheTerminal, as on the page.
func TestWordsAreFoundInTheTerminal(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	s, err := history.Open(folder)
	require.NoError(t, err)
	require.NoError(t, maker.Keep(s, time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC), maker.Make(maker.Plan{Seed: 12, Cause: maker.HotMould, Size: 1})))
	require.NoError(t, s.Close())
	said := func(args ...string) string {
		out, err := run(t.Context(), append([]string{"find", "--data", folder}, args...)...)
		require.NoError(t, err)
		return out
	}
	assert.Contains(t, said("eel", "BLED"), "Shots\n  run ")
	assert.Contains(t, said("emergency stop"), "What the guard looks for\n  Emergency stop")
	assert.Contains(t, said("nothing", "like", "it"), "Nothing has all of these words")
	var found struct {
		Found  int
		Groups []struct {
			Hits []struct{ Run, Shot int }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(said("bled", "eel", "--json")), &found))
	assert.Positive(t, found.Found)
	assert.Positive(t, found.Groups[len(found.Groups)-1].Hits[0].Run)
	_, err = run(t.Context(), "find", "--data", folder, " ")
	require.ErrorContains(t, err, "no word; write one or more")
}

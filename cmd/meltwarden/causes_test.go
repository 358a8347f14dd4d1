package main

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/causes"
	"meltwarden/daemon/causes/maker"
	"meltwarden/daemon/history"
)

// TestCausesInTheTerminal: the planted cause with its evidence, the faults of which
// nothing can be told, and what can not be asked.
func TestCausesInTheTerminal(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	s, err := history.Open(folder)
	require.NoError(t, err)
	plan := maker.Plan{Seed: 12, Cause: maker.HotMould, Size: 3}
	require.NoError(t, maker.Keep(s, time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC), maker.Make(plan)))
	require.NoError(t, s.Close())
	said := func(args ...string) string {
		out, err := run(t.Context(), append([]string{"causes", "--data", folder}, args...)...)
		require.NoError(t, err)
		return out
	}
	for _, want := range []string{
		"bled: 20 shots against 27 clean, in 5 runs with both", "A hot mould goes with it: 10.7 °C more in the bled ones", "That is a hypothesis.",
		"2 seam, 27 clean: nothing is concluded.", `with --fault, like --fault "seam"`,
	} {
		assert.Contains(t, unbroken(said()), want)
	}
	assert.NotContains(t, said(), "too few to tell")
	assert.Contains(t, said("--fault", "seam", "--fahrenheit"), "too few to tell")
	var a causes.Answer
	require.NoError(t, json.Unmarshal([]byte(said("--json", "--fault", "bled", "--recipe", "invented eel", "--mould", "eel")), &a))
	require.Len(t, a.Findings, 1)
	assert.Equal(t, "a hot mould", a.Findings[0].Causes[0].Cause)
	_, err = run(t.Context(), "causes", "--data", folder, "--fault", "burnt")
	assert.ErrorContains(t, err, `fault "burnt": not known; write one of: bled`)
}

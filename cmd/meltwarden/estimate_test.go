package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/estimate"
)

// TestEveryEstimateIsACommand, in words and as an object; a bench file says what its injector
// is, and a flag goes over it.
func TestEveryEstimateIsACommand(t *testing.T) {
	for _, q := range estimate.Questions() {
		out, err := run(t.Context(), "estimate", q.Name)
		require.NoError(t, err)
		assert.Contains(t, out, q.Title+" (estimated, not measured)")
		out, err = run(t.Context(), "estimate", q.Name, "--json")
		require.NoError(t, err)
		var a estimate.Answer
		require.NoError(t, json.Unmarshal([]byte(out), &a))
		assert.NotEmpty(t, a.Figures)
	}
	out, err := run(t.Context(), "estimate", "injector", "--config", "../../config/demo/bench.yaml", "--bore", "20 mm", "--json")
	require.NoError(t, err)
	var a estimate.Answer
	require.NoError(t, json.Unmarshal([]byte(out), &a))
	assert.Equal(t, "80 C", a.Given["preheat"])
	assert.Equal(t, "20 mm", a.Given["bore"])

	_, err = run(t.Context(), "estimate", "seam", "--thickness", "2")
	assert.EqualError(t, err, `seam: thickness: "2": unit missing; write "2 mm"`)
	_, err = run(t.Context(), "estimate", "injector", "--config", "nothing.yaml")
	assert.ErrorContains(t, err, "no such file")
	out, err = run(t.Context(), "estimate", "--help")
	require.NoError(t, err)
	assert.Contains(t, out, "never replaces them")
}

package main

import (
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// TestPlanAtATerminal: with a recipe file and no history, and with a version that is kept.
func TestPlanAtATerminal(t *testing.T) {
	if testing.Short() {
		t.Skip("four rehearsals")
	}
	t.Parallel()
	const bench, recipe = "../../config/demo/bench.yaml", "../../config/demo/recipe.yaml"
	planned := func(args ...string) (string, error) {
		return run(t.Context(), append([]string{"plan", "--config", bench}, args...)...)
	}
	out, err := planned(recipe, "--ready-at", "20:00", "--room", "19 C")
	require.NoError(t, err)
	said := unbroken(out)
	assert.Regexp(t, `Press at 19:\d\d and all is ready about 20:00, estimated`, said)
	assert.Contains(t, said, "nothing is known of that yet")
	assert.NoDirExists(t, config.DefaultData, "nothing is made by looking")
	assertPrinted(t, "plan", out)

	folder := t.TempDir()
	s, err := history.Open(folder)
	require.NoError(t, err)
	r := config.DemoRecipe()
	require.NoError(t, s.AddVersion(time.Now(), history.Version{Name: r.Name, Fingerprint: r.Fingerprint(), Source: string(r.Typed)}))
	require.NoError(t, s.Close())
	out, err = planned("v1", "--data", folder, "--json")
	require.NoError(t, err)
	var figures struct {
		Fingerprint string `json:"recipe_fingerprint"`
		RoomAssumed bool   `json:"room_assumed"`
		Ready       struct {
			MiddleS float64 `json:"middle_s"`
			FromS   float64 `json:"from_s"`
			ToS     float64 `json:"to_s"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &figures))
	assert.Equal(t, r.Fingerprint(), figures.Fingerprint)
	assert.True(t, figures.RoomAssumed)
	assert.Less(t, figures.Ready.FromS, figures.Ready.MiddleS)
	assert.Less(t, figures.Ready.MiddleS, figures.Ready.ToS)

	for want, args := range map[string][]string{
		`--at "noon": no time of day; write it like 19:30`: {recipe, "--at", "noon"},
		`--room "19": unit missing`:                        {recipe, "--room", "19"},
		"--at and --ready-at: give only one of them":       {recipe, "--at", "19:00", "--ready-at", "20:00"},
		"no such file":                    {"nothing.yaml"},
		"there is no such recipe version": {"v7", "--data", folder},
		"no history in it":                {recipe, "--data", filepath.Join(folder, "none")},
	} {
		_, err := planned(args...)
		assert.ErrorContains(t, err, want)
	}
}

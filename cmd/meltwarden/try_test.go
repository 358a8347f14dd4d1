package main

import (
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// TestFromAFaultToANewVersion goes the way of a maker at a terminal, from the evenings
// with a planted fault to a new version of the recipe.
func TestFromAFaultToANewVersion(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	said := func(args ...string) string {
		t.Helper()
		out, err := run(t.Context(), append(args, "--data", folder)...)
		require.NoError(t, err, out)
		return out
	}
	spoiled := said("runs", "tarn", "newt", "--fault", "seam")
	assert.Len(t, regexp.MustCompile(`(?m)^\d+ +2026-`).FindAllString(spoiled, -1), 5, "of six evenings")
	assert.Contains(t, said("why", "13", "1"), "a long time from draw to push")
	proposed := said("try", "13", "1")
	t.Log(proposed)
	assert.Contains(t, proposed, "choice 1: a sooner push – pour: draw within no aim → 30 s")
	assert.Contains(t, proposed, "First draw to push 67 s; 22 clean shots 28 s in the")
	assert.NotContains(t, proposed, "choice 2", "nothing else was planted")

	file := filepath.Join(t.TempDir(), "newt-2.yaml")
	accepted := said("try", "13", "1", "--accept", "--out", file)
	assert.Contains(t, accepted, "tarn newt v2")
	recipe, err := config.LoadRecipe(file)
	require.NoError(t, err)
	assert.Equal(t, 30*time.Second, recipe.Pour.DrawWithin)
	assert.Contains(t, said("attempts"), "against seam: waits for its shots")
	assert.Contains(t, said("recipes", "diff", "tarn newt v1", "tarn newt v2"), "draw within no aim → 30 s")

	_, err = run(t.Context(), "try", "16", "3", "--accept", "--data", folder)
	assert.ErrorContains(t, err, "Attempt 1 is still on")
	said("attempts", "--end", "1", "--why", "hands too slow")
	assert.Contains(t, said("attempts"), "hands too slow")
	assert.Contains(t, said("try", "16", "3"), "choice 1: a sooner push", "no shot has spoken against it")
}

func TestMistakesAboutTrying(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	for want, args := range map[string][]string{
		"run 99: there is no such run":                         {"try", "99", "1"},
		"run 7, shot 9: there is no such shot":                 {"try", "7", "9"},
		"run 12, shot 1: no fault was seen on it":              {"try", "12", "1"},
		`fault "flash": write one of: seam, short`:             {"try", "5", "2", "--fault", "flash"},
		"choice 3: choose from 1 to 2; nothing was accepted":   {"try", "7", "1", "--accept", "--choice", "3"},
		"choice 1: It was first seen days later":               {"try", "6", "2", "--accept"},
		"attempt 5 that is still on: there is no such attempt": {"attempts", "--end", "5"},
	} {
		_, err := run(t.Context(), append(args, "--data", folder)...)
		assert.ErrorContains(t, err, want)
	}
	s, err := history.OpenExisting(folder)
	require.NoError(t, err)
	defer s.Close()
	all, err := s.Attempts()
	require.NoError(t, err)
	assert.Empty(t, all, "a mistake keeps nothing")
}

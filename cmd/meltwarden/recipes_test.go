package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/config/scale"
	"meltwarden/daemon/history"
)

const demoRecipeFile = "../../config/demo/recipe.yaml"

// keptDemo is a data folder that keeps the demo's recipe as its only version.
func keptDemo(t *testing.T) string {
	folder := t.TempDir()
	s, err := history.Open(folder)
	require.NoError(t, err)
	r := config.DemoRecipe()
	require.NoError(t, s.AddVersion(time.Now(), history.Version{Name: r.Name, Fingerprint: r.Fingerprint(), Source: string(r.Typed)}))
	require.NoError(t, s.Close())
	return folder
}

func TestEditAVersion(t *testing.T) {
	folder := keptDemo(t)
	file := filepath.Join(t.TempDir(), "new.yaml")
	args := []string{"recipes", "edit", "v1", "--data", folder, "--out", file, "--set", "ivory.setpoint=169 C",
		"--set", "colours[name=ivory].colourants[name=white]=12 drops", "--remove", "rust.salt"}
	out, err := run(t.Context(), args...)
	require.NoError(t, err)
	r, err := config.LoadRecipe(file)
	require.NoError(t, err)
	assert.Equal(t, file+": slate eel v2 ("+r.Fingerprint()+")\nivory: colourant white 10 drops → 12 drops\n"+
		"ivory: set-point 171 °C → 169 °C\nrust: salt 15 g → not recorded\n", out)
	list, err := run(t.Context(), "recipes", "--data", folder)
	require.NoError(t, err)
	assert.Regexp(t, `slate eel +v2 +`+r.Fingerprint()+`.* `+config.DemoRecipe().Fingerprint(), list)

	for want, more := range map[string][]string{
		"exists already; choose a new name":         {"--set", "name=other"},
		`--set "ivory": no value`:                   {"--set", "ivory"},
		`"ivry" is not there`:                       {"--set", "ivry.setpoint=1"},
		"nothing that counts would differ":          {"--set", "ivory.setpoint=171 °C"},
		"nothing to change":                         nil,
		`"340 C": hard to believe; did you mean 34`: {"--set", "ivory.setpoint=340 C"},
	} {
		_, err := run(t.Context(), append([]string{"recipes", "edit", "v1", "--data", folder, "--out", file}, more...)...)
		assert.ErrorContains(t, err, want)
	}
}

// A kept version is served, checked and shown by its name, and a file before it.
func TestAKeptVersionInPlaceOfAFile(t *testing.T) {
	folder := keptDemo(t)
	bench := benchIn(t, t.TempDir(), "/dev/there-is-no-such-port")
	require.NoError(t, os.Remove(filepath.Join(filepath.Dir(bench), "recipe.yaml")))
	out, err := run(t.Context(), "check", "--config", bench, "--data", folder, "--recipe", "slate eel v1")
	require.ErrorContains(t, err, "no-such-port")
	assert.Contains(t, out, "(version "+config.DemoRecipe().Fingerprint()+")")
	assert.Contains(t, out, "slate beside ivory: side by side a colour difference of")
	_, err = run(t.Context(), "check", "--config", bench, "--data", folder, "--recipe", "v9")
	require.ErrorContains(t, err, `--recipe "v9": no such file, and no version that is kept in `+folder)
	_, err = run(t.Context(), "check", "--config", bench, "--data", t.TempDir(), "--recipe", "none.yaml")
	require.ErrorContains(t, err, "none.yaml: no such file; check the name")
}

func TestScaleARecipe(t *testing.T) {
	file := filepath.Join(t.TempDir(), "more.yaml")
	out, err := run(t.Context(), "recipes", "scale", demoRecipeFile, "--times", "1.5", "--config", "../../config/demo/bench.yaml", "--out", file)
	require.NoError(t, err)
	for _, want := range []string{
		"slate, pot left: ×1.5, 390.0 mL\n", "  black      3 drops   → 5 drops   4.5 before rounding, so +11 %", "a pinch can not be scaled",
		"least fill that covers the probe: 90 mL; most: 450 mL\n", "Heating time does not follow", "differs from the next by ±20 %",
		"rust: salt 15 g → 22.5 g\n",
	} {
		assert.Contains(t, out+unbroken(out), want)
	}
	_, err = config.LoadRecipe(file)
	require.NoError(t, err)
	_, err = run(t.Context(), "recipes", "scale", demoRecipeFile, "--times", "2", "--config", "../../config/demo/bench.yaml")
	require.ErrorContains(t, err, `scaling: slate.volume: "520 mL": more than pot "left" holds; write at most 450 mL`)

	out, err = run(t.Context(), "recipes", "scale", demoRecipeFile, "--shots", "12", "--per-shot", "18mL", "--per-shot", "rust=20 mL", "--stays", "60mL", "--json")
	require.NoError(t, err)
	var s scale.Scaling
	require.NoError(t, json.Unmarshal([]byte(out), &s))
	assert.Equal(t, []string{"276 mL", "276 mL", "300 mL"}, []string{s.Colours[0].Rows[0].To, s.Colours[1].Rows[0].To, s.Colours[2].Rows[0].To})
	out, err = run(t.Context(), "recipes", "scale", demoRecipeFile, "--volume", "ivory=300 mL")
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(out, "ivory, pot middle: ×1.36, 300.0 mL\n"), out)
	assert.NotContains(t, out, "slate")
}

func TestContrastOfARecipe(t *testing.T) {
	out, err := run(t.Context(), "recipes", "contrast", demoRecipeFile)
	require.NoError(t, err)
	assert.Contains(t, out, "they measure no bait")
	assert.NotContains(t, out, "warning")
	file := filepath.Join(t.TempDir(), "dull.yaml")
	_, err = run(t.Context(), "recipes", "edit", demoRecipeFile, "--set", "rust.swatch=#e6dcc4", "--remove", "slate.swatch", "--out", file, "--data", t.TempDir())
	require.NoError(t, err)
	out, err = run(t.Context(), "recipes", "contrast", file)
	require.NoError(t, err)
	assert.Contains(t, out, "slate beside ivory: not recorded: no swatch of slate\n")
	assert.Contains(t, unbroken(out), "warning: ivory and rust would read as one: a colour difference of 0.7, below the least contrast of 5 ")
	out, err = run(t.Context(), "recipes", "contrast", file, "--json")
	require.NoError(t, err)
	var object struct{ Contrasts []config.Contrast }
	require.NoError(t, json.Unmarshal([]byte(out), &object))
	assert.Nil(t, object.Contrasts[0].Beside)
	assert.True(t, object.Contrasts[1].ReadAsOne)
}

// TestAVersionIsWhatItsFingerprintSays: one that is not is heated by nobody.
func TestAVersionIsWhatItsFingerprintSays(t *testing.T) {
	v := history.Version{Fingerprint: config.DemoRecipe().Fingerprint(), Source: string(config.DemoRecipe().Typed)}
	r, err := parsed(v)
	require.NoError(t, err)
	assert.Equal(t, v.Fingerprint, r.Fingerprint())
	v.Source = strings.Replace(v.Source, "setpoint: 168 C", "setpoint: 178 C", 1)
	require.NotEqual(t, string(config.DemoRecipe().Typed), v.Source)
	_, err = parsed(v)
	assert.ErrorContains(t, err, "something else wrote it; use a recipe file")
}

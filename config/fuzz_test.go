package config_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/config/strict"
	"meltwarden/control"
	"meltwarden/control/circuit"
)

// addFiles seeds a fuzz test with every file of a kind, good and bad.
func addFiles(f *testing.F, demo string, kinds ...string) {
	f.Helper()
	files := []string{filepath.Join("demo", demo)}
	for _, kind := range kinds {
		more, err := filepath.Glob(filepath.Join(fixtures, kind+"-*.yaml"))
		require.NoError(f, err)
		require.NotEmpty(f, more)
		files = append(files, more...)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text)
	}
}

// requireProblems checks that an error says what to do: in which file, at which key,
// or at which line where the text could not be taken apart, and what to write
// instead, each problem in one line that can not upset a terminal.
func requireProblems(t *testing.T, file string, err error) {
	t.Helper()
	var all *strict.Error
	require.True(t, errors.As(err, &all), "%v", err)
	require.NotEmpty(t, all.Problems)
	for _, p := range all.Problems {
		require.Equal(t, file, p.File)
		require.True(t, p.Key != "" || p.Line > 0 || len(all.Problems) == 1, "no place: %s", p)
		require.NotEmpty(t, p.Wrong)
		require.NotEmpty(t, p.Fix)
		line := p.String()
		require.True(t, utf8.ValidString(line) && strings.IndexFunc(line, unicode.IsControl) < 0, "%q", line)
	}
}

// FuzzBenchFile: any text is a bench or a list of problems, and the same each time.
// In a bench every channel passes its own checks, and no limit is above its ceiling
// (the built-in ones of defaults.go: 200, 260 and 275 °C).
func FuzzBenchFile(f *testing.F) {
	addFiles(f, "bench.yaml", "bench")
	f.Fuzz(func(t *testing.T, text []byte) {
		b, err := config.ParseBench("bench.yaml", text, nil)
		again, errAgain := config.ParseBench("bench.yaml", text, nil)
		require.Equal(t, err, errAgain)
		if err != nil {
			require.Nil(t, b)
			requireProblems(t, "bench.yaml", err)
			return
		}
		require.Equal(t, b, again)
		for _, c := range b.Channels {
			require.NoError(t, c.Validate())
		}
		c := b.Ceiling
		require.True(t, c.MeltTripC <= 200 && c.PlateLimitC <= 260 && c.PlateTripC <= 275, "%+v", c)
		for _, p := range b.Pots {
			require.True(t, p.PlateLimitC <= c.PlateLimitC && p.HeaterW > 0 && p.HeaterW <= b.Supply.MaxW, "%+v", p)
			require.Equal(t, p.Output == circuit.Switched, p.Window >= time.Second && p.Window <= time.Minute, "%+v", p)
		}
		if s, err := config.Settings(b, config.DemoRecipe()); err != nil {
			requireProblems(t, "demo/recipe.yaml", err)
		} else {
			requireColdAtFirst(t, s)
		}
	})
}

// FuzzRecipeFile: any text is a recipe or a list of problems, and the same each
// time. A recipe that goes with the demo's bench lowers its limits and raises none.
func FuzzRecipeFile(f *testing.F) {
	addFiles(f, "recipe.yaml", "recipe", "join", "promote")
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := config.ParseRecipe("recipe.yaml", text)
		again, errAgain := config.ParseRecipe("recipe.yaml", text)
		require.Equal(t, err, errAgain)
		if err != nil {
			require.Nil(t, r)
			requireProblems(t, "recipe.yaml", err)
			return
		}
		require.Equal(t, r, again)
		require.Equal(t, r.Fingerprint(), again.Fingerprint())
		b := demoBench(t)
		s, err := config.Settings(b, r)
		if err != nil {
			requireProblems(t, "recipe.yaml", err)
			return
		}
		require.LessOrEqual(t, s.Limits.MeltTripC, b.Ceiling.MeltTripC)
		require.False(t, s.Limits.HeatersProven)
		for i, p := range s.Pots {
			require.LessOrEqual(t, p.PlateLimitC, b.Pots[i].PlateLimitC)
			require.Less(t, max(p.SetpointC, p.CureC), s.Limits.MeltWarnC)
			require.Less(t, s.Limits.MeltWarnC, s.Limits.MeltTripC)
		}
		requireColdAtFirst(t, s)
	})
}

// requireColdAtFirst: no file that is taken makes a bench heat that has read nothing.
func requireColdAtFirst(t *testing.T, s control.Settings) {
	t.Helper()
	var out control.Frame
	control.NewBench(s).Step(&control.Input{Elapsed: s.Period}, &out)
	require.False(t, out.Outputs.Contactor)
	for _, duty := range out.Outputs.Duty {
		require.Zero(t, duty)
	}
}

// TestAFileOfManyEntriesIsReadInTime: entries are held against each other, so that
// as many as fit into a file would take minutes.
func TestAFileOfManyEntriesIsReadInTime(t *testing.T) {
	list := func(key string, n int) []byte { return []byte(key + ": [" + strings.Repeat("{},", n) + "]\n") }
	_, err := config.ParseBench("bench.yaml", list("channels", 300_000), nil)
	require.ErrorContains(t, err, `bench.yaml:1: channels: more than 1000 entries; leave out`)
	_, err = config.ParseRecipe("recipe.yaml", list("colours", 1001))
	require.ErrorContains(t, err, `recipe.yaml:1: colours: more than 1000 entries; leave out`)
	_, err = config.ParseRecipe("recipe.yaml", list("colours", 1000))
	require.ErrorContains(t, err, `recipe.yaml:1: colours[1000].name: missing`)
}

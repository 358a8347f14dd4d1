package config_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"meltwarden/config"
)

var update = flag.Bool("update", false, "rewrite the expected messages of the bad files")

const fixtures = "../testdata/config"

// Every bad file stands beside the messages it must lead to. The first word of
// its name says how it is read: as a bench, as a recipe, or as a recipe joined
// with the demo's bench or, for halves, with that of pots that lack a probe.
func TestBadFilesLeadToTheirMessages(t *testing.T) {
	files, err := filepath.Glob(fixtures + "/*.bad.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			got := messages(t, filepath.Base(file), text)
			golden := strings.TrimSuffix(file, ".yaml") + ".txt"
			if *update {
				require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), got)
		})
	}
}

// messages reads a file by the first word of its name.
func messages(t *testing.T, file string, text []byte) string {
	kind, _, _ := strings.Cut(file, "-")
	var err error
	switch kind {
	case "bench":
		_, err = config.ParseBench(file, text, nil)
	case "recipe":
		_, err = config.ParseRecipe(file, text)
	case "join", "halves":
		var r *config.Recipe
		r, err = config.ParseRecipe(file, text)
		require.NoError(t, err, "a file to join is right by itself")
		bench := demoBench(t)
		if kind == "halves" {
			bench, err = config.LoadBench(fixtures+"/bench-halves.good.yaml", nil)
			require.NoError(t, err)
		}
		_, err = config.Settings(bench, r)
	}
	require.Error(t, err)
	return err.Error() + "\n"
}

func TestGoodFilesAreTaken(t *testing.T) {
	files, err := filepath.Glob(fixtures + "/*.good.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		if strings.HasPrefix(filepath.Base(file), "bench") {
			_, err = config.LoadBench(file, nil)
		} else {
			_, err = config.LoadRecipe(file)
		}
		require.NoError(t, err)
	}
}

func demoBench(t require.TestingT) *config.Bench {
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	return b
}

package daemon

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/budget"
)

// TestNumbersOfTheExamples prints whether the lines of the example bench files keep up, with
// the time that a device is taken to need.
func TestNumbersOfTheExamples(t *testing.T) {
	files, err := filepath.Glob("../config/examples/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		if filepath.Base(file) == "recipe.yaml" {
			continue
		}
		b, err := config.LoadBench(file, nil)
		require.NoError(t, err)
		all, err := budget.Of(Wiring(b), config.Period, nil)
		require.NoError(t, err)
		for _, l := range all {
			t.Logf("%s, line %s: %d baud, %d exchanges, %.0f ms a cycle, %.1f a second", filepath.Base(file), l.Name, l.Baud, l.Exchanges, l.Mean.Seconds()*1000, l.Rate())
			assert.True(t, l.Fits(), "%s %+v", file, l.Changes)
		}
	}
}

package boiling

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNumbersOfBoiling: by the table of testdata/boiling; see the README beside it.
func TestNumbersOfBoiling(t *testing.T) {
	text, err := os.ReadFile("../../testdata/boiling/water.csv")
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	worst := 0.0
	for _, r := range rows[1:] {
		want, err := strconv.ParseFloat(r[2], 64)
		require.NoError(t, err)
		said := "boiling at " + r[0] + " kPa"
		if r[1] != "" {
			said = "boiling at " + r[1] + " m"
		}
		w, is, err := Said(said)
		require.NoError(t, err)
		require.True(t, is)
		require.InDelta(t, want, w.C, 0.0011, said)
		worst = max(worst, math.Abs(want-w.C))
		t.Logf("%-22s table %7.3f °C, here %7.3f °C; the water within ±%.1f °C (estimate)", said, want, w.C, w.WithinC)
	}
	// The check values of the release, in kelvins.
	for kPa, kelvin := range map[float64]float64{100: 372.755919, 1000: 453.035632, 10000: 584.149488} {
		require.InDelta(t, kelvin-273.15, Point(kPa), 1e-6)
	}
	t.Logf("at most %.4f °C from the table (0.05 is asked for)", worst)
}

func TestHowBoilingIsSaid(t *testing.T) {
	for words, want := range map[string]float64{"Boiling at 0 m.": 99.97, "boils 1013.25 hPa": 99.97, "boiling at 1640 ft": 98.31, "boiling at 950 mbar": 98.18} {
		w, is, err := Said(words)
		require.NoError(t, err, words)
		require.True(t, is, words)
		assert.InDelta(t, want, w.C, 0.01, words)
	}
	for _, words := range []string{"boiling", "boiling at 300", "boiling at home", "boiling at 9000 m", "boiling at 985 kPa", "boiling at 100 C"} {
		_, is, err := Said(words)
		require.True(t, is, words)
		require.Error(t, err, words)
	}
	_, is, _ := Said("57 C")
	require.False(t, is)
}

// TestAHeightKnowsNoWeather: 3 kPa either way are within what is said of a height.
func TestAHeightKnowsNoWeather(t *testing.T) {
	for _, m := range []float64{0, 500, 1500} {
		for _, weatherKPa := range []float64{-3, 3} {
			off := math.Abs(Point(Pressure(m)+weatherKPa) - Point(Pressure(m)))
			assert.LessOrEqual(t, off, math.Hypot(PanC, weatherC)+0.2, "%.0f m", m)
		}
	}
	high, _, _ := Said("boiling at 300 m")
	read, _, _ := Said("boiling at 985 hPa")
	assert.Greater(t, high.WithinC, read.WithinC)
}

package commission

import (
	"bytes"
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench"
)

// TestWhereWaterBoils: by the table; see the README beside it.
func TestWhereWaterBoils(t *testing.T) {
	text, err := os.ReadFile("../../testdata/boiling/water.csv")
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	for _, r := range rows[1:] {
		want, err := strconv.ParseFloat(r[2], 64)
		require.NoError(t, err)
		said := "boiling at " + r[0] + " kPa"
		if r[1] != "" {
			said = "boiling at " + r[1] + " m"
		}
		c, is, err := boiling(said)
		require.NoError(t, err)
		require.True(t, is)
		require.InDelta(t, want, c, 0.0011, said)
	}
	// The check values of the release, in kelvins.
	for kPa, kelvin := range map[float64]float64{100: 372.755919, 1000: 453.035632, 10000: 584.149488} {
		require.InDelta(t, kelvin-273.15, boilsAt(kPa), 1e-6)
	}
}

func TestHowBoilingIsSaid(t *testing.T) {
	for words, want := range map[string]float64{"Boiling at 0 m.": 99.97, "boils 1013.25 hPa": 99.97, "boiling at 1640 ft": 98.31, "boiling at 950 mbar": 98.18} {
		c, is, err := boiling(words)
		require.NoError(t, err, words)
		require.True(t, is, words)
		assert.InDelta(t, want, c, 0.01, words)
	}
	for _, words := range []string{"boiling", "boiling at 300", "boiling at home", "boiling at 9000 m", "boiling at 985 kPa", "boiling at 100 C"} {
		_, is, err := boiling(words)
		require.True(t, is, words)
		require.Error(t, err, words)
	}
	_, is, _ := boiling("57 C")
	require.False(t, is)
}

// inThePan is a cup that boils for the middle probe, 250 m above the sea: 99.14 °C.
func inThePan(r *rig) {
	r.dip = func(pot int) { r.DipMelt(pot, map[bool]float64{true: 99.14, false: cupC}[pot == 1]) }
}

// TestBoilingWaterIsAThermometer, for those who have none.
func TestBoilingWaterIsAThermometer(t *testing.T) {
	const typed = "60 C\ndry\nboiling at 250 m\ndry\n60 C\ndry\n"
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		inThePan(r)
		require.NoError(t, r.commission(t.Context(), typed, false), r.said())
		d := r.record().dip("middle")
		require.Equal(t, "boiling at 250 m", d.Boiling)
		require.InDelta(t, 99.1, *d.ThermometerC, 0.05)
		require.Regexp(t, `melt probe middle is on its own channel and no other, shows \d+\.\d °C where water boils at 99\.1 °C \(boiling at 250 m\)`, r.said())
	})
	for fault, want := range map[simbench.Fault]string{simbench.TypeKOnJ: "a type K probe on an input set to type J", simbench.TypeJOnK: "a type J probe on an input set to type K"} {
		wrongType(t, fault, typed, func(r *rig, err error) {
			require.ErrorContains(t, err, "°C where water boils at 99.1 °C (boiling at 250 m), as "+want+" does")
			require.Equal(t, Differs, r.record().dip("middle").Result)
		}, inThePan)
	}
}

// TestABoilingCupIsNoTapWater: what is typed must be so of the water that the tip is in.
func TestABoilingCupIsNoTapWater(t *testing.T) {
	atTheCups(t, nil, func(t *testing.T, r *rig) {
		require.NoError(t, r.commission(t.Context(), "boiling at 250 m\n60 C\ndry\n60 C\ndry\n60 C\ndry\n", false), r.said())
		require.Contains(t, r.said(), "which is no boiling water")
	})
}

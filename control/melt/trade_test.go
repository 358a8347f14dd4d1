package melt_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/injector"
	"meltwarden/control/melt"
	"meltwarden/control/mould"
)

// TestNumbersOfTheTrade prints what is reckoned beside what the trade says
// (testdata/heat/trade.csv), of which each is 30 to 50 % uncertain.
func TestNumbersOfTheTrade(t *testing.T) {
	const injectedC, mouldedC = 170.0, 175.0
	reckon := map[string]func(a, b float64) melt.Range{
		"injector": func(tubeC, s float64) melt.Range { return injector.Injector{}.Colder(injectedC, tubeC, s) },
		"sets": func(mm, mouldC float64) melt.Range {
			return mould.Sets(mm/1000, mouldedC, mouldC, melt.SetC, melt.Aluminium)
		},
		"fluid": func(mm, mouldC float64) melt.Range {
			return mould.Sets(mm/1000, mouldedC, mouldC, melt.PasteC, melt.Aluminium)
		},
		"warms": func(grams, kg float64) melt.Range {
			return mould.Session{
				Metal: melt.Aluminium, MouldKg: kg, ShotKg: grams / 1000, ThickM: 0.012, MeltC: mouldedC,
				StartC: 25, RoomC: 25, InMouldS: 180, EveryS: 240,
			}.Rise(25)
		},
	}
	file, err := os.Open("../../testdata/heat/trade.csv")
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 10)
	for _, row := range rows[1:] {
		var v [3]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i+1], 64)
			require.NoError(t, err)
		}
		got := reckon[row[0]](v[0], v[1])
		t.Logf("%-8s %3.0f, %4.1f: %5.1f (%.1f to %.1f); by the trade %3.0f", row[0], v[0], v[1], got.Mid, got.Low, got.High, v[2])
		assert.InEpsilon(t, v[2], got.Mid, 0.3)
		assert.Less(t, got.Low, got.Mid)
		assert.Less(t, got.Mid, got.High)
	}
}

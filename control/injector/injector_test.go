package injector

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/melt"
)

const drawnC = 170.0

// TestNumbersOfInjectors prints the losses beside the trade's own estimates
// (testdata/heat/trade.csv), of which each is 30 to 50 % uncertain.
func TestNumbersOfInjectors(t *testing.T) {
	file, err := os.Open("../../testdata/heat/trade.csv")
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	n := 0
	for _, row := range rows[1:] {
		var v [3]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i+1], 64)
			require.NoError(t, err)
		}
		if row[0] != "injector" {
			continue
		}
		lost := Injector{}.Colder(drawnC, v[0], v[1])
		fmt.Printf("25 mm bore, tube at %3.0f °C, %2.0f s: %4.1f °C colder (%.1f to %.1f); by the trade %2.0f\n", v[0], v[1], lost.Mid, lost.Low, lost.High, v[2])
		assert.InEpsilon(t, v[2], lost.Mid, 0.3)
		n++
	}
	require.Equal(t, 4, n)
	for _, tubeC := range []float64{25, 60, 130} {
		band := Injector{}.Until(drawnC, tubeC, drawnC-2)
		paste := Injector{}.Until(drawnC, tubeC, melt.PasteC)
		fmt.Printf("tube at %3.0f °C: 2 °C colder after %.2f s (%.2f to %.2f), below %.0f °C after %.0f s (%.0f to %.0f)\n", tubeC,
			band.Mid, band.Low, band.High, melt.PasteC, paste.Mid, paste.Low, paste.High)
	}
}

// TestUntilIsTheInverseOfColder: the low time is that of the high loss.
func TestUntilIsTheInverseOfColder(t *testing.T) {
	i := Injector{BoreM: 0.02, PreheatC: 60}
	until := i.Until(drawnC, 60, 150)
	assert.Less(t, until.Low, until.Mid)
	assert.Less(t, until.Mid, until.High)
	assert.InDelta(t, 20, i.Colder(drawnC, 60, until.Low).High, 1e-3)
	assert.InDelta(t, 20, i.Colder(drawnC, 60, until.Mid).Mid, 1e-3)
	assert.InDelta(t, 20, i.Colder(drawnC, 60, until.High).Low, 1e-3)
}

// TestEdges: what can not be is not made up.
func TestEdges(t *testing.T) {
	var i Injector
	assert.Equal(t, melt.Range{}, i.Colder(drawnC, 180, 10), "a tube that is warmer")
	assert.Equal(t, melt.Range{}, i.Until(drawnC, 25, drawnC))
	assert.True(t, math.IsInf(i.Until(drawnC, 180, 150).Low, 1))
	assert.True(t, math.IsInf(i.Until(drawnC, 160, 150).Low, 1), "colder than its tube it never becomes")
	assert.Equal(t, melt.Range{}, i.Colder(drawnC, 25, 0))
	assert.Equal(t, AssumedBoreM, i.Bore())
	assert.Equal(t, 21.0, i.TubeC(21))
	assert.Equal(t, 60.0, Injector{PreheatC: 60}.TubeC(21))
	assert.Equal(t, melt.PasteC, i.Lowest())
}

// TestAWiderBoreIsSlower, by the square of it (any handbook: Fo = α·t/R²).
func TestAWiderBoreIsSlower(t *testing.T) {
	narrow, wide := Injector{BoreM: 0.02}, Injector{BoreM: 0.04}
	a, b := narrow.Until(drawnC, 25, 150), wide.Until(drawnC, 25, 150)
	assert.InEpsilon(t, 4, b.Mid/a.Mid, 1e-6)
	assert.False(t, math.IsNaN(b.High))
}

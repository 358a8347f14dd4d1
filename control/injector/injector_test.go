package injector

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/melt"
)

const drawnC = 170.0

// TestNumbersOfInjectors prints how soon a melt is colder, by the injector's warmth. What it
// has lost after a time stands beside the trade's own figures in control/melt.
func TestNumbersOfInjectors(t *testing.T) {
	for _, tubeC := range []float64{25, 60, 130} {
		band := Injector{}.Until(drawnC, tubeC, drawnC-2)
		paste := Injector{}.Until(drawnC, tubeC, melt.PasteC)
		t.Logf("tube at %3.0f °C: 2 °C colder after %.2f s (%.2f to %.2f), below %.0f °C after %.0f s (%.0f to %.0f)", tubeC,
			band.Mid, band.Low, band.High, melt.PasteC, paste.Mid, paste.Low, paste.High)
		assert.Less(t, band.High, paste.Low)
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

package devices

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Over any run of ticks a heater is on for the sum of its duties, to one tick.
func TestNothingIsLostBetweenTicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p proportion
		due, given := 0.0, 0
		for _, d := range rapid.SliceOfN(rapid.Float64Range(0.001, 1), 1, 300).Draw(t, "duties") {
			due += d
			if p.tick([]float64{d})[0] {
				given++
			}
			require.InDelta(t, due, given, 1+1e-6)
			require.LessOrEqual(t, float64(given), due+1e-6, "never ahead")
		}
	})
}

func TestATenthIsEveryTenthTick(t *testing.T) {
	var p proportion
	for i := range 1000 {
		assert.Equal(t, (i+1)%10 == 0, p.tick([]float64{0.1})[0], i)
	}
}

func TestNoDutyIsOffAtOnce(t *testing.T) {
	for _, none := range []float64{0, -1, 1.01, math.NaN(), math.Inf(1)} {
		var p proportion
		p.tick([]float64{0.9})
		assert.False(t, p.tick([]float64{none})[0])
		assert.False(t, p.tick([]float64{0.9})[0], "what was owed is forgotten")
	}
}

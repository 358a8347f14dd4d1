package registers

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestSetpointsComeBack: whatever is told comes back to within a step, and never above it, in
// both scales and every layout.
func TestSetpointsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := setpointChannel()
		c.Type = rapid.SampledFrom(target.types()).Draw(t, "type")
		c.Unit = rapid.SampledFrom([]Unit{Celsius, Fahrenheit}).Draw(t, "unit")
		c.Scale = rapid.SampledFrom([]float64{1, 0.5, 0.1, 0.05}).Draw(t, "scale")
		c.Words = rapid.SampledFrom([]Order{HighFirst, LowFirst}).Draw(t, "words")
		if c.Function = 16; c.Validate() != nil {
			return
		}
		told := rapid.Float64Range(20, 260).Draw(t, "told")
		regs, err := c.AppendTarget(nil, told)
		if err != nil || len(regs) != c.Registers() {
			t.Fatal(err, regs)
		}
		off := told - c.Target(regs)
		if off < -1e-4 || off > c.StepC()+1e-4 {
			t.Fatalf("told %v, reads %v", told, c.Target(regs))
		}
	})
}

// TestWholeDegreesAreExact, as control tells them, in a register that has them.
func TestWholeDegreesAreExact(t *testing.T) {
	c := setpointChannel()
	for _, scale := range []float64{1, 0.1, 0.01} {
		c.Scale, c.Type = scale, Uint16
		for celsius := 20.0; celsius <= 260; celsius++ {
			regs, err := c.AppendTarget(nil, celsius)
			require.NoError(t, err)
			assert.InDelta(t, celsius, c.Target(regs), 1e-9)
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), 1e9} {
		_, err := setpointChannel().AppendTarget(nil, bad)
		assert.Error(t, err)
	}
}

// TestSetpointsAreReadWhereTheyAreWritten, unless the bench names another place.
func TestSetpointsAreReadWhereTheyAreWritten(t *testing.T) {
	all := WithReadBack([]Channel{setpointChannel(), lampChannel()})
	require.Len(t, all, 3)
	back := all[2]
	assert.Equal(t, SetpointRead, back.Role)
	assert.Equal(t, uint8(3), back.Function)
	assert.NoError(t, back.Validate())
	assert.Len(t, WithReadBack(all), 3)
}

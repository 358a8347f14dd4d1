package calibrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/devices/registers"
)

// TestAStepThatNobodySaw: a quiet probe on an input of whole degrees shows the same all the
// time, wherever within that degree it is. A reading that is rounded to a step is off by up to
// half of it, evenly, which is a standard deviation of the step by the square root of 12 (JCGM
// 100:2008, the GUM, F.2.2.1; from memory), and two of these are said.
func TestAStepThatNobodySaw(t *testing.T) {
	still := window{}
	for range windowLong {
		still.add(20)
	}
	degree := registers.Channel{Type: registers.Int16, Scale: 1, Unit: registers.Celsius}
	for _, x := range []struct {
		stepC, within float64
		c             registers.Channel
	}{
		{1, 1e-12, degree},
		{1 / 1.8, 1e-12, registers.Channel{Type: registers.Int16, Scale: 1, Unit: registers.Fahrenheit}},
		// By ITS-90 a degree at 20 °C is 40.329 µV of type K, 51.502 of J: testdata/thermocouples.
		{0.01 / 0.040329, 1e-4, registers.Channel{Type: registers.Int16, Scale: 0.01, Unit: registers.Millivolt, Thermocouple: "K"}},
		{0.01 / 0.051502, 1e-4, registers.Channel{Type: registers.Int16, Scale: -0.01, Unit: registers.Millivolt, Thermocouple: "J"}},
		{coarseC, 1e-12, registers.Channel{Type: registers.Int16, Scale: 0.01, Unit: registers.Celsius}},
		{coarseC, 1e-12, registers.Channel{Type: registers.Float32, Scale: 1, Unit: registers.Celsius}},
	} {
		p := still.point(20, 0, x.c)
		assert.InDelta(t, x.stepC, p.StepC, x.within, "%+v", x.c)
		assert.InDelta(t, 2*p.StepC/math.Sqrt(12), p.within(), 1e-12)
	}
	noisy := window{}
	for i := range windowLong {
		noisy.add(21 + float64(i%2))
	}
	p := noisy.point(21, 0, degree)
	assert.InDelta(t, 1, p.StepC, 1e-12)
	assert.InDelta(t, 1/math.Sqrt(float64(windowLong)), p.within(), 1e-12, "noise of half a step lets the mean see between steps")
}

package judge

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/judge/zoo"
)

// TestStepTest: it begins at rest and ends settled, on both sides of what an evening
// heats to, and the plate stays under its limit.
func TestStepTest(t *testing.T) {
	specs := zoo.Named()
	for i := 0; i < len(specs); i += 5 {
		p := &Pot{Spec: specs[i]}
		test := p.stepTest()
		n := len(test.T)
		// By minutes, whole habits of the hand.
		mean := func(cs []float64, from int) (sum float64) {
			for _, c := range cs[from : from+300] {
				sum += c / 300
			}
			return sum
		}
		end, before := mean(test.MeltC, n-300), mean(test.MeltC, n-3300)
		fmt.Printf("%-20s duty +%.3f: melt from %.1f to %.1f °C, ten minutes before %.1f, plate up to %.1f\n", p.Spec.Name, test.DutyStep, test.MeltC[0], end, before, slices.Max(test.PlateC))
		assert.InDelta(t, restC, test.MeltC[0], 0.5, p.Spec.Name)
		assert.Greater(t, end, CureC, p.Spec.Name)
		assert.InDelta(t, before, end, 0.2, "ten minutes before")
		assert.Less(t, slices.Max(test.PlateC), p.Spec.PlateLimitC)
		assert.Zero(t, test.T[0])
		assert.InDelta(t, 0.2, test.T[1], 1e-9)
	}
}

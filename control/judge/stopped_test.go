package judge_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestAMeltThatStopsShortGoesOn: three pots of which one loses more than its loop takes it
// to; it once rested 1.3 °C under its cure temperature for ever, and all waited for it.
func TestAMeltThatStopsShortGoesOn(t *testing.T) {
	t.Parallel()
	assert.Less(t, arrive(t, randomParties(7)[6]).commonS, 3600.0)
}

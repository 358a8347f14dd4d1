package quantity

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestOnlyMillilitresAreAVolume: neither drops nor grams are one.
func TestOnlyMillilitresAreAVolume(t *testing.T) {
	for text, want := range map[string]float64{"20 mL": 20, "2.5 ml": 2.5, "6 drops": 0, "60 g": 0, "-3 mL": 0, "": 0} {
		assert.Equal(t, want, AmountML(text), text)
	}
}

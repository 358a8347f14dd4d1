package quantity

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestSizes: NIST Handbook 44, appendix C (an inch, a pound and an ounce are exact there).
func TestSizes(t *testing.T) {
	for text, want := range map[string]float64{"25 mm": 0.025, "2.5cm": 0.025, "1 in": 0.0254} {
		got, err := Length(text)
		assert.NoError(t, err)
		assert.InDelta(t, want, got, 1e-12, text)
	}
	for text, want := range map[string]float64{"60 g": 0.06, "1.5 kg": 1.5, "1 lb": 0.45359237, "2 oz": 0.05669904625} {
		got, err := Mass(text)
		assert.NoError(t, err)
		assert.InDelta(t, want, got, 1e-12, text)
	}
	_, err := Length("25")
	assert.EqualError(t, err, `unit missing; write "25 mm"`)
	_, err = Mass("60 mL")
	assert.EqualError(t, err, `unit "mL" unknown; write "60 g" or "60 kg" or "60 oz" or "60 lb"`)
}

package flow

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestNumbersOfFlow: 5 to 11 % for every 5 °F, by hand (an estimate of the trade, no source).
func TestNumbersOfFlow(t *testing.T) {
	for _, f := range []float64{0, 5, 10, 20} {
		least, most := Ratio(f / 1.8)
		fmt.Printf("%2.0f °F apart: the colder melt is %.2f to %.2f times as thick\n", f, least, most)
	}
	least, most := Ratio(5 / 1.8)
	assert.InDelta(t, 1.05, least, 1e-12)
	assert.InDelta(t, 1.11, most, 1e-12)
	least, most = Ratio(-20 / 1.8)
	assert.InDelta(t, 1.05*1.05*1.05*1.05, least, 1e-12)
	assert.InDelta(t, 1.11*1.11*1.11*1.11, most, 1e-12)
}

package quantity

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What must come of each was worked out by hand.
func TestScale(t *testing.T) {
	for _, c := range []struct {
		text     string
		times    float64
		want     string
		manner   Manner
		rounding float64
	}{
		{"12 drops", 1.5, "18 drops", Drops, 0},
		{"3 drops", 1.5, "5 drops", Drops, 1.0 / 9}, // of 4.5
		{"1 drop", 1.5, "2 drops", Drops, 1.0 / 3},
		{"3 drops", 0.1, "1 drop", Drops, 7.0 / 3}, // of 0.3: one is the least
		{"10drops", 0.5, "5drops", Drops, 0},
		{"1 pinch", 2, "1 pinch", Pinches, 0},
		{"2 pinches, fine", 0.5, "2 pinches, fine", Pinches, 0},
		{"10 %", 3, "10 %", Share, 0},
		{"15 g", 1.5, "22.5 g", Linear, 0},
		{"0.5g", 1.5, "0.75g", Linear, 0},
		{".5 g", 0.01, "0.005 g", Linear, 0},
		{"2 mL, oil-based", 1.25, "2.5 mL, oil-based", Linear, 0},
		{"220 mL", 1.234, "271 mL", Linear, 271/271.48 - 1},
		{"1 US cup", 1.5, "1.5 US cup", Linear, 0},
		{"8 fl oz (US)", 0.75, "6 fl oz (US)", Linear, 0},
		{"1 tsp (US)", 2, "2 tsp (US)", Linear, 0},
		{"1 L", 1.2345, "1.23 L", Linear, 1.23/1.2345 - 1},
		{"a hint", 2, "a hint", NoAmount, 0},
		{"0.4 mm hex, 1 pinch", 2, "0.4 mm hex, 1 pinch", NoAmount, 0},
		{"1 g per 100 mL", 2, "1 g per 100 mL", NoAmount, 0}, // the potful is larger already
		{"2 g / 100 mL", 2, "2 g / 100 mL", NoAmount, 0},
		{"2 g to 3 g", 2, "2 g to 3 g", NoAmount, 0},
		{"2 g - 3 g, fine", 2, "2 g - 3 g, fine", NoAmount, 0},
		{"2 g, .015 hex", 2, "4 g, .015 hex", Linear, 0},
		{"2 mL - oil-based, for trout", 2, "4 mL - oil-based, for trout", Linear, 0},
		{"3 °C", 2, "3 °C", NoAmount, 0},
		{"2 gulps", 2, "2 gulps", NoAmount, 0},
		{"0 mL", 2, "0 mL", NoAmount, 0},
		{"", 2, "", NoAmount, 0},
	} {
		got := Scale(c.text, c.times)
		assert.Equal(t, c.want, got.Text, c.text)
		assert.Equal(t, c.manner, got.Manner, c.text)
		assert.InDelta(t, c.rounding, got.Rounding, 1e-9, c.text)
	}
}

// Measures that follow from the gallon of 231 cubic inches (testdata/measures, which
// names the source of each): twice a measure is what that many millilitres are.
func TestScaledMeasures(t *testing.T) {
	f, err := os.Open("../../testdata/measures/measures.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	units := map[string]string{
		"US cup": "US cup", "US fluid ounce": "fl oz (US)", "US tablespoon": "tbsp (US)", "US teaspoon": "tsp (US)",
		"metric cup": "metric cup", "metric teaspoon": "metric tsp",
	}
	seen := 0
	for _, row := range rows {
		name, ok := units[row[0]]
		if !ok {
			continue
		}
		seen++
		ml, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		got, err := measure(Scale("1 "+name, 2).Text, append(volumeUnits, spoonUnits...))
		require.NoError(t, err)
		assert.InDelta(t, 2*ml, got, 1e-9, name)
	}
	assert.Equal(t, len(units), seen)
}

// Whatever is scaled, a linear amount is right to half a percent, and drops are whole.
func TestScaleRounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := float64(rapid.IntRange(1, 99_999).Draw(t, "hundredths")) / 100
		times := float64(rapid.IntRange(1, 1000).Draw(t, "hundredth times")) / 100
		g := Scale(strconv.FormatFloat(n, 'f', -1, 64)+" g", times)
		assert.LessOrEqual(t, g.Rounding, 0.005)
		assert.GreaterOrEqual(t, g.Rounding, -0.005)
		back, err := measure(g.Text, amountUnits)
		require.NoError(t, err)
		assert.InDelta(t, n*times, back, n*times*0.005+1e-12)
		d := Scale(strconv.FormatFloat(n, 'f', -1, 64)+" drops", times)
		count, err := measure(d.Text, amountUnits)
		require.NoError(t, err)
		assert.InDelta(t, max(1, n*times), count, 0.5+1e-9)
	})
}

package swatch_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config/swatch"
)

// rows reads a table of numbers without its heading.
func rows(t *testing.T, file string) [][]float64 {
	f, err := os.Open("../../testdata/colour/" + file)
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var all [][]float64
	for _, line := range lines[1:] {
		var row []float64
		for _, cell := range line {
			v, err := strconv.ParseFloat(cell, 64)
			require.NoError(t, err)
			row = append(row, v)
		}
		all = append(all, row)
	}
	return all
}

// All 34 pairs of the paper, to the four decimals that are printed, in both orders.
func TestNumbersOfCIEDE2000(t *testing.T) {
	pairs := rows(t, "ciede2000.csv")
	require.Len(t, pairs, 34)
	worst := 0.0
	for _, r := range pairs {
		p, q, want := swatch.Lab{L: r[1], A: r[2], B: r[3]}, swatch.Lab{L: r[4], A: r[5], B: r[6]}, r[7]
		for _, got := range []float64{swatch.Difference(p, q), swatch.Difference(q, p)} {
			assert.InDelta(t, want, got, 0.00005, "pair %g", r[0])
			worst = max(worst, math.Abs(got-want))
		}
	}
	t.Logf("CIEDE2000: %d published pairs in both orders, furthest off %.6f", len(pairs), worst)
}

// The tristimulus values are given to six decimals and L*a*b* to four.
func TestNumbersOfSRGB(t *testing.T) {
	colours := rows(t, "srgb.csv")
	require.Len(t, colours, 10)
	worst := 0.0
	for _, r := range colours {
		l, err := swatch.Parse(fmt.Sprintf("#%02x%02x%02x", int(r[0]), int(r[1]), int(r[2])))
		require.NoError(t, err)
		x, y, z := l.XYZ()
		lab := l.Lab()
		assert.InDeltaSlice(t, r[3:6], []float64{x, y, z}, 0.000001, "%v", r[:3])
		got := []float64{lab.L, lab.A, lab.B}
		assert.InDeltaSlice(t, r[6:9], got, 0.0002, "%v", r[:3])
		for i := range got {
			worst = max(worst, math.Abs(got[i]-r[6+i]))
		}
	}
	t.Logf("sRGB to L*a*b*: %d colours, furthest off %.5f", len(colours), worst)
}

func TestOnlySixDigitsAreAColour(t *testing.T) {
	for _, text := range []string{"", "#", "7a8790", "#7a879", "#7a87901", "#7a879g", "#+a8790", "é7a879"} {
		_, err := swatch.Parse(text)
		assert.EqualError(t, err, fmt.Sprintf("swatch %q: no colour; write it like #7a8790", text))
	}
}

// drawn is any colour of a screen.
func drawn(label string, t *rapid.T) swatch.Light {
	l, err := swatch.Parse(fmt.Sprintf("#%06x", rapid.IntRange(0, 0xffffff).Draw(t, label)))
	require.NoError(t, err)
	return l
}

// A colour that hides more of what is behind it stands out more from it, and one that
// hides nothing looks like it.
func TestOpacity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		front, behind := drawn("front", t), drawn("behind", t)
		assert.InDelta(t, 0, swatch.Difference(behind.Lab(), front.Over(behind, 0).Lab()), 1e-9)
		assert.InDeltaSlice(t, front[:], func() []float64 { l := front.Over(behind, 1); return l[:] }(), 1e-12)
		d := swatch.Difference(front.Lab(), behind.Lab())
		assert.False(t, math.IsNaN(d) || d < 0)
		assert.InDelta(t, d, swatch.Difference(behind.Lab(), front.Lab()), 1e-9)
		_, fy, _ := front.XYZ()
		_, by, _ := behind.XYZ()
		_, half, _ := front.Over(behind, 0.5).XYZ()
		assert.InDelta(t, (fy+by)/2, half, 1e-12)
	})
}

package dose

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// example is a row of testdata/dose/examples.csv: its result, source and how it was checked.
type example struct {
	result, source string
}

func examples(t *testing.T) map[string]example {
	t.Helper()
	f, err := os.Open("../../testdata/dose/examples.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	all := map[string]example{}
	for _, row := range rows[1:] {
		all[row[0]] = example{row[3], row[5] + "; " + row[6]}
	}
	return all
}

// number is the first number of a result.
func number(t *testing.T, text string) (v float64) {
	t.Helper()
	_, err := fmt.Sscan(strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ';' })[0], &v)
	require.NoError(t, err)
	return v
}

// held is a melt at one temperature.
func held(c float64, d time.Duration) *Heat {
	h := &Heat{}
	h.Add(c, 0)
	for range int(d / time.Second) {
		h.Add(c, time.Second)
	}
	return h
}

// ramp is a melt that is read twice a second on its way.
func ramp(fromC, toC, cPerMin float64) *Heat {
	h := &Heat{}
	const step = 500 * time.Millisecond
	h.Add(fromC, 0)
	n := int(math.Round((toC - fromC) / cPerMin * 120))
	for i := 1; i <= n; i++ {
		h.Add(fromC+(toC-fromC)*float64(i)/float64(n), step)
	}
	return h
}

// tenfold is the pace that grows tenfold in z kelvins, as in sterilisation.
func tenfold(refC, z float64) func(float64) float64 {
	return func(c float64) float64 { return math.Pow(10, (c-refC)/z) }
}

// TestNumbersOfEqualTimes holds paces and sums against worked examples from outside; each
// row names its source.
func TestNumbersOfEqualTimes(t *testing.T) {
	rows := examples(t)
	profile := &Heat{}
	for i, c := range []float64{100, 108, 114, 118, 120, 121, 121.1, 121.1, 115, 100} {
		profile.stretch(c, i, 2*time.Minute)
	}
	for _, x := range []struct {
		id     string
		got    float64
		within float64 // share
	}{
		{"F1", tenfold(121.11, 10)(110), 7e-4}, // three digits,
		{"F2", held(111, 15*time.Minute).Sum(tenfold(121, 10)) / 60, 1e-9},
		{"F3", held(121, 15*time.Minute).Sum(tenfold(121, 10)) / 60, 1e-9},
		{"F4", profile.Sum(tenfold(121.1, 10)) / 60, 2e-3}, // a pace that steep bends more within a degree
		{"A1", held(55, time.Minute).Sum(tenfold(25, 10/math.Log10(2))) / 60, 1e-4},
		{"A2", held(50, time.Minute).Sum(tenfold(23, 10/math.Log10(2))) / 60, 1e-4},
		{"K1", Pace(190, LowKJ), 1e-4},
		{"K2", Pace(190, 150), 1e-4},
		{"K3", Pace(205, 150), 1e-4},
		{"K4", Pace(163, LowKJ), 2e-4},
		{"K5", ramp(160, 190, 3).Minutes(LowKJ), 1e-3},
		{"K6", ramp(160, 190, 3).Minutes(150), 1e-3},
		{"K7", Pace(187, LowKJ), 2e-4},
	} {
		row, ok := rows[x.id]
		require.True(t, ok, x.id)
		want := number(t, strings.TrimPrefix(row.result, "Q10(177->187)="))
		assert.InEpsilon(t, want, x.got, x.within, "%s (%s)", x.id, row.source)
		t.Logf("%s: %.4f, should be %.4f, off by %+.3f %% (%s)", x.id, x.got, want, 100*(x.got/want-1), row.source)
	}
}

// stretch adds reading i of a coarse profile by steps that are no gaps, straight between
// readings of the rates: the trapezoid over its own points.
func (h *Heat) stretch(c float64, i int, step time.Duration) {
	if i > 0 {
		h.spend(h.lastC, step.Seconds()/2)
		h.spend(c, step.Seconds()/2)
	}
	h.lastC = c
}

// TestAnyEnergyComesOutOfOneHeat: the same evening at other energies, against the sum over
// its readings themselves; own example, the trapezoid over 5 readings a second.
func TestAnyEnergyComesOutOfOneHeat(t *testing.T) {
	const step = 200 * time.Millisecond
	at := func(i int) float64 { // up, held with a swing, down
		s := float64(i) * step.Seconds()
		return math.Min(math.Min(25+s/6, 172.3), 172.3-(s-5400)/15) + 0.4*math.Sin(s/40)
	}
	h := &Heat{}
	const n = 36000
	for i := range n {
		h.Add(at(i), map[bool]time.Duration{true: 0, false: step}[i == 0])
	}
	for _, kJ := range []float64{100, LowKJ, DefaultKJ, HighKJ, 200} {
		want := 0.0
		for i := 1; i < n; i++ {
			want += (Pace(at(i-1), kJ) + Pace(at(i), kJ)) / 2 * step.Minutes()
		}
		assert.InEpsilon(t, want, h.Minutes(kJ), 1.5e-3)
		t.Logf("%.1f kJ/mol: %.3f equal minutes, %.3f over the readings, off by %+.3f %%", kJ, h.Minutes(kJ), want, 100*(h.Minutes(kJ)/want-1))
	}
	assert.InDelta(t, 120, h.MinutesAbove(0), 0.01, "no time is lost")
	assert.True(t, h.Known())
}

// TestAGapIsUnknown and is never filled in.
func TestAGapIsUnknown(t *testing.T) {
	h := held(170, 10*time.Minute)
	before := h.Minutes(DefaultKJ)
	for range 40 {
		h.Add(math.NaN(), time.Second)
	}
	h.Add(170, time.Second)
	assert.InDelta(t, 41, h.UnknownS, 1e-9)
	assert.InDelta(t, before, h.Minutes(DefaultKJ), 1e-9)
	assert.False(t, h.Known(), "more than a twentieth of ten minutes")
	for range 600 {
		h.Add(170, time.Second)
	}
	assert.True(t, h.Known(), "less than a twentieth of twenty")
	h.Add(math.NaN(), time.Hour)
	assert.False(t, h.Known(), "while the gap is open")
	settled := h.Settled()
	assert.False(t, settled.Known(), "and when it is kept so")

	h = held(170, 10*time.Minute)
	h.Add(170, time.Minute)
	assert.InDelta(t, 60, h.UnknownS, 1e-9, "cycles that were missed are one too")

	h = held(30, time.Minute)
	h.Add(math.NaN(), time.Hour)
	h.Add(40, time.Second)
	assert.Zero(t, h.UnknownS, "cold at both ends")
	h.Add(math.NaN(), 10*time.Minute)
	h.Add(165, time.Second)
	assert.InDelta(t, 601, h.UnknownS, 1e-9, "hot after it")
}

// TestWhoComesToAHotMelt knows nothing of the time before.
func TestWhoComesToAHotMelt(t *testing.T) {
	h := held(170, 10*time.Minute)
	kept := h.Settled()
	kept.Unwatched(5 * time.Minute)
	kept.Add(160, 0)
	assert.InDelta(t, 300, kept.UnknownS, 1e-9)
	kept = h.Settled()
	kept.Unwatched(8 * time.Hour)
	kept.Add(25, 0)
	assert.Zero(t, kept.UnknownS, "it has cooled down")
	assert.True(t, kept.Known())
	kept = h.Settled()
	kept.Unwatched(time.Minute)
	kept.Unwatched(-time.Hour)
	kept.Add(160, 0)
	assert.InDelta(t, 60, kept.UnknownS, 1e-9, "a clock that was set back takes nothing off")

	twice := h.Plus(*held(170, 10*time.Minute))
	assert.InEpsilon(t, 2*h.Minutes(DefaultKJ), twice.Minutes(DefaultKJ), 1e-9)
}

// TestNoTimeIsMadeOrCountedTwice, whatever is read.
func TestNoTimeIsMadeOrCountedTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := &Heat{}
		passed := 0.0
		for range rapid.IntRange(0, 60).Draw(t, "readings") {
			d := time.Duration(rapid.IntRange(0, 6000).Draw(t, "ms")) * time.Millisecond
			c := rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(-20, 300)).Draw(t, "c")
			h.Add(c, d)
			passed += d.Seconds()
			settled := h.Settled()
			assert.LessOrEqual(t, 60*settled.MinutesAbove(0)+settled.UnknownS, passed+1e-6)
			assert.GreaterOrEqual(t, settled.Minutes(DefaultKJ), 0.0)
		}
	})
}

// TestADoseOfNothingIsNone, and no reading spoils one.
func TestADoseOfNothingIsNone(t *testing.T) {
	h := &Heat{}
	assert.Zero(t, h.Minutes(DefaultKJ))
	assert.True(t, h.Known())
	for _, c := range []float64{math.Inf(1), -40, 1e9, math.NaN()} {
		h.Add(c, time.Second)
	}
	assert.False(t, math.IsNaN(h.Minutes(DefaultKJ)))
	h.Add(170, -time.Second)
	assert.GreaterOrEqual(t, h.MinutesAbove(0), 0.0)
}

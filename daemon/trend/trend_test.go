package trend

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/model"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// frame is one invented pot at a bench time; NaN is a broken probe.
func frame(at time.Duration, melt, duty float64) *frames.Frame {
	r := reading.Temperature{C: melt, Fault: reading.None}
	if math.IsNaN(melt) {
		r = reading.Temperature{Fault: reading.Open}
	}
	return &frames.Frame{Frame: control.Frame{Time: at, Pots: []control.PotFrame{
		{Melt: r, MeltC: melt, Plate: r, TargetC: 177, Duty: duty, AheadC: model.Ahead{4: melt + 5}},
	}}}
}

func TestSlotsKeepLowestHighestAndMean(t *testing.T) {
	var tr Trend
	tr.Add(frame(0, 20, 1))
	tr.Add(frame(time.Second, 24, .5))
	tr.Add(frame(1900*time.Millisecond, 22, 0))
	tr.Add(frame(2*time.Second, 30, 0))
	got := tr.Table(900)
	assert.Equal(t, []float64{0, 2}, got.TimeS)
	p := got.Pots[0]
	assert.Equal(t, []frames.Figure{20, 30}, p.MeltMinC)
	assert.Equal(t, []frames.Figure{24, 30}, p.MeltMaxC)
	assert.Equal(t, []frames.Figure{24, 30}, p.PlateMaxC)
	assert.Equal(t, []frames.Figure{177, 177}, p.TargetC)
	assert.Equal(t, []frames.Figure{27, 35}, p.ForeseenC, "the last word before five minutes later")
	assert.Equal(t, 300.0, got.ForeseenInS)
	assert.Equal(t, []frames.Figure{.5, 0}, p.Duty)
}

func TestBrokenProbeIsNullAndHidesNoPeak(t *testing.T) {
	var tr Trend
	tr.Add(frame(0, 190, 0))
	tr.Add(frame(time.Second, math.NaN(), 0))
	tr.Add(frame(2*time.Second, math.NaN(), 0))
	got, err := json.Marshal(tr.Table(900))
	require.NoError(t, err)
	assert.JSONEq(t, `{"slot_s":2,"foreseen_in_s":300,"time_s":[0,2],"pots":[{
		"melt_min_c":[190,null],"melt_max_c":[190,null],"plate_min_c":[190,null],"plate_max_c":[190,null],
		"target_c":[177,177],"foreseen_c":[null,null],"melt_estimate_c":[null,null],"duty":[0,0],"setpoint_c":[0,0],"band_c":[0,0]}]}`, string(got))
	assert.Equal(t, frames.Figure(190), tr.Table(1).Pots[0].MeltMaxC[0])
}

func TestEmptyTrendIsAnEmptyTable(t *testing.T) {
	got, err := json.Marshal((&Trend{}).Table(900))
	require.NoError(t, err)
	assert.JSONEq(t, `{"slot_s":0,"foreseen_in_s":300,"time_s":[],"pots":[]}`, string(got))
}

func TestBenchTimeGoingBackStartsAnew(t *testing.T) {
	var tr Trend
	tr.Add(frame(time.Hour, 170, 0))
	tr.Add(frame(0, 20, 0))
	assert.Equal(t, []float64{0}, tr.Table(900).TimeS)
}

// A long session against a plain list of everything that was added: the bound
// holds, and every peak is in the row that its time belongs to.
func TestLongSessionIsBoundedAndLosesNoPeak(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	var tr Trend
	var all []float64
	const step = time.Second
	for i := range 9 * 3600 {
		if i%3600 < i/3600*7 { // now and then the bench is silent
			all = append(all, math.NaN())
			continue
		}
		melt := 168 + random.NormFloat64()
		if random.IntN(5000) == 0 {
			melt += 30
		}
		all = append(all, melt)
		tr.Add(frame(time.Duration(i)*step, melt, 0))
	}
	assert.LessOrEqual(t, len(tr.slots), capacity)
	for _, rows := range []int{capacity, 900, 7, 1} {
		checkPeaks(t, tr.Table(rows), all, rows)
	}
}

func checkPeaks(t *testing.T, got Table, all []float64, rows int) {
	t.Helper()
	require.LessOrEqual(t, len(got.TimeS), rows)
	require.True(t, slices.IsSorted(got.TimeS))
	for i, from := range got.TimeS {
		in := all[int(from):min(len(all), int(from+got.SlotS))]
		low, high := math.Inf(1), math.Inf(-1)
		for _, v := range in {
			if !math.IsNaN(v) {
				low, high = min(low, v), max(high, v)
			}
		}
		require.InDelta(t, low, float64(got.Pots[0].MeltMinC[i]), 0)
		require.InDelta(t, high, float64(got.Pots[0].MeltMaxC[i]), 0)
	}
}

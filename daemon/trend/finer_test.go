package trend

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
)

// asked is a frame of a pot for which so much was asked for, give or take.
func asked(at time.Duration, melt, setpoint, band float64) *frames.Frame {
	f := frame(at, melt, .5)
	f.Pots[0].SetpointC, f.Pots[0].BandC = setpoint, band
	return f
}

// TestBetweenHasTheRowsOfAStretch and the one that holds its beginning.
func TestBetweenHasTheRowsOfAStretch(t *testing.T) {
	var tr Trend
	for s := range 100 {
		tr.Add(frame(time.Duration(s)*time.Second, float64(s), 0))
	}
	assert.Equal(t, []float64{10, 12, 14}, tr.Between(11*time.Second, 16*time.Second, 900).TimeS)
	assert.Equal(t, []float64{8, 12}, tr.Between(11*time.Second, 16*time.Second, 2).TimeS)
	assert.Empty(t, tr.Between(16*time.Second, 11*time.Second, 900).TimeS)
	assert.Empty(t, tr.Between(time.Hour, 2*time.Hour, 900).TimeS)
	assert.Equal(t, 100*time.Second, tr.End())
	assert.Zero(t, (&Trend{}).End())
}

// TestSetpointsAreKeptAsTheyWere, with their bands.
func TestSetpointsAreKeptAsTheyWere(t *testing.T) {
	var tr Trend
	tr.Add(asked(0, 160, 168, 2))
	tr.Add(asked(2*time.Second, 160, 171, 1))
	got := tr.Table(900).Pots[0]
	assert.Equal(t, []frames.Figure{168, 171}, got.SetpointC)
	assert.Equal(t, []frames.Figure{2, 1}, got.BandC)
}

// TestFinerRowsKnowWhatOnlyTheTrendKnew, and every cycle's peak.
func TestFinerRowsKnowWhatOnlyTheTrendKnew(t *testing.T) {
	const period = 200 * time.Millisecond
	var tr Trend
	for at := time.Duration(0); at < 20*time.Second; at += period {
		set := 168.0
		if at >= 10*time.Second {
			set = 171
		}
		tr.Add(asked(at, 150, set, 2))
	}
	assert.Nil(t, tr.Finer(0, time.Hour, 900, period), "the trend is as fine")
	assert.Nil(t, tr.Finer(time.Minute, time.Minute, 900, period))
	stretch := tr.Finer(8*time.Second, 13*time.Second, 13, period)
	require.NotNil(t, stretch)
	for at := 8 * time.Second; at < 13*time.Second; at += period {
		melt := 150.0
		if at == 9*time.Second {
			melt = 190
		}
		f := frame(at, melt, .5) // as history has it: nothing asked for, nothing foreseen
		f.Pots[0].AheadC[4] = math.NaN()
		stretch.Add(f)
	}
	got := stretch.Table()
	assert.Equal(t, .4, got.SlotS)
	require.Len(t, got.TimeS, 13)
	p := got.Pots[0]
	assert.Equal(t, frames.Figure(168), p.SetpointC[0])
	assert.Equal(t, frames.Figure(171), p.SetpointC[12])
	assert.Equal(t, frames.Figure(155), p.ForeseenC[0])
	assert.Equal(t, frames.Figure(190), p.MeltMaxC[2], "8.8 s to 9.2 s")
	assert.Equal(t, frames.Figure(150), p.MeltMaxC[3])
	assert.Equal(t, frames.Figure(2), p.BandC[5])
}

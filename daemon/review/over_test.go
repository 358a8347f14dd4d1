package review

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/shot"
)

// ramp records a run of so many minutes whose first pot rises by a degree a minute from a
// temperature on, and that is ready and shot at these minutes; of minute 7 nothing was
// read. A colour is the first pot's.
func ramp(t *testing.T, s *history.Store, day int, colour string, fromC float64, minutes, ready, shotAt int) int64 {
	began := time.Date(2026, 1, day, 18, 0, 0, 0, time.UTC)
	set := control.Settings{Pots: []control.PotSettings{{Name: "left", Colour: colour, SetpointC: 30, BandC: 2}}}
	r, err := s.Record(began, history.Start{Title: "invented", RecipeName: "invented", Fingerprint: "abc", Settings: set, Invented: true})
	require.NoError(t, err)
	for n := range minutes*60 + 1 {
		at := time.Duration(n) * time.Second
		in := control.Input{Elapsed: time.Second, Pots: []control.PotReadings{{
			Melt: reading.Temperature{C: fromC + at.Minutes(), Fault: reading.None}, Plate: reading.Temperature{C: 40, Fault: reading.None},
		}}}
		if n/60 == 7 {
			in.Pots[0].Melt.Fault = reading.Open
		}
		k := history.Kept{Record: cycles.Keep(began.Add(at), &in, &control.Frame{Cycle: uint64(n + 1), Time: at, Pots: []control.PotFrame{{TargetC: 30}}})}
		if n == ready*60 {
			k.Events = []history.Event{{Kind: history.ReadyToPour, Pot: history.WholeBench}}
		}
		if n == shotAt*60 {
			k.Events = append(k.Events, history.Event{Kind: history.ShotPushed, Pot: history.WholeBench})
			k.Shot = &shot.Card{}
		}
		r.PutAll(k)
	}
	require.NoError(t, r.Close(began.Add(time.Hour)))
	return r.Run()
}

// TestTwoRunsFallTogether at the moment asked for, whichever of them was earlier, with the
// melts where they were and a gap where nothing was read.
func TestTwoRunsFallTogether(t *testing.T) {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	short := ramp(t, s, 2, "slate", 20, 20, 10, 12)
	long := ramp(t, s, 3, "slate", 10, 30, 16, 25)
	for _, c := range []struct {
		own, other Moment
		zeroMin    float64 // of both on the axis: the earlier start is at 0
		ownC, them float64 // the melts then
	}{
		{Moment{short, 0}, Moment{long, 0}, 16, 30, 26},
		{Moment{long, 0}, Moment{short, 0}, 16, 26, 30},
		{Moment{short, 1}, Moment{long, 1}, 25, 32, 35},
	} {
		p, style, err := Over(s, c.own, c.other, plot.Style{Width: 800, Height: 400})
		require.NoError(t, err)
		assert.InDelta(t, c.zeroMin, p.Zero.Minutes(), 1e-9)
		assert.InDelta(t, c.ownC, meltAt(p.Pots[0].Points, p.Zero), .2)
		assert.InDelta(t, c.them, meltAt(p.Pots[0].Other, p.Zero), .2)
		assert.Zero(t, style.From)
		gaps := 0
		for _, points := range [][]plot.Point{p.Pots[0].Points, p.Pots[0].Other} {
			for _, q := range points {
				if q.MeltC != q.MeltC {
					gaps++
				}
			}
		}
		assert.Equal(t, 12, gaps, "a minute in tens of seconds, of both")
	}

	p, style, err := Over(s, Moment{short, 0}, Moment{long, 0}, plot.Style{From: 8 * time.Minute, To: 12 * time.Minute})
	require.NoError(t, err)
	assert.Equal(t, 14*time.Minute, style.From, "times of its own run, which began six minutes later")
	assert.Equal(t, 18*time.Minute, style.To)
	assert.Equal(t, [2]string{"run 1", "run 2"}, p.Over)

	other := ramp(t, s, 4, "ivory", 20, 20, 25, 12)
	p, _, err = Over(s, Moment{short, 1}, Moment{other, 1}, plot.Style{})
	require.NoError(t, err)
	assert.Empty(t, p.Pots[0].Other, "no pot of that colour")
	_, _, err = Over(s, Moment{short, 0}, Moment{other, 0}, plot.Style{})
	assert.ErrorIs(t, err, ErrNoMoment)
	assert.ErrorContains(t, err, "run 3 was never ready to pour: align at a shot")
	_, _, err = Over(s, Moment{short, 1}, Moment{long, 4}, plot.Style{})
	assert.ErrorIs(t, err, history.ErrNoShot)
	_, _, err = Over(s, Moment{short, 0}, Moment{99, 0}, plot.Style{})
	assert.ErrorIs(t, err, history.ErrNoRun)
}

// meltAt is the melt nearest to a moment.
func meltAt(points []plot.Point, at time.Duration) float64 {
	best := points[0]
	for _, p := range points {
		if (p.At - at).Abs() < (best.At - at).Abs() {
			best = p
		}
	}
	return best.MeltC
}

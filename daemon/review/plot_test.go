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
)

// TestPlotShowsWhatWasKept, with a gap where a reading was lost and the marks of
// people on their pots.
func TestPlotShowsWhatWasKept(t *testing.T) {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	noon := time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)
	set := control.Settings{Pots: []control.PotSettings{{Name: "left", Colour: "slate", SetpointC: 168, BandC: 2}}}
	r, err := s.Record(noon, history.Start{Title: "invented", RecipeName: "invented", Fingerprint: "abc", Settings: set})
	require.NoError(t, err)
	for i := range 10 {
		in := control.Input{Elapsed: 200 * time.Millisecond, Pots: []control.PotReadings{{
			Melt: reading.Temperature{C: 20 + float64(i), Fault: reading.None}, Plate: reading.Temperature{C: 40, Fault: reading.None},
		}}}
		var events []history.Event
		if i == 3 {
			in.Pots[0].Melt.Fault = reading.Open
		}
		if i == 5 {
			events = []history.Event{
				{Kind: history.Stirred}, {Kind: history.AllOff, Pot: history.WholeBench},
				{Kind: history.NewSetpoint, Amount: "170 C", C: 170},
			}
		}
		at := time.Duration(i) * 200 * time.Millisecond
		r.Put(history.Kept{Record: cycles.Keep(noon.Add(at), &in, &control.Frame{
			Cycle: uint64(i + 1), Time: at, Pots: []control.PotFrame{{TargetC: 173, Duty: 0.5}},
		}), Events: events})
	}
	require.NoError(t, r.Close(noon))

	p, err := Plot(s, r.Run(), 0, 0)
	require.NoError(t, err)
	require.Len(t, p.Pots[0].Points, 10)
	assert.Equal(t, plot.Point{At: 400 * time.Millisecond, MeltC: 22, PlateC: 40, TargetC: 173, Duty: 0.5}, p.Pots[0].Points[2])
	assert.NotEqual(t, p.Pots[0].Points[3].MeltC, p.Pots[0].Points[3].MeltC, "not recorded is no number")
	assert.Equal(t, []plot.Event{
		{At: time.Second, Pot: 0, Kind: plot.KindStirred}, {At: time.Second, Pot: plot.EveryPot, Kind: "all off"},
		{At: time.Second, Pot: 0, Kind: "set-point"},
	}, p.Events)
	assert.Equal(t, []plot.Step{{At: time.Second, C: 170}}, p.Pots[0].Steps)
	_, err = Plot(s, 99, 0, 0)
	assert.ErrorIs(t, err, history.ErrNoRun)
}

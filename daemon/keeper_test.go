package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
)

// TestWhatCameOfAHandReadingIsKept: one that control did not believe is not kept like one
// that it did.
func TestWhatCameOfAHandReadingIsKept(t *testing.T) {
	pots := []control.PotSettings{{
		Name: "left", HeaterW: 1000, VolumeML: 250, SetpointC: 166, BandC: 2, CureC: 172, PlateLimitC: 230, Probes: reading.PlateOnly,
	}}
	bench, scribe := control.NewBench(control.Settings{Period: 200 * time.Millisecond, Pots: pots}), NewScribe(pots)
	var f control.Frame
	said := func(c float64, afar bool) string {
		m := history.Mark{Command: control.Command{Kind: control.HandReading, C: c, Afar: afar}}
		in := control.Input{Elapsed: 200 * time.Millisecond, Pots: make([]control.PotReadings, 1)}
		in.Pots[0].Plate = reading.Temperature{C: 21, Fault: reading.None}
		in.Commands = []control.Command{m.Command}
		bench.Step(&in, &f)
		kept := scribe.Write(Happening{Input: &in, Frame: &f, Marks: []history.Mark{m}})
		require.NotEmpty(t, kept.Events)
		e := kept.Events[len(kept.Events)-1]
		require.Equal(t, history.HandReading, e.Kind)
		return e.Text
	}
	assert.Equal(t, notBelieved, said(21, false), "nothing is known of the pot yet")
	assert.Empty(t, said(22, false))
	assert.Equal(t, notBelieved, said(80, false))
	assert.Empty(t, said(23, false))
	assert.Equal(t, notBelieved, said(22, true))
}

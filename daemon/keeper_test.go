package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
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

// TestWhatIsSaidFromAfarIsKeptAsSuch, and that the sound was silenced; at the bench nobody
// asks for that later.
func TestWhatIsSaidFromAfarIsKeptAsSuch(t *testing.T) {
	mark := func(k control.CommandKind, from string) history.Mark {
		return history.Mark{Command: control.Command{Kind: k, Afar: from != ""}, From: from}
	}
	scribe := NewScribe([]control.PotSettings{{Name: "left"}})
	in, f := control.Input{Elapsed: 200 * time.Millisecond, Pots: make([]control.PotReadings, 1)}, control.Frame{Pots: make([]control.PotFrame, 1)}
	kept := scribe.Write(Happening{Input: &in, Frame: &f, Marks: []history.Mark{
		mark(control.Stir, "phone blue"), mark(control.Silence, "phone blue"), mark(control.Silence, ""), mark(control.Stir, ""),
	}})
	var words []string
	for _, e := range kept.Events {
		words = append(words, review.EventWords(e))
	}
	assert.Equal(t, []string{"stirred, from afar: phone blue", "sound silenced, from afar: phone blue", "stirred"}, words)
}

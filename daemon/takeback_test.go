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

// TestWhatIsTakenBackIsKeptAsSuch: the mark and that it was taken back, the shot's card
// without the draw; what came too late is not kept.
func TestWhatIsTakenBackIsKeptAsSuch(t *testing.T) {
	pots := []control.PotSettings{{Name: "left", HeaterW: 1000, VolumeML: 250, SetpointC: 166, BandC: 2, CureC: 172, PlateLimitC: 230}}
	bench, scribe := control.NewBench(control.Settings{Period: 200 * time.Millisecond, Pots: pots}), NewScribe(pots)
	var f control.Frame
	say := func(commands ...control.Command) history.Kept {
		in := control.Input{Elapsed: 200 * time.Millisecond, Pots: make([]control.PotReadings, 1), Commands: commands}
		in.Pots[0].Melt, in.Pots[0].Plate = reading.Temperature{C: 150, Fault: reading.None}, reading.Temperature{C: 150, Fault: reading.None}
		var marks []history.Mark
		for _, c := range commands {
			marks = append(marks, history.Mark{Command: c})
		}
		bench.Step(&in, &f)
		return scribe.Write(Happening{Input: &in, Frame: &f, Marks: marks})
	}
	kinds := func(k history.Kept) (all []history.Kind) {
		for _, e := range k.Events {
			all = append(all, e.Kind)
		}
		return all
	}
	back := control.Command{Kind: control.TakeBack, Mark: control.Draw}
	say(control.Command{Kind: control.Draw})
	k := say(back)
	require.Contains(t, kinds(k), history.TakenBack)
	assert.Equal(t, "drawn", k.Events[0].Text)
	assert.NotContains(t, kinds(say(back)), history.TakenBack, "there is nothing more to take back")
	k = say(control.Command{Kind: control.Shot})
	assert.False(t, k.Shot.DrawToPushS.Known(), "nothing was drawn")

	say(control.Command{Kind: control.Stir})
	for range 50 {
		say()
	}
	say(control.Command{Kind: control.Stir})
	say(control.Command{Kind: control.TakeBack, Mark: control.Stir})
	k = say(control.Command{Kind: control.Shot})
	assert.InDelta(t, 10.6, float64(k.Shot.Pots[0].SinceStirS), .3, "the stir before it counts")
}

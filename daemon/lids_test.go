package daemon

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
	"meltwarden/devices/simbench"
)

// TestLidsOverTheLine: from the bench file to page, run and shot's card, one over the bench
// (on the demo's contact of the fan) and one of a pot (on its pedal's). Heat stays where it is.
func TestLidsOverTheLine(t *testing.T) {
	demo, err := config.DemoBench(nil)
	require.NoError(t, err)
	text := strings.NewReplacer("{role: fan,", "{role: lid,", "{role: pedal,", "{role: lid, pot: middle,", ", short-press: shot", "").Replace(string(demo.Typed))
	file, err := config.ParseBench("bench.yaml", []byte(text), nil)
	require.NoError(t, err)
	synctest.Test(t, func(t *testing.T) {
		past, err := history.Open(t.TempDir())
		require.NoError(t, err)
		defer past.Close()
		r := startOn(t, file, func(o *Options, b *simbench.Bench) { o.Simulated, o.History = b, past })
		read := func() (words []string, tones []view.Tone) {
			time.Sleep(time.Second)
			for _, l := range view.Of(r.Hub().Latest(), r.opts.Settings, time.Now()).Lids {
				words, tones = append(words, l.Words), append(tones, l.Tone)
			}
			return words, tones
		}
		words, _ := read()
		assert.Equal(t, []string{"lid closed", "lid middle open"}, words)
		r.enable(t)
		words, tones := read()
		assert.Equal(t, []string{"lid closed", "lid middle open while heat is enabled"}, words)
		assert.Equal(t, []view.Tone{view.Plain, view.Attend}, tones)
		r.bench.HoldPedal(5 * time.Second)
		require.NoError(t, r.bench.Inject(simbench.FanStopped, simbench.Place{}))
		words, _ = read()
		assert.Equal(t, []string{"lid open while heat is enabled", "lid middle closed"}, words)
		require.NoError(t, r.Submit(history.Mark{Command: control.Command{Kind: control.Shot}}))
		time.Sleep(time.Second)
		assert.Equal(t, control.HeatEnabled, r.Hub().Latest().Heat, "a lid stops no heat")
		require.NoError(t, r.bench.Inject(simbench.NoReply, simbench.Place{Unit: simbench.UnitContacts}))
		time.Sleep(2 * time.Second)
		words, tones = read()
		assert.Equal(t, []string{"lid not read", "lid middle not read"}, words)
		assert.Equal(t, []view.Tone{view.Attend, view.Attend}, tones)
		require.NoError(t, r.bench.Clear(simbench.NoReply, simbench.Place{Unit: simbench.UnitContacts}))
		time.Sleep(time.Second)
		r.end()
		require.NoError(t, <-r.over)

		events, err := past.Events(1)
		require.NoError(t, err)
		var told []history.Kind
		for _, e := range events {
			if e.Kind == history.LidOpen || e.Kind == history.LidClosed {
				told = append(told, e.Kind)
				assert.Contains(t, []int{history.WholeBench, 1}, e.Pot)
			}
		}
		assert.Equal(t, []history.Kind{history.LidClosed, history.LidOpen, history.LidOpen, history.LidClosed}, told)
		shots, err := past.Shots(1)
		require.NoError(t, err)
		require.Len(t, shots, 1)
		assert.Equal(t, []shot.Lid{{Pot: 0, State: shot.LidOpen}, {Pot: 2, State: shot.LidClosed}}, shots[0].Card.Lids)
		back, err := past.Replay(1)
		require.NoError(t, err)
		assert.Nil(t, back.Differs)
	})
}

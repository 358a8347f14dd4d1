package demo

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
)

// again is the bench as it is at the end of an evening, from its record.
func again(e *evening) *control.Bench {
	bench := control.NewBench(e.settings)
	var f control.Frame
	for i := range e.kept {
		bench.Step(&e.kept[i].Record.Input, &f)
	}
	return bench
}

// TestSecondEveningRecallsTheFirst: an ordinary evening leaves what it found out about its
// pots, the next one on the same bench begins with it, and both play back from their
// stored settings bit for bit.
func TestSecondEveningRecallsTheFirst(t *testing.T) {
	if testing.Short() {
		t.Skip("three simulated evenings")
	}
	t.Parallel()
	s, b := newPast(t)
	p := evenings()[3]
	line := "first heat: nothing is known of it yet"
	for n := range 3 {
		p.daysAgo = 10 - n
		e, err := newEvening(p, b, "test", time.Now())
		require.NoError(t, err)
		recalled, err := daemon.Recall(s, b, e.settings, e.start)
		require.NoError(t, err)
		for i, r := range recalled {
			assert.Equal(t, line, r.String(), "evening %d, %s", n, r.Pot)
			e.settings.Pots[i].Known = r.Known
		}
		e.start.Settings = e.settings
		require.NoError(t, e.pass(context.Background()))
		require.NoError(t, e.write(s))
		runs, err := s.Runs(history.Filter{})
		require.NoError(t, err)
		back, err := s.Replay(runs[0].ID)
		require.NoError(t, err)
		assert.Nil(t, back.Differs)
		left := daemon.Learnt(again(e), recalled, e.began)
		require.Len(t, left, 3, "every pot was held before anything was drawn of it")
		for _, k := range left {
			assert.Equal(t, n == 0, k.Anew, k.Pot)
		}
		require.NoError(t, s.KeepKnown(runs[0].ID, left))
		ready := slices.IndexFunc(e.kept, func(k history.Kept) bool { return k.Record.Kept.Ready })
		t.Logf("%s: all ready after %v", line, e.kept[ready].Record.Kept.Time.Round(time.Second))
		line = "known from " + e.began.Format(time.DateOnly) + []string{", 1 session", ", 2 sessions", ""}[n]
	}
}

// TestAnotherChannelIsAnotherPot: what was found out by other channels, or with another
// heater or plate limit, is not recalled; a channel of another pot is none of its business.
func TestAnotherChannelIsAnotherPot(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector, which has others to look at")
	}
	t.Parallel()
	s, b := newPast(t)
	e, err := newEvening(evenings()[3], b, "test", time.Now().AddDate(0, 0, -1))
	require.NoError(t, err)
	require.NoError(t, e.pass(context.Background()))
	require.NoError(t, e.write(s))
	recalled, err := daemon.Recall(s, b, e.settings, e.start)
	require.NoError(t, err)
	require.NoError(t, s.KeepKnown(1, daemon.Learnt(again(e), recalled, e.began)))

	known := func(change func(b *config.Bench, set *control.Settings)) (n int) {
		other, set := *b, e.settings
		other.Pots, other.Channels, set.Pots = slices.Clone(b.Pots), slices.Clone(b.Channels), slices.Clone(e.settings.Pots)
		change(&other, &set)
		all, err := daemon.Recall(s, &other, set, e.start)
		require.NoError(t, err)
		for _, r := range all {
			if r.Known != nil {
				n++
			}
		}
		return n
	}
	assert.Equal(t, 3, known(func(*config.Bench, *control.Settings) {}))
	assert.Equal(t, 2, known(func(b *config.Bench, _ *control.Settings) {
		b.Channels[slices.IndexFunc(b.Channels, func(c registers.Channel) bool { return c.Pot == b.Pots[1].Name })].Address += 50
	}))
	assert.Equal(t, 2, known(func(b *config.Bench, _ *control.Settings) { b.Pots[0].HeaterW += 100 }))
	assert.Equal(t, 2, known(func(_ *config.Bench, s *control.Settings) { s.Pots[0].HeaterW += 100 }))
	assert.Equal(t, 2, known(func(_ *config.Bench, s *control.Settings) { s.Pots[2].PlateLimitC -= 5 }))
	assert.Equal(t, 3, known(func(_ *config.Bench, s *control.Settings) { s.Pots[2].VolumeML += 50 }), "it is scaled")
}

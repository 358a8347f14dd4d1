package demo

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/batch"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

// newPast is an empty history, and the bench that is to have one.
func newPast(t *testing.T) (*history.Store, *config.Bench) {
	t.Helper()
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	return s, b
}

// TestNumbersOfThePast makes the invented evenings, replays each of them bit for
// bit, and looks whether what spoiled a shot can be told from its card.
func TestNumbersOfThePast(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector, which has others to look at")
	}
	t.Parallel()
	s, b := newPast(t)
	began := time.Now()
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	require.NoError(t, MakePast(context.Background(), s, b, "test", now, func(int, int) {}))
	t.Logf("made in %.1f s", time.Since(began).Seconds())

	const eels = 12 // then come the newts
	runs, err := s.Runs(history.Filter{})
	require.NoError(t, err)
	require.Len(t, runs, eels+6)
	minutes := [2]float64{}
	for _, r := range runs {
		assert.True(t, r.Invented)
		assert.Equal(t, history.Finished, r.State)
		back, err := s.Replay(r.ID)
		require.NoError(t, err)
		assert.Nil(t, back.Differs, "run %d", r.ID)
		bait := min(1, (r.ID-1)/eels)
		minutes[bait] += r.TookS / 60
		shots, err := s.Shots(r.ID)
		require.NoError(t, err)
		for _, sh := range shots {
			card := sh.Card
			worst := card.Pots[card.Worst()]
			spoiledByHeat := slices.Contains([][2]int64{{1, 1}, {7, 1}, {9, 2}, {11, 1}}, [2]int64{r.ID, int64(sh.Number)})
			assert.Equal(t, spoiledByHeat, worst.OutOfBand(), "run %d, shot %d: the plan can be told from the card", r.ID, sh.Number)
			assert.Equal(t, r.ID == 5 && sh.Number == 2, card.DrawToPushS > 60 && r.ID <= eels, "run %d, shot %d", r.ID, sh.Number)
			t.Logf("run %2d (%.0f min) shot %d: %-7s %+.1f °C, spread %.1f °C, draw to push %.0f s, %v", r.ID, r.TookS/60, sh.Number,
				worst.Colour, float64(worst.DeviationC), float64(card.SpreadC), float64(card.DrawToPushS), sh.Verdicts)
		}
	}

	t.Logf("minutes of the bench: %.0f of the first bait, %.0f of the second", minutes[0], minutes[1])

	book, err := batch.Of(s)
	require.NoError(t, err)
	reheated := 0
	for _, b := range book.Batches {
		if reheated += b.Reheats; b.Reheats > 0 {
			t.Log(b.Line(), "-", b.Spread())
		}
		assert.True(t, b.DoseMin.Known())
		assert.Less(t, b.HighMin, b.LowMin, "poured below 177 °C: less counts with a higher energy")
	}
	assert.Equal(t, 2, reheated)

	versions, err := s.Versions()
	require.NoError(t, err)
	require.Len(t, versions, 3)
	assert.Equal(t, config.DemoRecipe().Fingerprint(), versions[0].Fingerprint)
	assert.EqualValues(t, 3, versions[0].FromRun)

	// What that run was promoted to is its recipe with what was changed at the bench.
	r, err := review.Of(s, 3)
	require.NoError(t, err)
	text, err := config.Promote([]byte(r.Recipe.Source), r.Deviations())
	require.NoError(t, err)
	assert.Equal(t, versions[0].Source, string(text))
}

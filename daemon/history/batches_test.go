package history

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/shot"
)

// withPotfuls is a run's beginning with three potfuls.
func withPotfuls() Start {
	o := start()
	o.DoseKJ = 150
	o.Potfuls = []Potful{{"slate", "soft", "1", "260 mL"}, {"ivory", "soft", "1", "220 mL"}, {"rust", "soft", "2", ""}}
	return o
}

// warm is a potful that was at 177 °C for some minutes.
func warm(minutes int) (h shot.Heat) {
	h.Add(177, 0)
	for range minutes * 60 {
		h.Add(177, time.Second)
	}
	return h
}

// TestAnInterruptedRunKeepsItsBatches and what they have had, when it goes on; another run
// begins new ones.
func TestAnInterruptedRunKeepsItsBatches(t *testing.T) {
	s := open(t, t.TempDir())
	r, err := s.Record(noon, withPotfuls())
	require.NoError(t, err)
	e := newEvening(withPotfuls().Settings)
	for i := range 30 {
		k := e.next()
		if i == 10 {
			k.Heats = []shot.Heat{warm(3), warm(4), warm(5)}
		}
		r.PutAll(k)
	}
	require.NoError(t, r.Close(noon.Add(time.Minute)))
	_, err = s.write.Exec(`UPDATE run SET state = 'interrupted'`)
	require.NoError(t, err)

	r, err = s.Record(noon.Add(time.Hour), withPotfuls())
	require.NoError(t, err)
	require.True(t, r.Resumed())
	ids, err := s.InPots(r.Run())
	require.NoError(t, err)
	assert.Equal(t, []int64{1, 2, 3}, ids)
	heats, at, err := s.Heats(r.Run())
	require.NoError(t, err)
	require.Len(t, heats, 3)
	assert.InDelta(t, 4, heats[1].Minutes(150), 0.01)
	assert.WithinDuration(t, noon, at, 10*time.Second)
	require.NoError(t, s.KeepHeats(r.Run(), noon.Add(2*time.Hour), []shot.Heat{warm(10)}))
	require.NoError(t, r.Close(noon.Add(2*time.Hour)))

	r, err = s.Record(noon.AddDate(0, 0, 1), withPotfuls())
	require.NoError(t, err)
	require.NoError(t, r.Close(noon.AddDate(0, 0, 1)))
	ids, err = s.InPots(r.Run())
	require.NoError(t, err)
	assert.Equal(t, []int64{4, 5, 6}, ids)
	var cycles strings.Builder
	require.NoError(t, s.ExportJSON(&cycles, 1))
	assert.Contains(t, cycles.String(), `"name":"middle","batch":2,`)
	all, err := s.Batches()
	require.NoError(t, err)
	require.Len(t, all, 6)
	assert.InDelta(t, 10, all[0].Heats[0].Heat.Minutes(150), 0.02)
	assert.InDelta(t, 4, all[1].Heats[0].Heat.Minutes(150), 0.01, "the others as they were")
	assert.Equal(t, "", all[2].Made, "not recorded")
}

// TestTheFirstLayoutHasNoBatches: they are not recorded, until somebody asks for them; then
// their heat is reckoned from the cycles.
func TestTheFirstLayoutHasNoBatches(t *testing.T) {
	folder := t.TempDir()
	old, err := os.ReadFile("../../testdata/history/layout-1.sqlite")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, FileName), old, 0o600))
	s := open(t, folder)
	all, err := s.Batches()
	require.NoError(t, err)
	assert.Empty(t, all)
	ids, err := s.InPots(1)
	require.NoError(t, err)
	assert.Empty(t, ids)
	require.ErrorIs(t, s.SetBatch(1, 0, 0), ErrNoBatch)
	for range 2 {
		require.NoError(t, s.AddBatches(1, 150, withPotfuls().Potfuls))
	}
	all, err = s.Batches()
	require.NoError(t, err)
	require.Len(t, all, 3, "once")
	heat := all[0].Heats[0].Heat
	assert.InDelta(t, 80, 60*heat.MinutesAbove(0)+heat.UnknownS, 0.5, "its 80 s")
}

// TestAHeatThatCanNotBeReadIsUnknown.
func TestAHeatThatCanNotBeReadIsUnknown(t *testing.T) {
	s := open(t, t.TempDir())
	r, err := s.Record(noon, withPotfuls())
	require.NoError(t, err)
	require.NoError(t, r.Close(noon))
	_, err = s.write.Exec(`UPDATE potful SET heat = 'damaged' WHERE pot = 1`)
	require.NoError(t, err)
	b, err := s.Batch(1)
	require.NoError(t, err)
	assert.False(t, b.Heats[0].Heat.DoseMin(150).Known())
}

package history

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
)

// finds lets a run begin at a time, find something out about the left pot, and end.
func finds(t *testing.T, s *Store, at time.Time, figures string, anew bool) int64 {
	t.Helper()
	r, err := s.Record(at, start())
	require.NoError(t, err)
	k := newEvening(start().Settings).next()
	k.Record.At = at
	k.Known = []Known{{At: at, Pot: "left", Digest: "d", Anew: anew, Figures: "of ten minutes"}}
	r.Put(k)
	require.NoError(t, r.Close(at.Add(time.Minute)))
	require.NoError(t, s.KeepKnown(r.Run(), []Known{{At: at.Add(time.Minute), Pot: "left", Digest: "d", Anew: anew, Figures: figures}}))
	return r.Run()
}

// TestKnownIsTheNewest of the same pot with the same channels, and is counted in sessions
// since it was found out anew.
func TestKnownIsTheNewest(t *testing.T) {
	s := open(t, t.TempDir())
	_, _, err := s.Known(noon, start(), "left", "d")
	assert.ErrorIs(t, err, ErrNotKnown)
	for day, x := range []struct {
		anew     bool
		sessions int
	}{{true, 1}, {false, 2}, {false, 3}, {true, 1}, {false, 2}} {
		at := noon.AddDate(0, 0, day)
		finds(t, s, at, "of the end", x.anew)
		k, sessions, err := s.Known(at, start(), "left", "d")
		require.NoError(t, err)
		assert.Equal(t, x.sessions, sessions, "day %d", day)
		assert.Equal(t, "of the end", k.Figures, "in the place of what the same run had kept before")
		assert.True(t, k.At.Equal(at.Add(time.Minute)))
	}
	finds(t, s, noon.AddDate(0, 0, 4).Add(time.Hour), "of the end", false)
	_, sessions, err := s.Known(noon.AddDate(0, 0, 5), start(), "left", "d")
	require.NoError(t, err)
	assert.Equal(t, 2, sessions, "two runs of one evening are one session")
	for _, other := range [][2]string{{"left", "another digest"}, {"middle", "d"}} {
		_, _, err := s.Known(noon, start(), other[0], other[1])
		assert.ErrorIs(t, err, ErrNotKnown)
	}
}

// TestARunThatGoesOnRecallsWhatItBeganWith: what it has found out itself since would be
// other settings, and then it could neither go on nor be played back.
func TestARunThatGoesOnRecallsWhatItBeganWith(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	finds(t, s, noon, "of the first evening", true)
	later := noon.AddDate(0, 0, 1)
	second := finds(t, s, later, "of the second", false)
	_, err := s.write.Exec(`UPDATE run SET state = 'interrupted' WHERE id = ?`, second)
	require.NoError(t, err)

	k, sessions, err := s.Known(later.Add(time.Minute), start(), "left", "d")
	require.NoError(t, err)
	assert.Equal(t, "of the first evening", k.Figures)
	assert.Equal(t, 1, sessions)

	other := start()
	other.Fingerprint = "another recipe"
	k, _, err = s.Known(later.Add(time.Minute), other, "left", "d")
	require.NoError(t, err)
	assert.Equal(t, "of the second", k.Figures, "another run begins with the newest")
	k, _, err = s.Known(later.AddDate(0, 0, 1), start(), "left", "d")
	require.NoError(t, err)
	assert.Equal(t, "of the second", k.Figures, "it is too long ago to go on")
}

// TestAKilledFirstHeatIsRecalledAtOnce: it is no evening, and never goes on.
func TestAKilledFirstHeatIsRecalledAtOnce(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	o.Settings = control.ForFirstHeat(o.Settings, []string{o.Settings.Pots[0].Name})
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	k := newEvening(o.Settings).next()
	k.Record.At = noon
	k.Known = []Known{{At: noon, Pot: "left", Digest: "d", Figures: "of the first heat"}}
	r.Put(k)
	require.NoError(t, r.Close(noon.Add(time.Minute)))
	_, err = s.write.Exec(`UPDATE run SET state = 'interrupted' WHERE id = ?`, r.Run())
	require.NoError(t, err)

	found, _, err := s.Known(noon.Add(2*time.Minute), start(), "left", "d")
	require.NoError(t, err)
	assert.Equal(t, "of the first heat", found.Figures)
}

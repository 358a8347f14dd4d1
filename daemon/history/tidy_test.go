package history

import (
	"database/sql"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/dose"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

// ofMinutes are the highest and lowest melt of a pot, minute by minute of a run.
func ofMinutes(t *testing.T, s *Store, run int64, pot int) (highest, lowest map[int]float64) {
	t.Helper()
	highest, lowest = map[int]float64{}, map[int]float64{}
	require.NoError(t, s.Each(run, func(_ Part, r *cycles.Record) error {
		minute := int((r.Kept.Cycle - 1) / 300)
		c := float64(frames.Measured(r.Input.Pots[pot].Melt))
		if h, known := highest[minute]; !known || c > h {
			highest[minute] = c
		}
		if l, known := lowest[minute]; !known || c < l {
			lowest[minute] = c
		}
		return nil
	}))
	return highest, lowest
}

// TestNumbersOfTidying thins an hour of three pots, prints what that saves, and finds
// every extreme of every minute, every mark and every shot where it was.
func TestNumbersOfTidying(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of cycles by one goroutine: minutes under the race detector")
	}
	folder := t.TempDir()
	s := open(t, folder)
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	for i := range 3600 * 5 {
		k := e.next()
		if i%4000 == 3000 {
			k.Events, k.Shot = []Event{{Kind: ShotPushed, Pot: WholeBench}}, &shot.Card{}
		}
		r.PutAll(k)
	}
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	require.NoError(t, s.AddPhoto(1, 2, noon, aPhoto(t)))
	require.NoError(t, s.Close()) // and the log is put into the file
	s = open(t, folder)
	marks := func() (n int) {
		require.NoError(t, s.Each(1, func(_ Part, r *cycles.Record) error { n += len(r.Input.Commands); return nil }))
		return n
	}
	said := marks()
	high, low := ofMinutes(t, s, 1, 0)
	shots, err := s.Shots(1)
	require.NoError(t, err)
	events, err := s.Events(1)
	require.NoError(t, err)
	before, err := s.Run(1)
	require.NoError(t, err)

	at := noon.AddDate(1, 0, 1)
	none, err := s.Tidy(t.Context(), at, 400*24*time.Hour, false)
	require.NoError(t, err)
	assert.Empty(t, none.Runs, "not old enough")
	dry, err := s.Tidy(t.Context(), at, 365*24*time.Hour, true)
	require.NoError(t, err)
	require.Len(t, dry.Runs, 1)
	_, err = s.Replay(1)
	require.NoError(t, err, "a dry run changes nothing")
	began := time.Now()
	done, err := s.Tidy(t.Context(), at, 365*24*time.Hour, false)
	require.NoError(t, err)
	took := time.Since(began)
	assert.Equal(t, dry.Runs, done.Runs)
	assert.False(t, done.Reused)
	one := done.Runs[0]
	t.Logf("an hour: %d cycles to %d, %.0f kB to %.0f kB; the file from %.0f kB to %.0f kB, in %.2f s", one.Cycles, one.Kept,
		float64(one.Before)/1e3, float64(one.After)/1e3, float64(done.Before)/1e3, float64(done.After)/1e3, took.Seconds())
	assert.Less(t, one.After, one.Before/3)
	assert.Less(t, done.After, done.Before)

	nowHigh, nowLow := ofMinutes(t, s, 1, 0)
	assert.Equal(t, high, nowHigh)
	assert.Equal(t, low, nowLow)
	assert.Equal(t, said, marks())
	nowShots, err := s.Shots(1)
	require.NoError(t, err)
	assert.Equal(t, asJSON(t, shots), asJSON(t, nowShots), "with cards and photos")
	nowEvents, err := s.Events(1)
	require.NoError(t, err)
	assert.Equal(t, events, nowEvents)
	after, err := s.Run(1)
	require.NoError(t, err)
	assert.InDelta(t, before.TookS, after.TookS, 0)
	assert.EqualValues(t, one.Kept, after.Cycles)
	assert.True(t, after.Thinned.Equal(at))
	longest, last, elapsed := time.Duration(0), time.Duration(0), time.Duration(0)
	require.NoError(t, s.Each(1, func(_ Part, r *cycles.Record) error {
		longest, last = max(longest, r.Kept.Time-last), r.Kept.Time
		elapsed += r.Input.Elapsed
		return nil
	}))
	assert.Equal(t, last, elapsed, "no time is lost")
	assert.LessOrEqual(t, longest, 10*time.Second)
	assert.Equal(t, time.Duration(before.TookS*float64(time.Second)), last, "to the end")

	_, err = s.Replay(1)
	assert.ErrorIs(t, err, ErrThinned)
	assert.ErrorContains(t, err, "on "+at.Local().Format(time.DateOnly)+"; replay is no longer possible")
	again, err := s.Tidy(t.Context(), at, 365*24*time.Hour, false)
	require.NoError(t, err)
	assert.Empty(t, again.Runs)

	// It travels as it is.
	archive := filepath.Join(t.TempDir(), "archive")
	_, err = s.Archive(archive, 1)
	require.NoError(t, err)
	to := open(t, t.TempDir())
	_, err = to.Import(archive, noon)
	require.NoError(t, err)
	there, err := to.Run(1)
	require.NoError(t, err)
	assert.True(t, there.Thinned.Equal(at))
	toHigh, _ := ofMinutes(t, to, 1, 0)
	assert.Equal(t, high, toHigh)
}

// TestNobodyThinsTwice what two have found to be old: the page, the terminal and the daemon
// may be at it at once.
func TestNobodyThinsTwice(t *testing.T) {
	s := open(t, t.TempDir())
	require.NoError(t, record(t, s, 2000).Close(noon.Add(time.Hour)))
	found, err := s.Run(1)
	require.NoError(t, err)
	one, err := s.thin(found, noon, false)
	require.NoError(t, err)
	require.Less(t, one.Kept, found.Cycles)
	_, err = s.thin(found, noon.Add(time.Hour), false)
	require.ErrorIs(t, err, ErrThinned)
	after, err := s.Run(1)
	require.NoError(t, err)
	assert.Equal(t, one.Kept, after.Cycles)
	assert.True(t, after.Thinned.Equal(noon))
}

// TestWhatIsNotTidied: a run that is being recorded, one of this week, and nothing at all
// for an age that is no age.
func TestWhatIsNotTidied(t *testing.T) {
	s := open(t, t.TempDir())
	r := record(t, s, 40)
	require.Eventually(t, func() bool { runs, err := s.Runs(Filter{}); return err == nil && runs[0].Cycles > 0 }, time.Minute, time.Millisecond)
	for _, dry := range []bool{true, false} {
		done, err := s.Tidy(t.Context(), noon.AddDate(9, 0, 0), 24*time.Hour, dry)
		require.NoError(t, err)
		assert.Empty(t, done.Runs, "it goes on")
	}
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	done, err := s.Tidy(t.Context(), noon.Add(20*time.Hour), 24*time.Hour, false)
	require.NoError(t, err)
	assert.Empty(t, done.Runs)
	_, err = s.Tidy(t.Context(), noon, time.Hour, false)
	assert.ErrorContains(t, err, "write 1 day or more")
}

// TestTidyingWhileAnotherRunIsRecorded gives room back in steps, and the run that goes on
// is whole.
func TestTidyingWhileAnotherRunIsRecorded(t *testing.T) {
	s := open(t, t.TempDir())
	old := record(t, s, 6000)
	require.NoError(t, old.Close(noon.Add(time.Hour)))
	later := noon.AddDate(0, 0, 30)
	r, err := s.Record(later, start())
	require.NoError(t, err)
	e := newEvening(start().Settings)
	for i := range 1500 {
		r.PutAll(e.next())
		if i == 700 {
			done, err := s.Tidy(t.Context(), later, 24*time.Hour, false)
			require.NoError(t, err)
			require.Len(t, done.Runs, 1)
			assert.EqualValues(t, 1, done.Runs[0].Run)
			assert.False(t, done.Reused)
		}
	}
	require.NoError(t, r.Close(later.Add(time.Hour)))
	assert.Zero(t, r.Dropped())
	back, err := s.Replay(2)
	require.NoError(t, err)
	assert.Equal(t, Replayed{Cycles: 1500}, back)
	var free int
	require.NoError(t, s.one([]any{&free}, "PRAGMA freelist_count"))
	assert.Less(t, free, 16, "pages: what was thinned had hundreds")
}

// TestAnOlderFileIsWrittenAnew, so that it gets smaller.
func TestAnOlderFileIsWrittenAnew(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of cycles by one goroutine: minutes under the race detector")
	}
	folder := t.TempDir()
	s := open(t, folder)
	r := record(t, s, 20000)
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	require.NoError(t, s.Close())
	path := filepath.Join(folder, FileName)
	edit(t, path, "PRAGMA auto_vacuum = 0; VACUUM")
	looking, err := OpenExisting(folder)
	require.NoError(t, err)
	done, err := looking.Tidy(t.Context(), noon.AddDate(1, 0, 0), 24*time.Hour, false)
	require.NoError(t, err)
	require.NoError(t, looking.Close())
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Less(t, info.Size(), done.Before*2/3)
	assert.False(t, done.Reused)
	again := open(t, folder)
	require.NoError(t, again.each(func(*sql.Rows) error { return nil }, "SELECT * FROM v_run"))
}

// TestTheHeatOfAThinnedRunIsNotKnown: what was hot is not reckoned from a tenth of it. What
// was kept while it was recorded stays.
func TestTheHeatOfAThinnedRunIsNotKnown(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of cycles by one goroutine: minutes under the race detector")
	}
	s := open(t, t.TempDir())
	r := record(t, s, 9000)
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	heats, _, err := s.heatsOf(1, 3)
	require.NoError(t, err)
	require.True(t, heats[0].DoseMin(dose.DefaultKJ).Known())
	_, err = s.Tidy(t.Context(), noon.AddDate(1, 0, 0), 24*time.Hour, false)
	require.NoError(t, err)
	heats, _, err = s.heatsOf(1, 3)
	require.NoError(t, err)
	assert.False(t, heats[0].DoseMin(dose.DefaultKJ).Known())
}

// TestALostReadingStaysLost: a gap begins and ends where it did.
func TestALostReadingStaysLost(t *testing.T) {
	var thin cycles.Thinner
	e := newEvening(start().Settings)
	for i := range 900 {
		k := e.next()
		if i >= 333 && i < 444 {
			k.Record.Input.Pots[1].Melt.Fault = reading.Open
		}
		thin.Add(&k.Record)
	}
	first, last := uint64(math.MaxUint64), uint64(0)
	before, after := uint64(0), uint64(math.MaxUint64)
	for _, r := range thin.Kept() {
		n := r.Kept.Cycle
		switch {
		case !frames.Measured(r.Input.Pots[1].Melt).Known():
			first, last = min(first, n), max(last, n)
		case n < 334:
			before = max(before, n)
		default:
			after = min(after, n)
		}
	}
	assert.Equal(t, []uint64{333, 334, 444, 445}, []uint64{before, first, last, after})
}

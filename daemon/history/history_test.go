package history

import (
	"bytes"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/daemon/history/cycles"
)

// start is an invented run.
func start() Start {
	s := control.Settings{
		Period: 200 * time.Millisecond, Circuit: circuit.Rating{MaxW: 2400, ContinuousW: 1920},
		Limits: guard.Limits{MeltWarnC: 177, MeltTripC: 190, PlateTripC: 250, EStop: true, HeatersProven: true},
	}
	for _, name := range []string{"left", "middle", "right"} {
		s.Pots = append(s.Pots, control.PotSettings{
			Name: name, HeaterW: 1000, VolumeML: 220, SetpointC: 168, BandC: 2, CureC: 172,
			Dwell: 90 * time.Second, SteadyFor: 20 * time.Second, StirWithin: 2 * time.Minute, PlateLimitC: 230,
		})
	}
	return Start{Title: "invented run", Recipe: "name: invented", RecipeName: "invented eel", Fingerprint: "abc", Bench: "name: b", Settings: s, Invented: true, Program: "test"}
}

// evening makes the cycles of an invented evening, one a call.
type evening struct {
	bench *control.Bench
	in    control.Input
	frame control.Frame
	n     int
}

func newEvening(s control.Settings) *evening {
	return &evening{bench: control.NewBench(s), in: control.Input{Pots: make([]control.PotReadings, len(s.Pots))}}
}

var noon = time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)

func (e *evening) next() Kept {
	contact := func(closed bool) reading.Contact {
		return reading.Contact{Closed: closed, Age: 12 * time.Millisecond, Fault: reading.None}
	}
	e.in.Elapsed = 200 * time.Millisecond
	if e.n == 0 {
		e.in.Elapsed = 0
	}
	for i := range e.in.Pots {
		// A rise with the steps and the unrest of a real module.
		c := 20 + 150*float64(e.n)/float64(e.n+3000) + 0.25*float64((e.n*7919+i*104729)%5)
		e.in.Pots[i].Melt = reading.Temperature{C: c, Age: time.Duration(10+e.n%3) * time.Millisecond, Fault: reading.None}
		e.in.Pots[i].Plate = reading.Temperature{C: c + 20, Age: time.Duration(10+e.n%3) * time.Millisecond, Fault: reading.None}
	}
	e.in.Contacts = control.Contacts{EStop: contact(true), Link: contact(true), Enable: contact(e.n%50 > 40 && e.n%50 <= 44), Pedal: contact(false)}
	e.in.Commands = e.in.Commands[:0]
	if e.n%250 == 100 {
		e.in.Commands = append(e.in.Commands, control.Command{Kind: control.Stir, Pot: e.n % 3})
	}
	e.in.Round()
	e.bench.Step(&e.in, &e.frame)
	e.n++
	return Kept{Record: cycles.Keep(noon.Add(e.frame.Time), &e.in, &e.frame)}
}

func open(t *testing.T, folder string) *Store {
	t.Helper()
	s, err := Open(folder)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

// record keeps n cycles in order, waiting for the recorder where a test is
// faster than any bench.
func record(t *testing.T, s *Store, n int) *Recorder {
	t.Helper()
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	for range n {
		r.queue <- e.next()
	}
	return r
}

func TestARunIsKeptListedAndReplayed(t *testing.T) {
	s := open(t, t.TempDir())
	r := record(t, s, 1003)
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	assert.Zero(t, r.Dropped())

	runs, err := s.Runs(Filter{})
	require.NoError(t, err)
	require.Len(t, runs, 1)
	assert.Equal(t, Finished, runs[0].State)
	assert.EqualValues(t, 1003, runs[0].Cycles)
	assert.True(t, runs[0].Invented)
	for text, want := range map[string]int{"EEL": 1, "finished": 1, "abc": 1, "nothing like it": 0} {
		found, err := s.Runs(Filter{Text: text})
		require.NoError(t, err)
		assert.Len(t, found, want, text)
	}

	back, err := s.Replay(runs[0].ID)
	require.NoError(t, err)
	assert.Equal(t, Replayed{Cycles: 1003}, back)
	_, err = s.Replay(99)
	assert.ErrorIs(t, err, ErrNoRun)
}

// TestReplayFindsWhatIsDifferent: one contact in one cycle comes out.
func TestReplayFindsWhatIsDifferent(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	e := newEvening(o.Settings)
	for i := range 500 {
		c := e.next()
		if i == 321 {
			c.Record.Input.Contacts.EStop.Closed = false
		}
		r.queue <- c
	}
	require.NoError(t, r.Close(noon))
	back, err := s.Replay(r.Run())
	require.NoError(t, err)
	require.NotNil(t, back.Differs)
	assert.Equal(t, Difference{Part: 1, Cycle: 322}, *back.Differs)
}

// TestInterruptedRunGoesOn, in a part of its own; another recipe begins another run.
func TestInterruptedRunGoesOn(t *testing.T) {
	folder := t.TempDir()
	first := open(t, folder)
	r := record(t, first, 400)
	require.Eventually(t, func() bool { return len(r.queue) == 0 }, time.Minute, time.Millisecond) // as in life
	// The program is gone without a Close, and its lock with it; another one starts.
	require.NoError(t, first.release())
	first.release = nil
	second := open(t, folder)
	again, err := second.Record(noon.Add(time.Minute), start())
	require.NoError(t, err)
	assert.Equal(t, r.Run(), again.Run())
	e := newEvening(start().Settings)
	for range 100 {
		again.queue <- e.next()
	}
	require.NoError(t, again.Close(noon.Add(time.Hour)))
	parts, err := second.Parts(again.Run())
	require.NoError(t, err)
	assert.Len(t, parts, 2)
	back, err := second.Replay(again.Run())
	require.NoError(t, err)
	assert.Nil(t, back.Differs)

	other := start()
	other.Fingerprint = "def"
	third, err := second.Record(noon.Add(2*time.Minute), other)
	require.NoError(t, err)
	assert.NotEqual(t, r.Run(), third.Run())
	require.NoError(t, third.Close(noon))
	require.NoError(t, r.Close(noon))
}

// TestFilesThatAreRefused, each with the fix and without a byte written.
func TestFilesThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		make func(t *testing.T, path string)
		want string
	}{
		"not a database": {func(t *testing.T, path string) {
			require.NoError(t, os.WriteFile(path, []byte("this is no database, and longer than a header of a hundred bytes would be, so that it is looked at in earnest"), 0o600))
		}, "damaged"},
		"another program's": {func(t *testing.T, path string) { edit(t, path, "CREATE TABLE x (y)") }, "not a history of this program"},
		"a newer one": {func(t *testing.T, path string) {
			edit(t, path, "PRAGMA application_id = 1297572974; PRAGMA user_version = 99; CREATE TABLE x (y)")
		}, "made by a newer program"},
	} {
		folder := t.TempDir()
		path := filepath.Join(folder, FileName)
		c.make(t, path)
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		_, err = Open(folder)
		require.Error(t, err, name)
		assert.ErrorContains(t, err, c.want)
		assert.ErrorContains(t, err, "nothing was written")
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, before, after, name)
	}
}

func edit(t *testing.T, path, query string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec(query)
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

// fill leaves room for so many pages only.
func fill(t *testing.T, s *Store, pages int) {
	t.Helper()
	write, err := s.writer()
	require.NoError(t, err)
	_, err = write.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages))
	require.NoError(t, err)
}

// TestFullDiskKeepsCyclesAndCountsDrops: control is never held up; what fits into
// the buffer is written once there is space, the rest is counted.
func TestFullDiskKeepsCyclesAndCountsDrops(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	fill(t, s, 1) // SQLite's own "database or disk is full"
	e := newEvening(o.Settings)
	for range 2 * packed {
		r.Put(e.next())
	}
	require.ErrorContains(t, <-r.Changes(), "full")
	for range buffered {
		r.Put(e.next())
	}
	assert.Positive(t, r.Dropped())
	assert.Error(t, r.Failing())

	fill(t, s, 1000000)
	require.NoError(t, <-r.Changes())
	require.NoError(t, r.Close(noon))
	runs, err := s.Runs(Filter{})
	require.NoError(t, err)
	assert.EqualValues(t, e.n-int(r.Dropped()), runs[0].Cycles)
}

// TestBackupIsAHistoryOfItsOwn, made while the run is still being recorded.
func TestBackupIsAHistoryOfItsOwn(t *testing.T) {
	s := open(t, t.TempDir())
	r := record(t, s, 700)
	folder := t.TempDir()
	require.NoError(t, s.Backup(filepath.Join(folder, FileName)))
	copied := open(t, folder)
	back, err := copied.Replay(r.Run())
	require.NoError(t, err)
	assert.Nil(t, back.Differs)
	assert.Error(t, s.Backup(filepath.Join(folder, FileName)), "nothing is written over")
	require.NoError(t, r.Close(noon))
}

// TestExportIsReadBack by the standard library's reader of RFC 4180 and of JSON.
func TestExportIsReadBack(t *testing.T) {
	s := open(t, t.TempDir())
	r := record(t, s, 120)
	require.NoError(t, r.Close(noon))
	var text bytes.Buffer
	require.NoError(t, s.ExportCSV(&text, r.Run()))
	rows, err := csv.NewReader(&text).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 121)
	assert.Equal(t, "left_melt_c", rows[0][6])
	assert.Equal(t, "left_batch", rows[0][len(rows[0])-6])
	assert.Equal(t, "", rows[1][len(rows[1])-6], "a run without batches")
	assert.Equal(t, "", rows[1][len(rows[1])-3], "no mould probe: not recorded, not zero")
	assert.Equal(t, "stir middle", rows[101][len(rows[101])-1])

	text.Reset()
	require.NoError(t, s.ExportJSON(&text, r.Run()))
	lines := json.NewDecoder(&text)
	var first map[string]any
	require.NoError(t, lines.Decode(&first))
	assert.Nil(t, first["mould_c"])
	assert.EqualValues(t, 1, first["cycle"])
	assert.ErrorIs(t, s.ExportCSV(&text, 99), ErrNoRun)
}

// TestExportIsReadByAnotherProgram: the sqlite3 tool reads the comma-separated
// values into a table and finds the cycles, the gaps and the marks.
func TestExportIsReadByAnotherProgram(t *testing.T) {
	tool, err := exec.LookPath("sqlite3")
	if err != nil {
		require.Empty(t, os.Getenv("MELTWARDEN_TEST_ALL"), "sqlite3 is not installed")
		t.Skip("sqlite3 is not installed")
	}
	s := open(t, t.TempDir())
	r := record(t, s, 1203)
	require.NoError(t, r.Close(noon))
	file, err := os.Create(filepath.Join(t.TempDir(), "run.csv"))
	require.NoError(t, err)
	require.NoError(t, s.ExportCSV(file, r.Run()))
	require.NoError(t, file.Close())
	said, err := exec.Command(tool, ":memory:", "-cmd", ".import --csv "+file.Name()+" run",
		`SELECT count(*), max(time_s + 0), sum(mould_c = ''), sum(marks LIKE 'stir %'), max(left_melt_c + 0) FROM run`).CombinedOutput()
	require.NoError(t, err, string(said))
	hottest := 0.0
	require.NoError(t, s.Each(r.Run(), func(_ Part, c *cycles.Record) error {
		hottest = max(hottest, c.Input.Pots[0].Melt.C)
		return nil
	}))
	assert.Equal(t, fmt.Sprintf("1203|240.4|1203|5|%s\n", figure(hottest)), string(said))
}

// TestAHistoryOfTheFirstLayout is read, and goes on in the present one.
func TestAHistoryOfTheFirstLayout(t *testing.T) {
	folder := t.TempDir()
	old, err := os.ReadFile("../../testdata/history/layout-1.sqlite")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, FileName), old, 0o600))
	_, err = Glance(folder)
	require.ErrorIs(t, err, ErrRefused)
	same, err := os.ReadFile(filepath.Join(folder, FileName))
	require.NoError(t, err)
	require.True(t, string(old) == string(same), "a glance leaves it alone")
	s := open(t, folder)
	runs, err := s.Runs(Filter{})
	require.NoError(t, err)
	require.Len(t, runs, 1)
	assert.EqualValues(t, 400, runs[0].Cycles)
	assert.InDelta(t, 80, runs[0].TookS, 1e-9)
	n := 0
	require.NoError(t, s.Between(1, 60*time.Second, 70*time.Second, func(_ Part, c *cycles.Record) error {
		assert.LessOrEqual(t, c.Kept.Time, 71*time.Second)
		n++
		return nil
	}))
	assert.Positive(t, n)
	r := record(t, s, 10)
	require.NoError(t, r.Close(noon))
	assert.EqualValues(t, 2, r.Run())
}

// TestWhatWasBegunAndNotFinished: a file that a full disk or a kill left at its very
// beginning is gone on with.
func TestWhatWasBegunAndNotFinished(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, FileName)
	edit(t, path, "PRAGMA journal_mode = WAL") // a first page with nothing in it
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Positive(t, info.Size())
	s := open(t, folder)
	require.NoError(t, s.Trouble())
	r := record(t, s, 20)
	require.NoError(t, r.Close(noon))
}

// TestHalfANewFile of an earlier try is made anew.
func TestHalfANewFile(t *testing.T) {
	folder := t.TempDir()
	beside := filepath.Join(folder, FileName+".new")
	require.NoError(t, os.WriteFile(beside, []byte("half a file of an earlier try"), 0o600))
	s := open(t, folder)
	require.NoError(t, s.Trouble())
	assert.NoFileExists(t, beside)
}

// TestLookingChangesNothing: a file of an old layout is brought to the present one
// only when nobody records into it.
func TestLookingChangesNothing(t *testing.T) {
	folder := t.TempDir()
	old, err := os.ReadFile("../../testdata/history/layout-1.sqlite")
	require.NoError(t, err)
	path := filepath.Join(folder, FileName)
	require.NoError(t, os.WriteFile(path, old, 0o600))
	release, err := claim(folder, 0) // an older program that records
	require.NoError(t, err)
	_, err = OpenExisting(folder)
	assert.ErrorIs(t, err, ErrRefused)
	assert.ErrorContains(t, err, "an older program records into it")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, old, after)
	require.NoError(t, release())

	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			s, err := OpenExisting(folder)
			assert.NoError(t, err)
			runs, err := s.Runs(Filter{})
			assert.NoError(t, err)
			assert.Len(t, runs, 1)
			assert.NoError(t, s.Close())
		})
	}
	group.Wait()
}

// TestAFileThatIsMovedAway while it is written to: what comes then goes into a new
// one, and it is told.
func TestAFileThatIsMovedAway(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	r := record(t, s, 100)
	require.Eventually(t, func() bool { runs, err := s.Runs(Filter{}); return err == nil && runs[0].Cycles >= 90 }, time.Minute, time.Millisecond)
	for _, end := range []string{"", "-wal", "-shm"} {
		require.NoError(t, os.Rename(filepath.Join(folder, FileName+end), filepath.Join(folder, "moved"+end)))
	}
	e := newEvening(start().Settings)
	for range 6 {
		r.PutAll(e.next())
	}
	require.ErrorIs(t, <-r.Changes(), errMoved)
	require.NoError(t, <-r.Changes())
	require.NoError(t, r.Close(noon))
	runs, err := s.Runs(Filter{})
	require.NoError(t, err)
	require.Len(t, runs, 1)
	assert.GreaterOrEqual(t, runs[0].Cycles, int64(6), "and what had waited from before")
	assert.Equal(t, Finished, runs[0].State)
}

// TestEndingOnAFullDisk is quick, and says what is lost.
func TestEndingOnAFullDisk(t *testing.T) {
	s := open(t, t.TempDir())
	o := start()
	r, err := s.Record(noon, o)
	require.NoError(t, err)
	fill(t, s, 1)
	e := newEvening(o.Settings)
	for range buffered {
		r.Put(e.next())
	}
	require.Error(t, <-r.Changes())
	began := time.Now()
	err = r.Close(noon)
	assert.ErrorContains(t, err, "cycles are lost")
	assert.ErrorContains(t, err, "see that the disk has room")
	runs, err := s.Runs(Filter{})
	require.NoError(t, err)
	assert.EqualValues(t, buffered, int64(r.Dropped())+runs[0].Cycles, "each is written or counted")
	assert.Less(t, time.Since(began), 10*time.Second)
}

// TestOneEveningIsOneSession, whatever is tried in it.
func TestOneEveningIsOneSession(t *testing.T) {
	s := open(t, t.TempDir())
	begin := func(at time.Time, fingerprint string) int64 {
		o := start()
		o.Fingerprint = fingerprint
		r, err := s.Record(at, o)
		require.NoError(t, err)
		require.NoError(t, r.Close(at))
		run, err := s.Run(r.Run())
		require.NoError(t, err)
		return run.Session
	}
	first := begin(noon, "a")
	assert.Equal(t, first, begin(noon.Add(time.Hour), "b"))
	assert.NotEqual(t, first, begin(noon.Add(24*time.Hour), "a"))
}

// TestARunKeepsItsOwnText: another layout of the same version.
func TestARunKeepsItsOwnText(t *testing.T) {
	s := open(t, t.TempDir())
	for i, text := range []string{"name: invented", "name: invented # mine"} {
		o := start()
		o.Recipe = text
		r, err := s.Record(noon.Add(time.Duration(i)*time.Hour), o)
		require.NoError(t, err)
		require.NoError(t, r.Close(noon.Add(time.Duration(i)*time.Hour)))
		typed, err := s.Typed(r.Run())
		require.NoError(t, err)
		assert.Equal(t, text, typed)
	}
	versions, err := s.Versions()
	require.NoError(t, err)
	assert.Len(t, versions, 1)
}

// TestAHotJournalIsUndone: a file that was left in the middle of a change, its journal
// beside it, is brought back to before the change, not read as it stands.
func TestAHotJournalIsUndone(t *testing.T) {
	folder, left := t.TempDir(), t.TempDir()
	s := open(t, folder)
	r := record(t, s, 300)
	require.NoError(t, r.Close(noon))
	path := filepath.Join(folder, FileName)
	db, err := sql.Open("sqlite", path+"?_pragma=journal_mode(DELETE)&_pragma=cache_size(1)")
	require.NoError(t, err)
	require.NoError(t, s.disconnect()) // the mode changes only when nobody else is there
	db.SetMaxOpenConns(1)
	tx, err := db.Begin()
	require.NoError(t, err)
	_, err = tx.Exec("DELETE FROM block")
	require.NoError(t, err)
	for range 40 { // more than the cache holds, so that the file itself is changed
		_, err = tx.Exec("INSERT INTO recipe (fingerprint, name, source, added_ms) VALUES (hex(randomblob(16)), 'x', hex(randomblob(4000)), 0)")
		require.NoError(t, err)
	}
	for _, end := range []string{"", "-journal"} {
		text, err := os.ReadFile(path + end)
		require.NoError(t, err)
		require.NotEmpty(t, text)
		require.NoError(t, os.WriteFile(filepath.Join(left, FileName+end), text, 0o600))
	}
	require.NoError(t, tx.Rollback())
	require.NoError(t, db.Close())

	back, err := Open(left)
	require.NoError(t, err)
	defer back.Close()
	require.NoError(t, back.Trouble())
	replayed, err := back.Replay(1)
	require.NoError(t, err)
	assert.Equal(t, Replayed{Cycles: 300}, replayed)
}

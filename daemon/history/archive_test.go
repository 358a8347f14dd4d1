package history

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

// dump is all that is in a file, a line a row; of what is long its checksum.
func dump(t *testing.T, path string) []string {
	t.Helper()
	db, err := openReader(path)
	require.NoError(t, err)
	defer db.Close()
	var out strings.Builder
	for _, r := range Described() {
		if r.View {
			continue
		}
		rows, err := db.Query("SELECT * FROM " + r.Name)
		require.NoError(t, err)
		for rows.Next() {
			cells := make([]any, len(r.Columns))
			for i := range cells {
				cells[i] = new(any)
			}
			require.NoError(t, rows.Scan(cells...))
			fmt.Fprint(&out, r.Name)
			for _, c := range cells {
				if blob, is := (*c.(*any)).([]byte); is {
					fmt.Fprintf(&out, "|%x", crc32.ChecksumIEEE(blob))
					continue
				}
				fmt.Fprintf(&out, "|%v", *c.(*any))
			}
			fmt.Fprintln(&out)
		}
		require.NoError(t, errors.Join(rows.Err(), rows.Close()))
	}
	return strings.Split(out.String(), "\n")
}

// twoEvenings are two runs of one evening and one of the next, of which the second goes
// on after an interruption, and a recipe that was promoted from the first.
func twoEvenings(t *testing.T) *Store {
	t.Helper()
	s, run := ofAllKinds(t)
	require.NoError(t, s.AddVersion(noon, Version{Name: "invented eel", Fingerprint: "def", Source: "name: promoted", Parent: "abc", FromRun: run}))
	for _, at := range []time.Duration{2 * time.Hour, 24 * time.Hour} {
		o := withPotfuls()
		o.Bench, o.Fingerprint, o.Recipe = "name: the bench by the window", "def", "name: promoted # with a comment"
		r, err := s.Record(noon.Add(at), o)
		require.NoError(t, err)
		e := newEvening(o.Settings)
		for range 1000 {
			r.PutAll(e.next())
		}
		require.NoError(t, r.Close(noon.Add(at+time.Hour)))
	}
	require.NoError(t, s.SetBatch(3, 1, 2), "what was left of the evening before")
	edit(t, s.path, `UPDATE run SET state = 'interrupted' WHERE id = 2; INSERT INTO part (run, program, began_ms, last_ms) VALUES (2, 'test', 1, 1)`)
	return s
}

// TestWhatIsArchivedComesBack, whole, into a history with nothing in it and into one with
// runs of its own; archived from there again it is the same file, byte for byte.
func TestWhatIsArchivedComesBack(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of cycles by one goroutine: minutes under the race detector")
	}
	s := twoEvenings(t)
	folder := t.TempDir()
	first := filepath.Join(folder, "first")
	n, err := s.Archive(first)
	require.NoError(t, err)
	assert.Equal(t, 3, n)
	before, err := s.Shots(1)
	require.NoError(t, err)
	file, err := os.ReadFile(first)
	require.NoError(t, err)

	empty, filled := open(t, t.TempDir()), open(t, t.TempDir())
	for range 2 {
		r := record(t, filled, 60)
		require.NoError(t, r.Close(noon.Add(48*time.Hour)))
	}
	edit(t, filled.path, `UPDATE session SET began_ms = began_ms + 7; UPDATE run SET began_ms = began_ms + 7 * id; UPDATE recipe SET fingerprint = 'other', name = 'another'; UPDATE run SET recipe = 'other'`)
	for name, to := range map[string]*Store{"empty": empty, "filled": filled} {
		runs, err := to.Import(first, noon)
		require.NoError(t, err, name)
		require.Len(t, runs, 3)
		own := runs[0].Here - 1
		for i, r := range runs {
			assert.Equal(t, Brought{There: int64(i + 1), Here: own + int64(i+1), Title: r.Title}, r, name)
			back, err := to.Replay(r.Here)
			require.NoError(t, err)
			assert.Nil(t, back.Differs, name)
			assert.Positive(t, back.Cycles)
			about, err := to.Run(r.Here)
			require.NoError(t, err)
			assert.True(t, about.Brought.Equal(noon))
			assert.Equal(t, map[bool]string{true: "b", false: "the bench by the window"}[i == 0], about.BroughtFrom)
		}
		shots, err := to.Shots(runs[0].Here)
		require.NoError(t, err)
		for i := range shots { // the photo's number is the row's
			require.Len(t, shots[i].Photos, len(before[i].Photos))
			shots[i].Photos = before[i].Photos
		}
		assert.Equal(t, asJSON(t, before), asJSON(t, shots), name)
		all, err := to.Versions()
		require.NoError(t, err)
		assert.Equal(t, runs[0].Here, all[map[string]int{"empty": 0, "filled": 1}[name]].FromRun, name)

		again, err := to.Import(first, noon.Add(time.Hour))
		require.NoError(t, err)
		for i := range again {
			runs[i].Before = true
		}
		assert.Equal(t, runs, again, "%s: twice is once", name)
		// What was said since is not taken over, and it is told that there is more.
		require.NoError(t, to.Judge(runs[0].Here, 4, shot.Verdict{Fault: "seam", At: noon}))
		again, err = to.Import(first, noon.Add(time.Hour))
		require.NoError(t, err)
		assert.Equal(t, []bool{true, false, false}, []bool{again[0].Differs, again[1].Differs, again[2].Differs})
		require.NoError(t, to.Unjudge(runs[0].Here, 4, shot.Verdict{Fault: "seam"}))

		second := filepath.Join(folder, name)
		_, err = to.Archive(second, runs[0].Here, runs[1].Here, runs[2].Here)
		require.NoError(t, err)
		assert.Equal(t, dump(t, first), dump(t, second), name)
		anew, err := os.ReadFile(second)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(file, anew), name)
	}
	unharmed, err := os.ReadFile(first)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(file, unharmed), "only read")
}

// TestABatchIsBroughtOnce: runs that come in files of their own share the batches that they
// shared at home.
func TestABatchIsBroughtOnce(t *testing.T) {
	from, to := twoEvenings(t), open(t, t.TempDir())
	for _, run := range []int64{2, 3} {
		file := filepath.Join(t.TempDir(), "archive")
		_, err := from.Archive(file, run)
		require.NoError(t, err)
		_, err = to.Import(file, noon)
		require.NoError(t, err)
	}
	home, err := from.InPots(3)
	require.NoError(t, err)
	first, err := to.InPots(1)
	require.NoError(t, err)
	second, err := to.InPots(2)
	require.NoError(t, err)
	assert.Equal(t, []int64{4, 2, 6}, home)
	assert.Equal(t, []int64{1, 2, 3}, first)
	assert.Equal(t, first[1], second[1])
	assert.NotContains(t, first, second[0])
}

// TestEveryTableTravelsOrStays: a table that is new has to be one or the other.
func TestEveryTableTravelsOrStays(t *testing.T) {
	known := map[string]bool{"recipe": true, "session": true, "run": true, "batch": true, "commission": false, "calibration": false, "relay": false, "attempt": false, "seal": false}
	for _, c := range copied {
		known[c.table] = true
	}
	for _, r := range Described() {
		_, is := known[r.Name]
		assert.True(t, is || r.View, "%s: put it into copied, or say here that it stays", r.Name)
	}
}

// TestWhatIsBroughtHeatsNothing: neither what was found out about pots elsewhere nor an
// interrupted run from elsewhere is gone on with, and one that is interrupted here goes
// on all the same.
func TestWhatIsBroughtHeatsNothing(t *testing.T) {
	there := open(t, t.TempDir())
	finds(t, there, noon, "of elsewhere", true)
	edit(t, there.path, `UPDATE run SET state = 'interrupted', ended_ms = NULL`)
	require.NoError(t, there.KeepCommission(Commission{At: noon, Record: "{}"}))
	archive := filepath.Join(t.TempDir(), "archive")
	_, err := there.Archive(archive, 1)
	require.NoError(t, err)

	here := open(t, t.TempDir())
	_, err = here.Import(archive, noon)
	require.NoError(t, err)
	_, _, err = here.Known(noon, start(), "left", "d")
	assert.ErrorIs(t, err, ErrNotKnown)
	_, err = here.Commission()
	assert.ErrorIs(t, err, ErrNotCommissioned)
	r := record(t, here, 20)
	assert.False(t, r.Resumed())
	require.NoError(t, r.Close(noon.Add(time.Second)))
	edit(t, here.path, `UPDATE run SET state = 'interrupted' WHERE id = 2`)
	other := start()
	other.Bench = "name: a third bench"
	r, err = there.Record(noon.Add(time.Second), other)
	require.NoError(t, err)
	require.NoError(t, r.Close(noon.Add(2*time.Second)))
	_, err = there.Archive(archive+"2", r.Run())
	require.NoError(t, err)
	_, err = here.Import(archive+"2", noon)
	require.NoError(t, err)
	again := record(t, here, 20)
	assert.True(t, again.Resumed())
	assert.EqualValues(t, 2, again.Run())
	require.NoError(t, again.Close(noon.Add(time.Minute)))
	own, err := here.Run(2)
	require.NoError(t, err)
	brought, err := here.Run(1)
	require.NoError(t, err)
	assert.NotEqual(t, brought.Session, own.Session, "an evening is of one bench")
}

// TestFilesThatCanNotBeBroughtIn, each with what to do, and without a row written.
func TestFilesThatCanNotBeBroughtIn(t *testing.T) {
	s := twoEvenings(t)
	folder := t.TempDir()
	good := filepath.Join(folder, "good")
	_, err := s.Archive(good)
	require.NoError(t, err)
	whole, err := os.ReadFile(good)
	require.NoError(t, err)
	to := open(t, t.TempDir())
	r := record(t, to, 20)
	require.NoError(t, r.Close(noon.Add(time.Minute)))
	before := dump(t, to.path)
	for name, c := range map[string]struct {
		make func(path string) error
		want string
	}{
		"absent":      {func(string) error { return nil }, "no such file"},
		"empty":       {func(p string) error { return os.WriteFile(p, nil, 0o600) }, "not an archive of this program"},
		"text":        {func(p string) error { return os.WriteFile(p, bytes.Repeat([]byte("part,cycle\n"), 100), 0o600) }, "damaged, cut short, or no archive"},
		"cut short":   {func(p string) error { return os.WriteFile(p, whole[:len(whole)*2/3], 0o600) }, "damaged, cut short"},
		"another's":   {func(p string) error { edit(t, p, "CREATE TABLE x (y)"); return nil }, "not an archive of this program"},
		"a newer one": {changed(whole, "PRAGMA user_version = 99"), "made by a newer program (layout 99"},
		"a bad block": {changed(whole, "UPDATE block SET data = CAST(substr(data, 1, 40) || x'00' AS BLOB) WHERE first = 1"), "damaged, cut short"},
		"a lost run":  {changed(whole, "PRAGMA foreign_keys = 0; DELETE FROM run WHERE id = 1"), "damaged, cut short"},
		"a bad card":  {changed(whole, "UPDATE shot SET card = 'none'"), "damaged, cut short"},
		"flipped bits": {func(p string) error {
			b := bytes.Clone(whole)
			copy(b[4096:], bytes.Repeat([]byte{0xa5}, 4096))
			return os.WriteFile(p, b, 0o600)
		}, "damaged, cut short"},
	} {
		path := filepath.Join(folder, name)
		require.NoError(t, c.make(path), name)
		_, err := to.Import(path, noon)
		assert.ErrorIs(t, err, ErrNotBrought, name)
		assert.ErrorContains(t, err, c.want, name)
		assert.ErrorContains(t, err, path, name)
	}
	assert.Equal(t, before, dump(t, to.path))
}

// changed is a file with something done to it.
func changed(file []byte, query string) func(path string) error {
	return func(path string) error {
		if err := os.WriteFile(path, file, 0o600); err != nil {
			return err
		}
		db, err := sql.Open("sqlite", path)
		if err != nil {
			return err
		}
		_, err = db.Exec(query)
		return errors.Join(err, db.Close())
	}
}

// TestAnImportThatBreaksOffLeavesNothing: the disk is full in the middle of it.
func TestAnImportThatBreaksOffLeavesNothing(t *testing.T) {
	s := twoEvenings(t)
	archive := filepath.Join(t.TempDir(), "archive")
	_, err := s.Archive(archive)
	require.NoError(t, err)
	to := open(t, t.TempDir())
	before := dump(t, to.path)
	fill(t, to, 1)
	_, err = to.Import(archive, noon)
	require.ErrorContains(t, err, "full")
	assert.Equal(t, before, dump(t, to.path))
	fill(t, to, 1000000)
	runs, err := to.Import(archive, noon)
	require.NoError(t, err)
	assert.Len(t, runs, 3)
}

// TestBringingInWhileARunIsRecorded drops no cycle of it.
func TestBringingInWhileARunIsRecorded(t *testing.T) {
	s := twoEvenings(t)
	archive := filepath.Join(t.TempDir(), "archive")
	_, err := s.Archive(archive)
	require.NoError(t, err)
	to := open(t, t.TempDir())
	r, err := to.Record(noon, start())
	require.NoError(t, err)
	e := newEvening(start().Settings)
	for i := range 900 {
		r.PutAll(e.next())
		if i == 400 {
			runs, err := to.Import(archive, noon)
			require.NoError(t, err)
			assert.Len(t, runs, 3)
		}
	}
	require.NoError(t, r.Close(noon.Add(time.Hour)))
	back, err := to.Replay(r.Run())
	require.NoError(t, err)
	assert.Equal(t, Replayed{Cycles: 900}, back)
	own, err := to.Import(to.path, noon)
	require.NoError(t, err)
	for _, r := range own {
		assert.Equal(t, r.There, r.Here, "its own file brings nothing")
		assert.True(t, r.Before)
	}
}

// TestNumbersOfFlippedBits prints how many of 150 files with one bit of what is used flipped
// were refused; of the others nothing that counts was hit.
func TestNumbersOfFlippedBits(t *testing.T) {
	if testing.Short() {
		t.Skip("dozens of archives take minutes under the race detector")
	}
	s, run := ofAllKinds(t)
	folder := t.TempDir()
	good := filepath.Join(folder, "good")
	_, err := s.Archive(good, run)
	require.NoError(t, err)
	whole, err := os.ReadFile(good)
	require.NoError(t, err)
	random, refused := rand.New(rand.NewPCG(6, 7)), 0
	const tries = 50
	for i := range tries {
		path := filepath.Join(folder, fmt.Sprint(i))
		bad := bytes.Clone(whole)
		at := random.IntN(len(bad))
		for bad[at] == 0 { // most of a small file is room that is not used
			at = random.IntN(len(bad))
		}
		bad[at] ^= 1 << random.IntN(8)
		require.NoError(t, os.WriteFile(path, bad, 0o600))
		to, err := Open(filepath.Join(folder, fmt.Sprint("to", i)))
		require.NoError(t, err)
		runs, err := to.Import(path, noon)
		if err != nil {
			refused++
		} else {
			second := filepath.Join(folder, fmt.Sprint("again", i))
			_, err := to.Archive(second, runs[0].Here)
			require.NoError(t, err)
			assert.Equal(t, dump(t, good), dump(t, second), "nothing of what is in it was hit")
		}
		require.NoError(t, to.Close())
	}
	t.Logf("of %d files with one bit flipped %d were refused; of the others all that is in them came over", tries, refused)
}

// TestAnArchiveThatIsWrittenToIsAHistoryLikeOthers: its seal is broken, and it can be
// brought in with what was added.
func TestAnArchiveThatIsWrittenToIsAHistoryLikeOthers(t *testing.T) {
	s, run := ofAllKinds(t)
	folder := t.TempDir()
	path := filepath.Join(folder, FileName)
	_, err := s.Archive(path, run)
	require.NoError(t, err)
	there, err := OpenExisting(folder)
	require.NoError(t, err)
	require.NoError(t, there.SetNote(run, "written later"))
	require.NoError(t, there.Close())
	to := open(t, t.TempDir())
	_, err = to.Import(path, noon)
	require.NoError(t, err)
	r, err := to.Run(1)
	require.NoError(t, err)
	assert.Equal(t, "written later", r.Note)
	edit(t, path, "INSERT INTO seal VALUES ('another')")
	_, err = to.Import(path, noon)
	assert.ErrorIs(t, err, ErrNotBrought)
}

// TestTheNamesInAnArchiveAreNoCommands: a file from somebody else can have tables of any
// name, and nothing in it may be run.
func TestTheNamesInAnArchiveAreNoCommands(t *testing.T) {
	s, run := ofAllKinds(t)
	folder := t.TempDir()
	path, planted := filepath.Join(folder, "archive"), filepath.Join(folder, "planted")
	_, err := s.Archive(path, run)
	require.NoError(t, err)
	edit(t, path, `CREATE TABLE "commission""; VACUUM INTO '`+planted+`'; --" (x)`)
	edit(t, path, `CREATE TABLE "attempt""; PRAGMA query_only = 0; VACUUM INTO '`+planted+`'; --" (x)`)
	_, err = open(t, t.TempDir()).Import(path, noon)
	assert.ErrorIs(t, err, ErrNotBrought)
	assert.NoFileExists(t, planted)
}

// TestEveryCycleInAnArchiveHasItsPots: what reads it later, the thinning by the daemon too,
// would come down over one that has not.
func TestEveryCycleInAnArchiveHasItsPots(t *testing.T) {
	s, run := ofAllKinds(t)
	path := filepath.Join(t.TempDir(), "archive")
	_, err := s.Archive(path, run)
	require.NoError(t, err)
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec(`DELETE FROM seal; UPDATE block SET data = ? WHERE first > 1`, cycles.Encode(make([]cycles.Record, 1)))
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = open(t, t.TempDir()).Import(path, noon)
	assert.ErrorIs(t, err, ErrNotBrought)
}

// TestAnOldHistoryIsBroughtIn by way of a copy; it stays as it is.
func TestAnOldHistoryIsBroughtIn(t *testing.T) {
	old, err := os.ReadFile("../../testdata/history/layout-1.sqlite")
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "layout-1.sqlite") // a reader leaves files beside it
	require.NoError(t, os.WriteFile(path, old, 0o600))
	s := open(t, t.TempDir())
	runs, err := s.Import(path, noon)
	require.NoError(t, err)
	require.Len(t, runs, 1)
	r, err := s.Run(runs[0].Here)
	require.NoError(t, err)
	assert.EqualValues(t, 400, r.Cycles)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, old, after)
	left, err := filepath.Glob(filepath.Join(s.folder, workshops+"*"))
	require.NoError(t, err)
	assert.Empty(t, left)
}

// TestWhatAKilledProgramLeftIsRemoved a day later, and nothing else is.
func TestWhatAKilledProgramLeftIsRemoved(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	left, _, err := s.Workshop()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(left, "runs.sqlite"), []byte("half of it"), 0o600))
	young, _, err := s.Workshop()
	require.NoError(t, err)
	own := filepath.Join(folder, "export-2025")
	require.NoError(t, os.Mkdir(own, 0o700))
	require.NoError(t, s.Close())
	old := time.Now().Add(-workshopHolds - time.Minute)
	for _, f := range []string{left, own} {
		require.NoError(t, os.Chtimes(f, old, old))
	}
	open(t, folder)
	assert.NoDirExists(t, left)
	assert.DirExists(t, young)
	assert.DirExists(t, own)
}

// TestARunThatGoesOnIsNotArchived, and one that does not exist neither.
func TestARunThatGoesOnIsNotArchived(t *testing.T) {
	s := open(t, t.TempDir())
	r := record(t, s, 20)
	path := filepath.Join(t.TempDir(), "archive")
	_, err := s.Archive(path, 1)
	assert.ErrorContains(t, err, "run 1: it is being recorded")
	_, err = s.Archive(path)
	assert.ErrorContains(t, err, "no run that is over")
	large := filepath.Join(t.TempDir(), "large")
	require.NoError(t, os.WriteFile(large, nil, 0o600))
	require.NoError(t, os.Truncate(large, mostBeside+1))
	_, err = s.Import(large, noon)
	assert.ErrorIs(t, err, ErrNotBrought)
	assert.ErrorContains(t, err, "end the program that records first")
	require.NoError(t, r.Close(noon.Add(time.Minute)))
	_, err = s.Archive(path, 1, 5)
	assert.ErrorIs(t, err, ErrNoRun)
	assert.NoFileExists(t, path)
	_, err = s.Archive(path, 1)
	require.NoError(t, err)
	_, err = s.Archive(path, 1)
	assert.ErrorContains(t, err, "exists already")
	assert.NoFileExists(t, path+".part")
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err)
	return string(text)
}

package history

import (
	"database/sql"
	"encoding/json"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/shot"
)

// TestEveryColumnIsDescribed: the documentation names all that is in the file, in order,
// and nothing else.
func TestEveryColumnIsDescribed(t *testing.T) {
	s := open(t, t.TempDir())
	described := map[string]Relation{}
	for _, r := range Described() {
		described[r.Name] = r
		assert.NotEmpty(t, r.About, r.Name)
	}
	found := 0
	require.NoError(t, s.each(func(rows *sql.Rows) error {
		var name, kind string
		require.NoError(t, rows.Scan(&name, &kind))
		found++
		r, ok := described[name]
		require.True(t, ok, "%s %s is not described", kind, name)
		assert.Equal(t, kind == "view", r.View, name)
		var columns []string
		require.NoError(t, s.each(func(rows *sql.Rows) error {
			var column string
			err := rows.Scan(&column)
			columns = append(columns, column)
			return err
		}, `SELECT name FROM pragma_table_info(?)`, name))
		var said []string
		for _, c := range r.Columns {
			said = append(said, c.Name)
		}
		assert.Equal(t, columns, said, name)
		return nil
	}, `SELECT name, type FROM sqlite_schema WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite_%' ORDER BY name`))
	assert.Len(t, described, found)
}

// readByPython asks an independent reader of the file: the sqlite3 module of Python's
// standard library, with its own build of SQLite.
func readByPython(t *testing.T, path, query string) (rows []map[string]any) {
	t.Helper()
	python, err := exec.LookPath("python3")
	if err == nil {
		err = exec.Command(python, "-c", "import sqlite3").Run()
	}
	if err != nil {
		require.Empty(t, os.Getenv("MELTWARDEN_TEST_ALL"), "python3 with sqlite3 is not installed")
		t.Skip("python3 with sqlite3 is not installed")
	}
	const program = `import json, sqlite3, sys
db = sqlite3.connect("file:" + sys.argv[1] + "?mode=ro", uri=True)
db.row_factory = sqlite3.Row
print(json.dumps([dict(r) for r in db.execute(sys.argv[2])], default=len))`
	said, err := exec.Command(python, "-c", program, path, query).Output()
	require.NoError(t, err, query)
	require.NoError(t, json.Unmarshal(said, &rows))
	return rows
}

// TestViewsAreReadByAnotherProgram, with the same figures as the program's own, and NULL
// for what was not recorded.
func TestViewsAreReadByAnotherProgram(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of cycles by one goroutine: minutes under the race detector")
	}
	s, run := ofAllKinds(t)
	require.NoError(t, s.AddBatches(run, 150, []Potful{{Colour: "slate", Base: "soft"}}))
	for _, r := range Described() {
		if r.View {
			assert.NotEmpty(t, readByPython(t, s.path, "SELECT * FROM "+r.Name+" LIMIT 1"), r.Name)
		}
	}
	shots, err := s.Shots(run)
	require.NoError(t, err)
	rows := readByPython(t, s.path, "SELECT * FROM v_shot ORDER BY run, shot_number")
	require.Len(t, rows, len(shots))
	for i, row := range rows {
		assert.InDelta(t, shots[i].At.Seconds(), row["at_s"], 1e-9)
		assert.InDelta(t, float64(shots[i].Card.SpreadC), row["spread_k"], 1e-9)
		assert.Nil(t, row["mould_c"], "not recorded, not zero")
		assert.Equal(t, shots[i].Wall.UTC().Format("2006-01-02T15:04:05.000Z"), row["pushed"])
	}
	assert.EqualValues(t, 1, rows[1]["spoiled"])
	assert.Equal(t, "bled", rows[1]["faults"])
	assert.Equal(t, "cloudy", rows[1]["faults_later"])
	assert.EqualValues(t, 1, rows[2]["clean"])
	assert.Nil(t, rows[3]["clean"], "nobody has judged it")
	assert.EqualValues(t, 1, rows[1]["photos"])

	row := readByPython(t, s.path, "SELECT * FROM v_run")[0]
	r, err := s.Run(run)
	require.NoError(t, err)
	assert.InDelta(t, r.TookS, row["took_s"], 1e-9)
	assert.EqualValues(t, r.Shots, row["shots"])
	assert.EqualValues(t, r.Clean, row["clean_shots"])
	assert.EqualValues(t, 1, row["spoiled_shots"])
	assert.EqualValues(t, r.Cycles, row["cycles"])
	assert.Nil(t, row["brought"])
	pots := readByPython(t, s.path, "SELECT * FROM v_shot_pot WHERE shot_number = 2 ORDER BY pot")
	require.Len(t, pots, 2)
	assert.Equal(t, map[string]any{"pot": 1.0, "colour": "slate", "deviation_k": 3.5, "out_of_band": 1.0, "plate_c": nil},
		only(pots[0], "pot", "colour", "deviation_k", "out_of_band", "plate_c"))
	assert.Nil(t, pots[1]["out_of_band"], "nobody knows")
	events := readByPython(t, s.path, "SELECT * FROM v_event WHERE kind = 'set-point'")
	require.Len(t, events, 1)
	assert.EqualValues(t, 171, events[0]["temperature_c"])
	assert.EqualValues(t, 2, events[0]["pot"])
	verdict := readByPython(t, s.path, "SELECT * FROM v_verdict WHERE fault = 'bled'")[0]
	assert.Equal(t, "slate and ivory", verdict["colours"])
	assert.Nil(t, verdict["cavity"])
}

func only(row map[string]any, names ...string) map[string]any {
	some := map[string]any{}
	for _, name := range names {
		some[name] = row[name]
	}
	return some
}

// TestPartsLieOnTheAxisOfTheViews as they do on the program's own.
func TestPartsLieOnTheAxisOfTheViews(t *testing.T) {
	s, run := ofAllKinds(t)
	edit(t, s.path, `INSERT INTO part (run, program, began_ms, cycles, bench_ms, last_ms)
		SELECT run, program, last_ms + 5000, 10, 2000, last_ms + 7000 FROM part;
		INSERT INTO part (run, program, began_ms, cycles, bench_ms, last_ms)
		SELECT run, program, last_ms - 10, 10, 2000, last_ms + 7000 FROM part WHERE id = 2`)
	parts, err := s.Parts(run)
	require.NoError(t, err)
	require.Len(t, parts, 3)
	for i, row := range readByPython(t, s.path, "SELECT * FROM v_part ORDER BY part") {
		assert.InDelta(t, parts[i].Offset.Seconds(), row["offset_s"], 1e-9)
		assert.InDelta(t, parts[i].Took.Seconds(), row["took_s"], 1e-9)
	}
}

// ofAllKinds is a run with something of all that is kept: four shots, the second bled
// and later cloudy, the third clean, a set-point, a note, what was found out, and a photo.
func ofAllKinds(t *testing.T) (*Store, int64) {
	t.Helper()
	s, run := withShots(t)
	judge := func(number int, v shot.Verdict) {
		v.At = noon.Add(time.Minute)
		require.NoError(t, s.Judge(run, number, v))
	}
	judge(2, shot.Verdict{Fault: "bled", Colours: []string{"slate", "ivory"}})
	judge(2, shot.Verdict{Fault: "cloudy", Day: 3})
	judge(3, shot.Verdict{Fault: shot.Clean})
	edit(t, s.path, `UPDATE shot SET card = '{"pots": [
			{"name": "left", "colour": "slate", "state": "ready", "melt_c": 171.5, "target_c": 168, "band_c": 2, "deviation_c": 3.5, "plate_c": null},
			{"name": "middle", "colour": "ivory", "state": "ready", "melt_c": null, "target_c": 168, "band_c": 2, "deviation_c": null}],
			"spread_c": 150, "draw_to_push_s": null, "mould_c": null, "room_c": 21}' WHERE number = 2;
		INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text, amount, c)
		SELECT run, id, 7, 1200, began_ms + 1200, 'set-point', 2, '', '171 C', 171 FROM part`)
	require.NoError(t, s.SetNote(run, "a damp evening"))
	require.NoError(t, s.KeepKnown(run, []Known{{At: noon, Pot: "left", Digest: "d", Figures: "{}"}}))
	require.NoError(t, s.AddPhoto(run, 2, noon, aPhoto(t)))
	return s, run
}

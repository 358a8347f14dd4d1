package history

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/shot"
	"meltwarden/daemon/timing"
)

// fiveHundred are as many runs of ten shots each, in two recipes by turns, a day apart; one
// of them is odd in every way that can be looked for.
func fiveHundred(t *testing.T) (s *Store, odd int64) {
	t.Helper()
	s, _ = withShots(t)
	edit(t, s.path, `UPDATE recipe SET source = 'colours: [{base: invented soft base, lot: demo lot 1}]', name = 'slate eel'; UPDATE run SET source = '';
		INSERT INTO recipe (fingerprint, name, source, added_ms) VALUES ('def', 'slate eel', 'colours: [{base: stiff, lot: "77"}]', 1);
		WITH RECURSIVE n (i) AS (SELECT 2 UNION ALL SELECT i + 1 FROM n WHERE i < 500)
		INSERT INTO run (id, session, recipe, title, bench, settings, invented, began_ms, ended_ms, state)
			SELECT i, 1, CASE i % 2 WHEN 0 THEN 'def' ELSE 'abc' END, title, bench, settings, 1, began_ms + (i - 1) * 86400000, ended_ms + (i - 1) * 86400000, 'finished'
			FROM n, run WHERE id = 1;
		INSERT INTO part (id, run, program, began_ms, cycles, bench_ms, last_ms)
			SELECT run.id, run.id, program, run.began_ms, cycles, bench_ms, last_ms FROM run, part WHERE run.id > 1 AND part.id = 1;
		WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 10)
		INSERT INTO shot (run, part, number, bench_ms, wall_ms, mould, note, card)
			SELECT run.id, run.id, i, i * 1000, run.began_ms, 'eel, two cavities', 'a note about a shot', card FROM run, n, shot WHERE run.id > 1 AND shot.run = 1 AND shot.number = 1;
		INSERT INTO fault SELECT id, CASE id % 7 WHEN 0 THEN 'bled' ELSE 'clean' END, '[]', '', 0, wall_ms FROM shot WHERE run > 1;
		WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 150)
		INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text)
			SELECT run.id, run.id, i, i * 200, run.began_ms, 'stirred', 1, '' FROM run, n`)
	odd = 250
	worm, note := "Worm", "the clamp slipped"
	require.NoError(t, s.ChangeShot(odd, 3, ShotChange{Mould: &worm, Note: &note}))
	require.NoError(t, s.Judge(odd, 3, shot.Verdict{Fault: "flake sunk", At: noon}))
	edit(t, s.path, `INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text) VALUES (250, 250, 1, 1, 1, 'note', 0, 'the fan is loud');
		UPDATE run SET source = 'colours: [{base: stiff, lot: odd lot}]' WHERE id = 250;
		INSERT INTO batch (id, began_ms, made_in, colour, base, lot, made) VALUES (1, 1, 1, 'slate', 'stiff', 'lot 5, as corrected', '');
		INSERT INTO potful (run, pot, own, batch, kj, wall_ms, heat) VALUES (250, 1, 1, 1, 150, 1, '{}')`)
	return s, odd
}

// TestNumbersOfSearch prints how long a look among 500 runs takes, by everything that can
// be looked for: at most 150 ms, as a page among them may take.
func TestNumbersOfSearch(t *testing.T) {
	const most = 150 * time.Millisecond
	if testing.Short() {
		t.Skip("five hundred runs take minutes under the race detector")
	}
	s, odd := fiveHundred(t)
	day := noon.AddDate(0, 0, int(odd)-1).Local().Format(time.DateOnly)
	one := Filter{}
	require.NoError(t, one.Between(day, day))
	for _, c := range []struct {
		what string
		f    Filter
		want int
	}{
		{"all", Filter{}, 500},
		{"recipe", Filter{Recipe: "EEL"}, 500}, {"another recipe", Filter{Recipe: "worm"}, 0}, {"version", Filter{Recipe: "slate eel v2"}, 250},
		{"mould", Filter{Mould: "worm"}, 1}, {"fault", Filter{Fault: "flake sunk"}, 1}, {"spoiled", Filter{Spoiled: true}, 499},
		{"lot", Filter{Lot: "ODD"}, 1}, {"another lot", Filter{Lot: "demo lot 1"}, 250}, {"base", Filter{Lot: "stiff"}, 250},
		{"lot of a batch", Filter{Lot: "as corrected"}, 1}, {"a day", one, 1}, {"a shot's note", Filter{Text: "Clamp"}, 1}, {"a note at a moment", Filter{Text: "fan"}, 1},
		{"all at once", Filter{Text: "clamp", Recipe: "eel", Mould: "worm", Lot: "odd", Fault: "flake sunk", Since: one.Since, Until: one.Until}, 1},
		{"nothing", Filter{Text: "clamp", Mould: "ghost"}, 0},
	} {
		var runs []Run
		took := timing.Fastest(most, func() {
			var err error
			runs, err = s.Runs(c.f)
			require.NoError(t, err)
		})
		require.Len(t, runs, c.want, c.what)
		if c.want == 1 {
			assert.Equal(t, odd, runs[0].ID, c.what)
		}
		t.Logf("by %s: %d of 500 runs in %v", c.what, len(runs), took)
		assert.True(t, took.Within(most), "%s: %v", c.what, took)
	}
}

// TestNumbersOfViews prints how long each view of 500 runs takes to read, and one run of it.
func TestNumbersOfViews(t *testing.T) {
	const most = time.Second
	if testing.Short() {
		t.Skip("five hundred runs take minutes under the race detector")
	}
	s, _ := fiveHundred(t)
	count := func(what, query string) {
		var n int
		took := timing.Fastest(most, func() { require.NoError(t, s.one([]any{&n}, query)) })
		t.Logf("%s: %d rows in %v", what, n, took)
		assert.True(t, took.Within(most), "%s: %v", what, took)
	}
	for _, r := range Described() {
		if r.View {
			// Distinct, so that no column is left out as not asked for.
			count(r.Name, "SELECT count(*) FROM (SELECT DISTINCT * FROM "+r.Name+")")
			if r.Columns[0].Name == "run" {
				count(r.Name+" of a run", "SELECT count(*) FROM (SELECT DISTINCT * FROM "+r.Name+" WHERE run = 250)")
			}
		}
	}
}

// TestDaysThatCanNotBe are refused, with the fix.
func TestDaysThatCanNotBe(t *testing.T) {
	for want, days := range map[string][2]string{
		`since "june": write a date like 2026-01-31`:     {"june", ""},
		`until "31.1.": write a date like 2026-01-31`:    {"", "31.1."},
		`until "2026-01-01": before since, "2026-01-02"`: {"2026-01-02", "2026-01-01"},
	} {
		var f Filter
		err := f.Between(days[0], days[1])
		assert.ErrorContains(t, err, want)
		assert.ErrorIs(t, err, ErrFilter)
	}
}

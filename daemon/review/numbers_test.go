package review

import (
	"bytes"
	"database/sql"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/timing"
)

// fourHours is an invented run of four hours, five cycles a second, three pots.
func fourHours(t testing.TB, s *history.Store) int64 {
	t.Helper()
	set := control.Settings{Period: 200 * time.Millisecond}
	for i, colour := range []string{"slate", "ivory", "rust"} {
		set.Pots = append(set.Pots, control.PotSettings{Name: []string{"left", "middle", "right"}[i], Colour: colour, SetpointC: 168, BandC: 2})
	}
	began := time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC)
	r, err := s.Record(began, history.Start{Title: "invented", RecipeName: "invented", Fingerprint: "abc", Settings: set, Invented: true})
	require.NoError(t, err)
	const cyclesOfFourHours = 4 * 3600 * 5
	random := rand.New(rand.NewPCG(1, 1))
	for n := range cyclesOfFourHours {
		at := time.Duration(n) * 200 * time.Millisecond
		in := control.Input{Elapsed: 200 * time.Millisecond, Pots: make([]control.PotReadings, 3)}
		f := control.Frame{Cycle: uint64(n + 1), Time: at, Pots: make([]control.PotFrame, 3)}
		for i := range in.Pots {
			// A rise with the steps and the unrest of a module that tells tenths.
			c := math.Round(10*(20+150*float64(n)/float64(n+3000)+0.25*random.NormFloat64())) / 10
			in.Pots[i].Melt = reading.Temperature{C: c, Age: time.Duration(10+random.IntN(20)) * time.Millisecond, Fault: reading.None}
			in.Pots[i].Plate = reading.Temperature{C: c + 20, Age: time.Duration(10+random.IntN(20)) * time.Millisecond, Fault: reading.None}
			f.Pots[i] = control.PotFrame{MeltC: c, TargetC: 173, Duty: random.Float64()}
		}
		in.Round()
		k := history.Kept{Record: cycles.Keep(began.Add(at), &in, &f)}
		if n%225 == 0 {
			k.Events = []history.Event{{Kind: history.Stirred, Pot: n % 3}}
		}
		r.PutAll(k)
	}
	require.NoError(t, r.Close(began.Add(4*time.Hour)))
	return r.Run()
}

// clone copies run 1 until there are n of them, with SQLite's own statements.
func clone(t *testing.T, folder string, n int) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(folder, history.FileName)+"?_pragma=synchronous(0)")
	require.NoError(t, err)
	defer db.Close()
	for run := 2; run <= n; run++ {
		for _, q := range []string{
			`INSERT INTO session SELECT ?1, began_ms, ended_ms FROM session WHERE id = 1`,
			`INSERT INTO run (id, session, recipe, title, bench, settings, invented, began_ms, ended_ms, state, note, source) SELECT ?1, ?1, recipe, title || ' ' || ?1, bench, settings, invented, began_ms + ?1, ended_ms, state, note, source FROM run WHERE id = 1`,
			`INSERT INTO part (id, run, program, began_ms, cycles, bench_ms, last_ms) SELECT ?1, ?1, program, began_ms, cycles, bench_ms, last_ms FROM part WHERE id = 1`,
			`INSERT INTO block (part, first, cycles, data, bench_ms) SELECT ?1, first, cycles, data, bench_ms FROM block WHERE part = 1`,
			`INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text) SELECT ?1, ?1, cycle, bench_ms, wall_ms, kind, pot, text FROM event WHERE run = 1`,
			`INSERT INTO shot (run, part, number, bench_ms, wall_ms, card) SELECT ?1, ?1, value, value, value, '{}' FROM json_each('[1,2,3,4,5,6,7,8]')`,
			`INSERT INTO fault SELECT id, CASE number % 4 WHEN 0 THEN 'bled' ELSE 'clean' END, '[]', '', 0, 0 FROM shot WHERE run = ?1`,
		} {
			_, err := db.Exec(q, run)
			require.NoError(t, err)
		}
	}
	_, err = db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
	require.NoError(t, err)
}

// most is how long anything that a person waits for may take.
const most = 150 * time.Millisecond

// TestNumbersOfManyRuns prints what a history of years takes: room, and the time
// for a list, a search and a plot. It makes 500 runs where nothing is skipped, and 50
// elsewhere.
func TestNumbersOfManyRuns(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a large file")
	}
	runs := 50
	if os.Getenv("MELTWARDEN_TEST_ALL") != "" && !timing.RaceDetector {
		runs = 500
	}
	folder := t.TempDir()
	s, err := history.Open(folder)
	require.NoError(t, err)
	defer s.Close()
	fourHours(t, s)
	clone(t, folder, runs)

	info, err := os.Stat(filepath.Join(folder, history.FileName))
	require.NoError(t, err)
	mb := float64(info.Size()) / 1e6
	list := timing.Fastest(most, func() {
		all, err := s.Runs(history.Filter{})
		require.NoError(t, err)
		require.Len(t, all, runs)
	})
	search := timing.Fastest(most, func() {
		found, err := s.Runs(history.Filter{Text: "invented 4", Fault: "bled"})
		require.NoError(t, err)
		require.NotEmpty(t, found)
	})
	whole := timing.Fastest(most, func() { drawPicture(t, s, 0, 0) })
	zoomed := timing.Fastest(most, func() { drawPicture(t, s, 2*time.Hour, 2*time.Hour+4*time.Minute) })
	t.Logf("%d runs of 4 h x 3 pots: %.0f MB, list %v, search %v, plot of a whole run %v, of four minutes %v", runs, mb, list, search, whole, zoomed)
	assert.Less(t, mb, 1500*float64(runs)/500)
	if timing.RaceDetector {
		return // it slows everything down
	}
	for what, took := range map[string]timing.Took{"list": list, "search": search, "whole": whole, "zoomed": zoomed} {
		assert.True(t, took.Within(most), "%s: %v", what, took)
	}
}

func drawPicture(t *testing.T, s *history.Store, from, to time.Duration) {
	picture, err := Plot(s, 1, from, to)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, plot.Draw(&out, picture, plot.Style{Width: 1200, Height: 800, From: from, To: to}))
}

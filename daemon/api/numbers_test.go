package api

import (
	"database/sql"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/timing"
)

// aLongNight is an invented run of four hours, five cycles a second, with a stir of a pot
// every 45 s and a shot every half hour, the last one bled.
func aLongNight(t *testing.T, s *history.Store) {
	recipe := string(config.DemoRecipe().Typed)
	e := begun(t, s, time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC), recipe)
	random := rand.New(rand.NewPCG(1, 1))
	const cyclesOfFourHours = 4 * 3600 * 5
	var in control.Input
	var f control.Frame
	for n := range cyclesOfFourHours {
		at := time.Duration(n) * 200 * time.Millisecond
		in = control.Input{Elapsed: 200 * time.Millisecond}
		f = control.Frame{Cycle: uint64(n + 1), Time: at}
		for range settings().Pots {
			// A rise with the steps and the unrest of a module that tells tenths.
			c := math.Round(10*(20+150*float64(n)/float64(n+3000)+0.25*random.NormFloat64())) / 10
			in.Pots = append(in.Pots, control.PotReadings{Melt: good(c), Plate: good(c + 20)})
			f.Pots = append(f.Pots, control.PotFrame{MeltC: c, TargetC: 173, Duty: random.Float64()})
		}
		in.Round()
		kept := history.Kept{Record: cycles.Keep(e.began.Add(at), &in, &f)}
		switch {
		case n%9000 == 8999:
			card := rustHot()
			kept.Events, kept.Shot = []history.Event{{Kind: history.ShotPushed, Pot: history.WholeBench}}, &card
		case n == 6000:
			kept.Events = []history.Event{{Kind: history.ReadyToPour, Pot: history.WholeBench}}
		case n%225 == 0:
			kept.Events = []history.Event{{Kind: history.Stirred, Pot: n / 225 % 3}}
		}
		e.run.PutAll(kept)
	}
	require.NoError(t, e.run.Close(e.began.Add(4*time.Hour)))
	require.NoError(t, s.Judge(1, 8, shot.Verdict{Fault: "bled", Colours: []string{"chalk", "rust"}}))
}

// smallOnes copies run 1 without its cycles until there are n runs of eight judged shots,
// three of four of them clean, with SQLite's own statements.
func smallOnes(t *testing.T, file string, n int) {
	db, err := sql.Open("sqlite", file+"?_pragma=synchronous(0)")
	require.NoError(t, err)
	defer db.Close()
	card, err := json.Marshal(allRight())
	require.NoError(t, err)
	tx, err := db.Begin()
	require.NoError(t, err)
	for run := 2; run <= n; run++ {
		for _, q := range []string{
			`INSERT INTO session SELECT ?1, began_ms, ended_ms FROM session WHERE id = 1`,
			`INSERT INTO run (id, session, recipe, title, bench, settings, invented, began_ms, ended_ms, state, note, source)
				SELECT ?1, ?1, recipe, title || ' ' || ?1, bench, settings, invented, began_ms - ?1 * 86400000, ended_ms - ?1 * 86400000, state, note, source FROM run WHERE id = 1`,
			`INSERT INTO part (id, run, program, began_ms, cycles, bench_ms, last_ms)
				SELECT ?1, ?1, program, began_ms, cycles, bench_ms, last_ms - ?1 * 86400000 FROM part WHERE id = 1`,
			`INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text, amount, c)
				SELECT ?1, ?1, cycle, bench_ms, wall_ms, kind, pot, text, amount, c FROM event WHERE run = 1`,
			`INSERT INTO shot (run, part, number, bench_ms, wall_ms, card)
				SELECT ?1, ?1, number, bench_ms, wall_ms - ?1 * 86400000, ?2 FROM shot WHERE run = 1`,
			`INSERT INTO fault SELECT id, CASE number % 4 WHEN 0 THEN 'bled' ELSE 'clean' END, '[]', '', 0, 0 FROM shot WHERE run = ?1`,
		} {
			_, err := tx.Exec(q, run, string(card))
			require.NoError(t, err)
		}
	}
	require.NoError(t, tx.Commit())
}

// TestNumbersOfAReview prints how long the pages of a four hours' run among 500 take,
// through the handler and from the file.
func TestNumbersOfAReview(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a large history")
	}
	folder := t.TempDir()
	s, err := history.Open(folder)
	require.NoError(t, err)
	defer s.Close()
	aLongNight(t, s)
	const runs = 500
	smallOnes(t, filepath.Join(folder, history.FileName), runs)
	o, _ := options(&frames.Hub{})
	o.History = s
	h := New(o)

	const most = 150 * time.Millisecond
	for _, page := range []struct {
		name, target string
		most         time.Duration
	}{
		{"page of the run", "/runs/1", most},
		{"page of its bled shot", "/runs/1/shots/8", most},
		{"the same as data", "/api/v1/runs/1/shots/8/why", most},
		{"another run over it, the page", "/runs/1/beside?other=2&align=ready", most},
		{"picture of the run", "/runs/1/plot.svg?width=1556&height=740", most},
		{"picture of a quarter of an hour before the shot, over another", "/runs/1/over/plot.svg?other=1&shot=8&their=3&from=13500&to=14400&width=1556&height=740", most},
		{"the run and its bled shot in one file, with both pictures", "/runs/1/report?shot=8", time.Hour},
	} {
		var size int
		took := timing.Fastest(page.most, func() {
			a := do(h, request("GET", page.target, "Accept: text/html"))
			body, err := io.ReadAll(a.Body)
			require.NoError(t, err)
			require.Equal(t, http.StatusOK, a.StatusCode, string(body))
			size = len(body)
		})
		t.Logf("%s: %v, %d kB", page.name, took, size/1000)
		if !timing.RaceDetector {
			assert.True(t, took.Within(page.most), "%s: %v", page.name, took)
		}
	}
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/demo"
	"meltwarden/daemon/history"
)

// aPast is a data folder with the demo's invented evenings, made once: it takes
// seconds.
func aPast(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("its evenings take minutes under the race detector; the commands over it start no goroutine")
	}
	past, err := thePast()
	require.NoError(t, err)
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "history.sqlite"), past, 0o600))
	return folder
}

// thePast is the file of such a folder.
var thePast = sync.OnceValues(func() ([]byte, error) {
	folder, err := os.MkdirTemp("", "past")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	s, err := history.Open(folder)
	if err != nil {
		return nil, err
	}
	b, err := config.DemoBench(nil)
	if err != nil {
		return nil, err
	}
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.Local)
	err = demo.MakePast(context.Background(), s, b, "test", now, func(int, int) {})
	if err = errors.Join(err, s.Close()); err != nil {
		return nil, err
	}
	return os.ReadFile(filepath.Join(folder, "history.sqlite"))
})

// TestFindingTheSpoiledShot goes the way of a maker at a terminal: the runs, those
// that were spoiled, one of them, its shot.
func TestFindingTheSpoiledShot(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	said := atTerminal(t, folder)
	assert.Len(t, regexp.MustCompile(`(?m)^\d+ +2026-`).FindAllString(said("runs"), -1), 18)
	assert.Contains(t, said("runs"), "note: hunted for the clamp with full injectors")
	spoiled := said("runs", "--spoiled", "--fault", "bled")
	assert.Regexp(t, `(?m)^7 +2026-01-28 17:58 +\d\d min +finished +3, 2 clean +slate eel v2 \* +bled$`, spoiled)
	assert.NotContains(t, spoiled, "seam")
	assert.Contains(t, said("runs", "--state", "interrupted"), "no runs")
	assert.Contains(t, said("runs", "--since", "2026-02-28"), "18 ")

	text := said("review", "7")
	assert.Regexp(t, `1 +0:\d\d:\d\d +\S+ +\S+ +\+\d\.\d! +\S+ +16 s +bled: ivory and rust`, text)
	assert.Regexp(t, `shot 1, outside its band: rust \d\.\d °C above its own target`, text)
	assert.Contains(t, said("review", "6"), "what shows only days later seldom comes from heat")
	card := said("review", "7", "--shot", "1")
	assert.Regexp(t, `own target +168\.0 °C ± 2\.0 °C`, card)
	assert.Contains(t, said("review", "7", "--shot", "1", "--fahrenheit"), "334.4 °F")
	assert.Regexp(t, `ivory at 0:\d\d:\d\d: set-point 171.0 °C`, said("review", "3"))
	assert.Regexp(t, `black, 3 mL`, said("review", "9", "--events"))
	var object struct {
		Shots []history.Shot
	}
	require.NoError(t, json.Unmarshal([]byte(said("review", "7", "--json")), &object))
	assert.Len(t, object.Shots, 3)

	said("verdict", "7", "2", "low", "contrast", "--colour", "slate", "--cavity", "1", "--day", "2")
	assert.Regexp(t, `clean; low contrast:\s+slate, cavity 1, day 2`, said("review", "7"))
	said("verdict", "7", "2", "low contrast", "--colour", "slate", "--cavity", "1", "--day", "2", "--take-back")
	assert.NotContains(t, said("review", "7"), "low contrast")
	said("verdict", "7", "2", "dented")
	assert.Regexp(t, `(?m)^ +2 .* dented$`, said("review", "7"), "a fault takes the place of clean")
}

func TestRecipesAreListedComparedAndPromoted(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	list, err := run(t.Context(), "recipes", "--data", folder)
	require.NoError(t, err)
	assert.Regexp(t, `slate eel +v2 +\w{12} .* run 3\n`, list)
	var fingerprints []string
	for _, line := range strings.Split(strings.TrimSpace(list), "\n")[1:] {
		fingerprints = append(fingerprints, strings.Fields(line)[3]) // two eels, then the newt
	}
	require.Len(t, fingerprints, 3)
	diff, err := run(t.Context(), "recipes", "diff", fingerprints[1][:6], fingerprints[0], "--data", folder)
	require.NoError(t, err)
	assert.Equal(t, "ivory: set-point 166 °C → 171 °C\n", diff)
	text, err := run(t.Context(), "recipes", "text", fingerprints[0], "--data", folder)
	require.NoError(t, err)
	assert.Equal(t, string(config.DemoRecipe().Typed), text)

	file := filepath.Join(t.TempDir(), "new.yaml")
	out, err := run(t.Context(), "promote", "9", "--out", file, "--data", folder)
	require.NoError(t, err)
	assert.Contains(t, out, "slate: colourant black 3 mL added (last)")
	recipe, err := config.LoadRecipe(file)
	require.NoError(t, err)
	list, err = run(t.Context(), "recipes", "--data", folder)
	require.NoError(t, err)
	assert.Regexp(t, "v3 +"+recipe.Fingerprint()+" .* run 9\n", list)
	_, err = run(t.Context(), "promote", "9", "--out", file, "--data", folder)
	assert.ErrorContains(t, err, "exists already")
	_, err = run(t.Context(), "promote", "8", "--out", file+"2", "--data", folder)
	assert.ErrorContains(t, err, "no deviation")
	assert.NoFileExists(t, file+"2")
}

// TestFollowingABatch through its reheat, and saying what it is.
func TestFollowingABatch(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	said := atTerminal(t, folder)
	list := said("batches")
	assert.Regexp(t, `(?m)^28 +slate +demo lot 1 +2026-02-05 to +1 +≈ \d+ mL +\d\d$`, list)
	assert.Contains(t, list, "No batch of yours has been called scorched at demould")
	card := said("batches", "show", "28")
	assert.Regexp(t, `at 117.5 kJ/mol, \d+ at 159.7 kJ/mol`, unbroken(card))
	assert.Regexp(t, `run 11, 2026-02-07 19:47, pot 1: \d+ equal minutes, \d+ equal minutes by the end`, card)
	assert.Contains(t, card, "drawn 25 mL, 25 mL, 25 mL")
	assert.Contains(t, unbroken(card), "Time without a usable reading is not made up")

	assert.Regexp(t, `^run 12, pot 1: batch 28: slate, demo lot 1, at most \d+ mL left, 2 reheats, \d+ equal minutes$`, unbroken(said("batches", "set", "12", "slate", "28")))
	assert.Contains(t, said("batches", "set", "12", "1", "new"), "run 12, pot 1: batch 34: slate")
	assert.Contains(t, said("batches", "correct", "28", "--lot", "lot 9", "--made", "300 mL"), "batch 28: slate, lot 9, ≈ ")
	said("verdict", "11", "1", "scorched", "--colour", "slate", "--colour", "ivory")
	assert.Regexp(t, `Your batches that yellowed had had \d+ to \d+ equal minutes by then \(2 of them\); of 50 that did not, \d+ had less than`,
		unbroken(said("batches")))
	assert.Contains(t, unbroken(said("batches", "show", "28")), "For your information: heat goes on as before.")
	var object struct {
		Batch struct {
			Reheats int
			DoseMin float64 `json:"dose_min"`
		}
		Shots []struct{ Run int64 }
	}
	require.NoError(t, json.Unmarshal([]byte(said("batches", "show", "28", "--json")), &object))
	assert.Equal(t, 1, object.Batch.Reheats)
	assert.Greater(t, object.Batch.DoseMin, 10.0)
	assert.Len(t, object.Shots, 5)
	shotCard, err := run(t.Context(), "review", "11", "--shot", "1", "--data", folder)
	require.NoError(t, err)
	assert.Regexp(t, `heat dose +\d+\.\d equal min`, shotCard)

	for want, args := range map[string][]string{
		`batch "one": write the number that the command batches shows`: {"batches", "show", "one"},
		`batch 99: there is no such batch`:                             {"batches", "show", "99"},
		`pot "teal": not in run 12; write 1, left or slate`:            {"batches", "set", "12", "teal", "28"},
		`made "a cup": does not begin with a number`:                   {"batches", "correct", "28", "--made", "a cup"},
		`nothing to change: write colour, base, lot, made or note`:     {"batches", "correct", "28"},
		`batch 34: it was made in a later run than 11`:                 {"batches", "set", "11", "1", "34"},
	} {
		_, err := run(t.Context(), append(args, "--data", folder)...)
		assert.ErrorContains(t, err, want)
	}
}

func TestMistakesAboutThePast(t *testing.T) {
	t.Parallel()
	folder := aPast(t)
	for want, args := range map[string][]string{
		`--state "lost": write open, finished or interrupted`: {"runs", "--state", "lost"},
		`--fault "burnt": write one of: clean, bled`:          {"runs", "--fault", "burnt"},
		`--since "june": write a date like 2026-01-31`:        {"runs", "--since", "june"},
		`run 99: there is no such run`:                        {"review", "99"},
		`run 7, shot 9: there is no such shot`:                {"review", "7", "--shot", "9"},
		`fault "burnt": not known; write one of: clean, bled`: {"verdict", "7", "1", "burnt"},
		`colour "teal": not in this run; write one or two of`: {"verdict", "7", "1", "bled", "--colour", "teal"},
		`nobody has said "flash"`:                             {"verdict", "7", "1", "flash", "--take-back"},
		`recipe version "": there is no such recipe version`:  {"recipes", "text", ""},
		`--out "run.gif": end the file's name with .svg`:      {"review", "7", "--out", "run.gif"},
	} {
		_, err := run(t.Context(), append(args, "--data", folder)...)
		assert.ErrorContains(t, err, want)
	}
	_, err := run(t.Context(), "runs", "--data", filepath.Join(folder, "none"))
	assert.ErrorContains(t, err, "no history in it")
}

// TestADataFolderThatCanNotBeUsed: the bench is watched all the same, a warning
// stands, and what came meanwhile is written once the folder can be used.
func TestADataFolderThatCanNotBeUsed(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	require.NoError(t, os.WriteFile(folder, []byte("a file where a folder should be"), 0o600))
	s, err := history.Open(folder)
	require.NoError(t, err)
	assert.ErrorContains(t, s.Trouble(), "choose another with --data")
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	d, err := demo.New(demo.Options{Bench: b, Speed: 20, Seed: 1, InMemory: true, History: s, Version: "test", Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	seen, unwritten := 0, 0
	end, over := background(t, d, func(unwrittenNow bool) {
		seen++
		if unwrittenNow {
			unwritten++
		}
		if unwritten == 20 {
			assert.NoError(t, os.Remove(folder))
			unwritten++ // only once
		}
	})
	require.Eventually(t, func() bool {
		runs, err := s.Runs(history.Filter{})
		return err == nil && len(runs) == 1 && runs[0].Cycles > 30
	},
		20*time.Second, 20*time.Millisecond)
	end()
	require.NoError(t, <-over)
	back, err := s.Replay(1)
	require.NoError(t, err)
	assert.Nil(t, back.Differs, "from the first cycle on")
	assert.NoError(t, s.Close())
}

// unbroken is a text without its line breaks: where a line ends hangs on what stands before.
func unbroken(text string) string { return strings.Join(strings.Fields(text), " ") }

// atTerminal gives commands about a folder, and returns what they say: in lines that a
// terminal has room for.
func atTerminal(t *testing.T, folder string) func(args ...string) string {
	return func(args ...string) string {
		t.Helper()
		out, err := run(t.Context(), append(args, "--data", folder)...)
		require.NoError(t, err, out)
		assertPrinted(t, strings.Join(args, " "), out)
		return out
	}
}

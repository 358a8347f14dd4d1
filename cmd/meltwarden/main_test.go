package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// run gives the program a command line and returns what it printed.
func run(ctx context.Context, args ...string) (string, error) {
	var out bytes.Buffer
	c := root()
	c.SetArgs(args)
	c.SetOut(&out)
	c.SetErr(&out)
	err := c.ExecuteContext(ctx)
	return out.String(), err
}

func TestVersion(t *testing.T) {
	out, err := run(t.Context(), "version")
	require.NoError(t, err)
	assert.Regexp(t, `^meltwarden \S+, go\S+, \w+/\w+\n$`, out)

	out, err = run(t.Context(), "version", "--json")
	require.NoError(t, err)
	var v map[string]string
	require.NoError(t, json.Unmarshal([]byte(out), &v))
	assert.NotEmpty(t, v["version"])
}

// TestHelpCautions: every way in says that the program is not the protection.
func TestHelpCautions(t *testing.T) {
	for _, args := range [][]string{{"--help"}, {"serve", "--help"}} {
		out, err := run(t.Context(), args...)
		require.NoError(t, err)
		assert.Contains(t, out, "never replaces them", args)
	}
}

func TestMistakesOnTheCommandLine(t *testing.T) {
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer busy.Close()
	for want, args := range map[string][]string{
		"--speed 21: write a number from 1 to 20":                                        {"demo", "--speed", "21"},
		"--speed 0.5: write a number from 1":                                             {"demo", "--speed", "0.5"},
		"--speed NaN: write a number from 1":                                             {"demo", "--speed", "NaN"},
		"--json: add --until-ready":                                                      {"demo", "--json"},
		`why: SHOT is missing after "7"; write it like: meltwarden why RUN SHOT [flags]`: {"why", "7"},
		"verdict: nothing is named; write it like: meltwarden verdict RUN SHOT FAULT":    {"verdict"},
		"--at and --ready-at: give only one of them":                                     {"plan", "v2", "--config", "x", "--at", "19:00", "--ready-at", "20:00"},
		"--shot and --events: give only one of them":                                     {"review", "7", "--shot", "1", "--events"},
		"--out and --json: give only one of them":                                        {"review", "7", "--out", "a.svg", "--json"},
		"--number and --out go together":                                                 {"photo", "7", "1", "--out", "a.jpg"},
		`causes: "foo" is not how it is written`:                                         {"causes", "foo"},
		"a.recipe":                                                                       {"check", "--config", "x", "a.recipe"},
		"--config: missing; give the bench file":                                         {"serve"},
		`--day "soon": write a whole number: days after the shot`:                        {"verdict", "7", "1", "bled", "--day", "soon"},
		`--from "20": write a time span like 20m or 90s: with --out`:                     {"review", "7", "--from", "20"},
		"--lids: there is no such flag; meltwarden runs --help lists them":               {"runs", "--lids"},
		"--out: nothing stands behind it, which is for: the file to write":               {"report", "7", "--out"},
		"no such file":                         {"check", "--config", filepath.Join(t.TempDir(), "none.yaml")},
		"choose another address with --listen": {"demo", "--listen", busy.Addr().String()},
	} {
		_, err := run(t.Context(), args...)
		require.Error(t, err, args)
		assert.Contains(t, err.Error(), want)
	}
}

// benchIn writes the demo's two files to a folder, with another serial port, and
// returns the bench file's path.
func benchIn(t *testing.T, folder, port string) string {
	t.Helper()
	for _, name := range []string{"bench.yaml", "recipe.yaml"} {
		text, err := os.ReadFile(filepath.Join("../../config/demo", name))
		require.NoError(t, err)
		edited := strings.Replace(string(text), "port: simulated", "port: "+port, 1)
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), []byte(edited), 0o600))
	}
	return filepath.Join(folder, "bench.yaml")
}

func TestCheckNamesFileLineKeyValueAndFix(t *testing.T) {
	folder := t.TempDir()
	file := benchIn(t, folder, "none")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	wrong := strings.Replace(string(text), "melt-trip: 190 C", "melt-trip: 190", 1)
	require.NoError(t, os.WriteFile(file, []byte(wrong), 0o600))
	_, err = run(t.Context(), "check", "--config", file)
	require.Error(t, err)
	assert.Regexp(t, `bench\.yaml:\d+: ceiling\.melt-trip: "190": unit missing; write "190 C"`, err.Error())
}

func TestCheckOfAPortThatDoesNotExist(t *testing.T) {
	file := benchIn(t, t.TempDir(), "/dev/there-is-no-such-port")
	_, err := run(t.Context(), "check", "--config", file)
	require.Error(t, err)
	assert.Contains(t, err.Error(), "does not exist: is the adapter plugged in")
}

// TestMissingRecipe names the file that the bench file names, and the way out.
func TestMissingRecipe(t *testing.T) {
	folder := t.TempDir()
	file := benchIn(t, folder, "none")
	require.NoError(t, os.Remove(filepath.Join(folder, "recipe.yaml")))
	for _, command := range []string{"check", "serve"} {
		_, err := run(t.Context(), command, "--config", file)
		assert.ErrorContains(t, err, filepath.Join(folder, "recipe.yaml"), command)
		assert.ErrorContains(t, err, "no such file", command)
	}
}

// TestDemoEndsInOrder, and says to a file what it shows on a screen.
func TestDemoEndsInOrder(t *testing.T) {
	if testing.Short() {
		t.Skip("it makes earlier evenings first: minutes under the race detector")
	}
	t.Parallel()
	ctx, end := context.WithCancel(t.Context())
	defer end()
	out := &until{word: "heating", then: end}
	c := root()
	c.SetArgs([]string{"demo", "--listen", "127.0.0.1:0", "--data", t.TempDir()})
	c.SetOut(out)
	c.SetErr(io.Discard)
	require.NoError(t, c.ExecuteContext(ctx))
	assert.Regexp(t, `^the page is on http://127\.0\.0\.1:\d+\nmaking the earlier evenings.*\n18 earlier evenings made, all invented.*\nsimulated bench, invented scenario, seed 1, at ×20, on `, out.text.String())
	assert.NotContains(t, out.text.String(), "\x1b", "no cursor movements in a file")
}

// until is an output that does something once a word has been written to it.
type until struct {
	text bytes.Buffer
	word string
	then func()
}

func (u *until) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte(u.word)) {
		u.then()
	}
	return u.text.Write(p)
}

// TestAReaderWhoIsGoneIsNoTrouble: head has what it wanted.
func TestAReaderWhoIsGoneIsNoTrouble(t *testing.T) {
	code, said := exit(fmt.Errorf("runs: %w", &fs.PathError{Op: "write", Path: os.Stdout.Name(), Err: syscall.EPIPE}))
	assert.Equal(t, 141, code, "as after SIGPIPE")
	assert.Empty(t, said)
	code, said = exit(&fs.PathError{Op: "write", Path: "eel.csv", Err: syscall.EPIPE})
	assert.Equal(t, 1, code)
	assert.NotEmpty(t, said)
}

// oneLine is what was broken for a terminal.
func oneLine(said string) string { return strings.Join(strings.Fields(said), " ") }

//go:build unix

package main

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/assemble"
	"meltwarden/devices/clock"
)

// TestCommissionBeginsWithoutABenchFile: over a real pseudo-terminal, with a line for each
// answer, to a bench file whose answers are on record; then it is an ordinary one.
func TestCommissionBeginsWithoutABenchFile(t *testing.T) {
	t.Parallel()
	_, clk, other := fastBench(t)
	bench, err := config.LoadBench(other, nil)
	require.NoError(t, err)
	file, folder := filepath.Join(t.TempDir(), "bench.yaml"), t.TempDir()
	led := func(clk *clock.Clock, typed ...string) (string, error) {
		said := &tap{}
		c := commissionAt(clk)
		c.SetIn(strings.NewReader(strings.Join(typed, "\n") + "\n"))
		c.SetArgs([]string{"--config", file, "--data", folder})
		c.SetOut(said)
		c.SilenceUsage, c.SilenceErrors = true, true
		err := c.ExecuteContext(t.Context())
		return said.String(), err
	}
	said, err := led(clk, "small bench", "C", "120 V", "20 A", "left", "800 W", "both",
		"a limiter on each plate", "16 A breaker in the box", "braid to every plate", "mushroom at the edge",
		bench.Lines[0].Port, "type", "19200 even", "1, 2, 3", "probes", "power", "contacts", "no")
	require.ErrorContains(t, err, "run the same command to go on")
	require.Contains(t, said, "HEAT IS OFF")
	said, err = led(clk, "probes", "4 0 int16 0.1 C", "yes", "1", "yes", "0x7FFF",
		"none", "contacts", "2 0", "yes", "1", "yes", "4", "yes",
		"power", "number", "16", "10000", "hidden", "0", "power", "5", "0", "begin", "200 mL", "yes", "no")
	require.ErrorContains(t, err, "stopped", said)
	require.Contains(t, said, "melt left reads 2")
	require.Contains(t, oneLine(said), "PRESS THE EMERGENCY STOP now")
	made, err := config.LoadBench(file, nil)
	require.NoError(t, err)
	bench.Channels[0].Sentinels = []float64{0x7FFF}
	require.Equal(t, bench.Channels[0], made.Channels[0])
	require.NoFileExists(t, assemble.DraftOf(file))
	missing := strings.Join(statusOf(t, file, folder).Missing, "\n")
	require.NotContains(t, missing, "cut-out: not answered")
	require.Contains(t, missing, "cut-out-opens: not answered")
	require.NoError(t, os.WriteFile(assemble.DraftOf(file), []byte("name: another\n"), 0o600))
	said, err = led(clk)
	require.Error(t, err)
	require.Contains(t, said, "Commissioning of the bench")
	require.Contains(t, unbroken(said), "and is not used: remove it")
	require.FileExists(t, assemble.DraftOf(file))
}

// screened is the program at a terminal of its own.
type screened struct {
	*testing.T
	pty  *os.File
	said tap
	over chan error
}

func formed(t *testing.T, args ...string) *screened {
	t.Helper()
	c := command(args...)
	c.Env = append(c.Env, "TERM=xterm-256color")
	terminal, err := pty.StartWithSize(c, &pty.Winsize{Cols: 50, Rows: 40})
	require.NoError(t, err)
	s := &screened{T: t, pty: terminal, over: make(chan error, 1)}
	go func() {
		_, _ = io.Copy(&s.said, terminal) // ends when the program does
		s.over <- c.Wait()
	}()
	t.Cleanup(func() { _ = c.Process.Kill(); _ = terminal.Close() })
	return s
}

var escapes = regexp.MustCompile(`\x1b\[[0-9;?<>=]*[a-zA-Z]|\x1b[\]P][^\x07\x1b]*(\x07|\x1b\\)`)

// sees waits for words, in whatever lines, and types something then.
func (s *screened) sees(words, keys string) {
	s.Helper()
	plain := func() string {
		return strings.Join(strings.Fields(escapes.ReplaceAllString(s.said.String(), " ")), " ")
	}
	require.Eventually(s, func() bool { return strings.Contains(plain(), words) }, soon, 10*time.Millisecond, "%q in %s", words, plain())
	_, err := s.pty.WriteString(keys)
	require.NoError(s, err)
}

// TestCommissionAsksOnForms at a terminal: what is typed at once is not lost between them,
// and Ctrl-C keeps what was answered.
func TestCommissionAsksOnForms(t *testing.T) {
	if testing.Short() {
		t.Skip("a program of its own takes real time")
	}
	t.Parallel()
	file := filepath.Join(t.TempDir(), "bench.yaml")
	s := formed(t, "commission", "--config", file)
	s.sees("What is the bench called?", "small bench\r")
	s.sees("Which unit do you read temperatures in?", "\x1b[B\r")
	s.sees("Which voltage has the wall socket?", "12000 V\r")
	s.sees("hard to believe; check number and unit", "\x15120 V\r")
	s.sees("Which breaker", "\x03")
	s.sees("run the same command to go on", "")
	require.Error(t, <-s.over)
	draft, err := os.ReadFile(assemble.DraftOf(file))
	require.NoError(t, err)
	assert.Contains(t, string(draft), "name: \"small bench\"\n")
	assert.Contains(t, string(draft), "unit: \"F\"\n")
	assert.Contains(t, string(draft), "voltage: \"120 V\"\n")

	s = formed(t, "commission", "--config", file)
	s.sees("Going on with what is in", "")
	s.sees("Which breaker protects its circuit?", "<\r")
	s.sees("Which voltage has the wall socket?", "\r20 A\rleft, right\r800 W\r\r\r\x1b[B\r") // all at once
	s.sees("An independent over-temperature cut-out", "\x03")
	draft, err = os.ReadFile(assemble.DraftOf(file))
	require.NoError(t, err)
	assert.Contains(t, string(draft), "pot-2-power: \"800 W\"\n")
	assert.Contains(t, string(draft), "pot-2-probes: \"melt\"\n")
	require.Error(t, <-s.over)
}

//go:build linux

package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/devices/modbus"
)

// TestScanningALine: what answers on a terminal is told as lines that a bench file can
// have, and nothing is written to any device. A terminal takes any speed and no parity.
func TestScanningALine(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds of real time")
	}
	t.Parallel()
	file, heard := onTerminal(t)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	port := regexp.MustCompile(`port: (\S+)`).FindStringSubmatch(string(text))[1]
	said, err := run(t.Context(), "scan", "--port", port, "--baud", "9600", "--parity", "none", "--units", "1-4", "--wait", "200ms", "--json")
	require.NoError(t, err)
	var r struct {
		Found []struct {
			Unit    uint8
			Answers []struct{ Says string }
		}
		BenchFile string `json:"bench_file"`
	}
	require.NoError(t, json.Unmarshal([]byte(said), &r))
	require.Len(t, r.Found, 3)
	assert.Equal(t, uint8(2), r.Found[1].Unit)
	assert.Len(t, r.Found[1].Answers, 4)

	pasted := regexp.MustCompile(`(?m)^(lines|devices): .*\n`).ReplaceAllString(foreignBench, "")
	pasted = strings.ReplaceAll(pasted, "device: everything", "device: unit-2") + r.BenchFile
	path := filepath.Join(t.TempDir(), "bench.yaml")
	require.NoError(t, os.WriteFile(path, []byte(pasted), 0o600))
	b, err := config.LoadBench(path, nil)
	require.NoError(t, err)
	assert.Equal(t, []config.Line{{Name: "a", Port: port, Baud: 9600, Parity: config.NoParity, StopBits: 1}}, b.Lines)

	said, err = run(t.Context(), "scan", "--port", port, "--baud", "9600", "--parity", "none", "--units", "3", "--wait", "200ms")
	require.NoError(t, err)
	for _, words := range []string{"Asks one unit at one setting", "nothing is written", "9600 baud, no parity: answered: 3", "function 2, discrete input 0: ", "- {name: unit-3, line: a, unit: 3, timeout: "} {
		assert.Contains(t, strings.ReplaceAll(said, "\n", " "), words)
	}
	heard.mu.Lock()
	defer heard.mu.Unlock()
	for function := range heard.all {
		assert.LessOrEqual(t, function, modbus.ReadInput, "something was written")
	}
}

// TestAScanThatCanNotBeginSaysWhy.
func TestAScanThatCanNotBeginSaysWhy(t *testing.T) {
	for _, c := range []struct{ flag, value, why string }{
		{"--units", "0-4", `--units "0-4": write numbers from 1 to 247`},
		{"--units", "9-2", `--units "9-2": write numbers from 1 to 247`},
		{"--baud", "9601", "--baud 9601: not a usual speed"},
		{"--parity", "mark", `--parity "mark": write some of none, even and odd`},
		{"--wait", "2m", `--wait "2m": write a time from 10ms to 1s`},
		{"--units", "1", "does not exist: is the adapter plugged in"},
	} {
		_, err := run(t.Context(), "scan", "--port", filepath.Join(t.TempDir(), "none"), c.flag, c.value)
		assert.ErrorContains(t, err, c.why)
	}
}

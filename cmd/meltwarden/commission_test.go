//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/commission"
	"meltwarden/devices/clock"
	"meltwarden/devices/simbench"
)

// owner is the person at a bench: reads what the program says, answers, and presses
// the enable button when told to.
type owner struct {
	tap
	press func()
}

func (o *owner) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte("Press the bench's enable button")) || bytes.Contains(p, []byte("Still waiting for a press")) {
		o.press()
	}
	return o.tap.Write(p)
}

// soon is how long a busy computer is waited for.
const soon = time.Minute

const sixAnswers = "tried\nyes\nyes\nmeasured\nyes\nfan to the yard\n"

// onePot is the bench file of a simulated bench with one pot; the recipe beside it is
// the demo's first colour.
const onePot = `name: small bench
recipe: recipe.yaml
supply: {voltage: 120 V, breaker: 20 A}
pots: [{name: left, heater: {power: 800 W}}]
protection: {cut-out: invented, fuse: invented, e-stop: invented, earth: invented}
lines: [{name: a, port: "PORT"}]
devices:
  - {name: probes, line: a, unit: 1, timeout: 800 ms}
  - {name: power, line: a, unit: 2, timeout: 800 ms}
  - {name: contacts, line: a, unit: 3, timeout: 800 ms}
channels:
  - {role: melt, pot: left, device: probes, function: 4, address: 0, type: int16, scale: 0.1, unit: C}
  - {role: plate, pot: left, device: probes, function: 4, address: 1, type: int16, scale: 0.1, unit: C}
  - {role: heater, pot: left, device: power, function: 16, address: 0, type: uint16, scale: 0.0001, unit: fraction}
  - {role: contactor, device: power, function: 5, address: 0, type: bit}
  - {role: e-stop, device: contacts, function: 2, address: 0, type: bit}
  - {role: enable, device: contacts, function: 2, address: 4, type: bit}
`

// onePotRecipe is invented.
const onePotRecipe = `name: slate stick
colours:
  - {name: slate, pot: left, position: whole, base: invented, volume: 200 mL, setpoint: 168 C, cure: {temperature: 172 C}}
`

// fastBench is a simulated bench of one pot behind a pseudo-terminal, ten times
// faster than the wall, and its bench file.
func fastBench(t *testing.T) (*simbench.Bench, *clock.Clock, string) {
	t.Helper()
	clk := clock.New(10)
	bench, err := simbench.New(simbench.Config{Seed: 1, Pots: []simbench.Pot{{Name: "left", VolumeML: 200, HeaterW: 800}}}, clk)
	require.NoError(t, err)
	terminal, err := simbench.OpenTerminal()
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- bench.Serve(ctx, terminal) }()
	t.Cleanup(func() {
		end()
		assert.NoError(t, <-served)
		assert.NoError(t, terminal.Close())
	})
	return bench, clk, small(t, terminal.Path())
}

// small writes the small bench's two files and returns the path of the bench file.
func small(t *testing.T, port string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "bench.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(onePot, "PORT", port, 1)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(file), "recipe.yaml"), []byte(onePotRecipe), 0o600))
	return file
}

// edit replaces every occurrence in a file.
func edit(t *testing.T, file, old, new string) {
	t.Helper()
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(text), old)
	require.NoError(t, os.WriteFile(file, []byte(strings.ReplaceAll(string(text), old, new)), 0o600))
}

// inBackground runs a command until end is called.
func inBackground(t *testing.T, c *cobra.Command, out io.Writer, args ...string) (end func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	c.SetArgs(args)
	c.SetOut(out)
	c.SetErr(out)
	c.SilenceUsage, c.SilenceErrors = true, true
	over := make(chan error, 1)
	go func() { over <- c.ExecuteContext(ctx) }()
	end = sync.OnceValue(func() error { cancel(); return <-over })
	t.Cleanup(func() { _ = end() })
	return end
}

func statusOf(t *testing.T, file, folder string) commission.Status {
	t.Helper()
	out, err := run(t.Context(), "commission", "--config", file, "--data", folder, "--status", "--json")
	require.NoError(t, err)
	var s commission.Status
	require.NoError(t, json.Unmarshal([]byte(out), &s), out)
	return s
}

// TestCommissionThenServeHeats: over a real pseudo-terminal a bench is commissioned,
// and then heated after a press of its button; not before, and not once its file has
// changed.
func TestCommissionThenServeHeats(t *testing.T) {
	bench, clk, file := fastBench(t)
	folder := t.TempDir()
	require.False(t, statusOf(t, file, folder).Complete)

	began := time.Now()
	person := &owner{}
	c := commissionAt(clk)
	c.SetIn(strings.NewReader(sixAnswers))
	c.SetArgs([]string{"--config", file, "--data", folder})
	c.SetOut(person)
	person.press = func() { time.AfterFunc(300*time.Millisecond, bench.PressEnable) } // 3 s of bench time
	require.NoError(t, c.ExecuteContext(t.Context()), person)
	status := statusOf(t, file, folder)
	require.True(t, status.Complete, status.Missing)
	t.Logf("commissioned in %v of wall time, let go after %v s", time.Since(began).Round(time.Second), status.Record.Proofs[0].LetGoS)

	said := &tap{}
	heat := func() float64 { return bench.Truth().Pots[0].HeatJ }
	end := inBackground(t, serveAt(clk), said, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "can switch heat on. On record since") }, soon, 10*time.Millisecond, said)
	require.Contains(t, said.String(), "heater left warms plate left and no other")
	require.Contains(t, said.String(), "never replaces them")
	before, at := heat(), bench.Truth().At
	require.Eventually(t, func() bool { return bench.Truth().At > at+5*time.Second }, soon, 10*time.Millisecond)
	require.Equal(t, before, heat(), "nobody has pressed")
	bench.PressEnable()
	require.Eventually(t, func() bool { return heat() > before+10000 }, soon, 10*time.Millisecond, said)
	require.NoError(t, end())
	require.False(t, bench.Truth().Contactor)

	edit(t, file, "power: 800 W", "power: 900 W")
	require.Contains(t, strings.Join(statusOf(t, file, folder).Missing, "\n"), "the bench file has changed since")
	end = inBackground(t, serveAt(clk), said, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "Heat is refused") }, soon, 10*time.Millisecond)
	before, at = heat(), bench.Truth().At
	bench.PressEnable()
	require.Eventually(t, func() bool { return bench.Truth().At > at+10*time.Second }, soon, 10*time.Millisecond)
	require.Equal(t, before, heat())
	require.NoError(t, end())
}

func TestCommissionMistakes(t *testing.T) {
	file := benchIn(t, t.TempDir(), "/dev/there-is-no-such-port")
	folder := t.TempDir()
	for want, args := range map[string][]string{
		"--json: add --status":  {"--config", file, "--json"},
		"none of the others":    {"--config", file, "--status", "--anew"},
		"no such file":          {"--config", filepath.Join(folder, "none.yaml")},
		"cut-out: not answered": {"--config", file, "--data", folder},
	} {
		_, err := run(t.Context(), append([]string{"commission"}, args...)...)
		require.ErrorContains(t, err, want)
	}
	c := commissionAt(clock.New(20)) // it waits ten seconds for the port
	c.SetIn(strings.NewReader(sixAnswers))
	c.SetArgs([]string{"--config", file, "--data", folder})
	c.SetOut(io.Discard)
	c.SilenceUsage, c.SilenceErrors = true, true
	require.ErrorContains(t, c.ExecuteContext(t.Context()), "is the adapter plugged in")
	out, err := run(t.Context(), "commission", "--config", file, "--data", folder, "--status")
	require.NoError(t, err)
	require.Contains(t, out, "extraction: fan to the yard")
	require.Contains(t, out, "device power: not tried whether it lets go by itself")
}

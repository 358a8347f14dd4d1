//go:build unix

package main

import (
	"encoding/json"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/registers"
)

// foreignBench is the map of testdata/commission/foreign_bench.py.
const foreignBench = `name: foreign bench
recipe: recipe.yaml
supply: {voltage: 120 V, breaker: 15 A}
pots:
  - {name: back, heater: {power: 600 W}}
  - {name: belly, heater: {power: 600 W}}
protection: {cut-out: invented, fuse: invented, e-stop: invented, earth: invented}
lines: [{name: a, port: "PORT", baud: 115200, parity: even}]
devices: [{name: everything, line: a, unit: 17, timeout: 300 ms}]
channels:
  - {role: melt, pot: back, device: everything, function: 3, address: 1000, type: float32, words: low-first, unit: F}
  - {role: plate, pot: back, device: everything, function: 3, address: 1002, type: float32, words: low-first, unit: F}
  - {role: melt, pot: belly, device: everything, function: 3, address: 1004, type: float32, words: low-first, unit: F}
  - {role: plate, pot: belly, device: everything, function: 3, address: 1006, type: float32, words: low-first, unit: F}
  - {role: heater, pot: back, device: everything, function: 6, address: 2000, type: uint16, scale: 0.1, unit: percent}
  - {role: heater, pot: belly, device: everything, function: 6, address: 2001, type: uint16, scale: 0.1, unit: percent}
  - {role: contactor, device: everything, function: 5, address: 7, type: bit}
  - {role: e-stop, device: everything, function: 2, address: 30, type: bit}
  - {role: enable, device: everything, function: 2, address: 31, type: bit}
  - {role: cut-out, device: everything, function: 2, address: 32, type: bit}
`

const foreignRecipe = `name: two tone stick
colours:
  - {name: slate, pot: back, position: back, base: invented, volume: 200 mL, setpoint: 168 C, cure: {temperature: 172 C}}
  - {name: rust, pot: belly, position: belly, base: invented, volume: 200 mL, setpoint: 165 C, cure: {temperature: 172 C}}
`

// without skips the test for want of something, unless everything must be tried.
func without(t *testing.T, reason string) {
	t.Helper()
	if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
		t.Fatal(reason)
	}
	t.Skip(reason)
}

// foreign are hands at the foreign bench, which reads from in what they do.
type foreign struct {
	t  *testing.T
	in io.Writer
}

func (f foreign) after(span time.Duration, line string) {
	time.AfterFunc(span, func() {
		_, err := io.WriteString(f.in, line+"\n")
		assert.NoError(f.t, err)
	})
}

func (f foreign) press() {
	f.after(2*time.Second, "close 31")
	f.after(2800*time.Millisecond, "open 31")
}

func (f foreign) set(contact registers.Role, closed bool) {
	verb := map[bool]string{false: "open", true: "close"}[closed]
	f.after(time.Second, verb+map[registers.Role]string{registers.EStop: " 30", registers.CutOut: " 32"}[contact])
}

func (f foreign) supply(on bool) {
	f.after(time.Second, map[bool]string{false: "off", true: "on"}[on])
}

func (f foreign) dip() { f.after(time.Second, "dip 1000 60") }
func (f foreign) dry() { f.after(0, "dry 1000") }

// startForeign starts the foreign bench, and returns the hands at it and the serial
// port at which it is found.
func startForeign(t *testing.T) (foreign, string) {
	t.Helper()
	if os.Getenv("MELTWARDEN_TEST_ALL") == "" || testing.Short() {
		t.Skip("takes two minutes of real time: set MELTWARDEN_TEST_ALL")
	}
	interpreter := ""
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if interpreter == "" && exec.Command(name, "-c", "import pymodbus, serial").Run() == nil {
			interpreter = name
		}
	}
	if _, err := exec.LookPath("socat"); err != nil || interpreter == "" {
		without(t, "no python3 with pymodbus and pyserial, or no socat to join two pseudo-terminals")
	}
	near, far := filepath.Join(t.TempDir(), "near"), filepath.Join(t.TempDir(), "far")
	start(t, "socat", "pty,raw,echo=0,link="+near, "pty,raw,echo=0,link="+far)
	for _, path := range []string{near, far} {
		require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil }, soon, 5*time.Millisecond)
	}
	in := start(t, interpreter, "../../testdata/commission/foreign_bench.py", far, "115200")
	return foreign{t, in}, near
}

// start runs a command until the test ends, and returns its standard input.
func start(t *testing.T, name string, args ...string) io.Writer {
	t.Helper()
	c := exec.Command(name, args...)
	c.Stderr = os.Stderr
	in, err := c.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	return in
}

// plateC asks the page's server for the plate of the first pot.
func plateC(t *testing.T, page string) float64 {
	answer, err := http.Get(page + "/api/v1/bench")
	require.NoError(t, err)
	defer answer.Body.Close()
	var shown struct {
		Pots []struct {
			PlateC *float64 `json:"plate_c"`
		}
	}
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&shown))
	if len(shown.Pots) == 0 || shown.Pots[0].PlateC == nil {
		return 0
	}
	return *shown.Pots[0].PlateC
}

// TestForeignBenchIsCommissionedAndHeated: independent peer pymodbus 3.0.0 (Debian
// 12), with registers, units, physics and a watchdog that are not ours. What the
// session finds is held against the watchdog in the peer's source. The nudges, and the
// second melt probe, are on record from the start; that the first heater heats is seen
// in service.
func TestForeignBenchIsCommissionedAndHeated(t *testing.T) {
	hands, port := startForeign(t)
	folder := t.TempDir()
	file := filepath.Join(folder, "bench.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(foreignBench, "PORT", port, 1)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "recipe.yaml"), []byte(foreignRecipe), 0o600))

	nudged(t, file, folder, "back", "belly")
	person := &owner{hands: hands}
	began := time.Now()
	status := statusOf(t, file, folder)
	for answers := theAnswers + cups; !status.Complete && time.Since(began) < 3*time.Minute; answers = cups {
		c := commissionCommand()
		c.SetIn(strings.NewReader(answers))
		c.SetArgs([]string{"--config", file, "--data", folder})
		c.SetOut(person)
		if err := c.ExecuteContext(t.Context()); err != nil {
			t.Logf("%v\n%s", err, person) // such as a computer that is too busy to answer itself in time: as a person does, run it again
		}
		status = statusOf(t, file, folder)
	}
	require.True(t, status.Complete, status.Missing)
	const watchdogS, stepS = 1.0, 0.125
	require.InDelta(t, watchdogS, status.Record.Proofs[0].LetGoS, stepS+0.05)
	t.Logf("commissioned in %v:\n%s", time.Since(began).Round(time.Second), person)

	said := &tap{}
	end := inBackground(t, serveCommand(), said, "--config", file, "--data", folder, "--listen", "127.0.0.1:0")
	page := ""
	require.Eventually(t, func() bool {
		page = regexp.MustCompile(`http://\S+`).FindString(said.String())
		return page != "" && status200(page+"/readyz")
	}, soon, 50*time.Millisecond)
	require.Contains(t, said.String(), "can switch heat on. On record since")
	before := plateC(t, page)
	hands.press()
	require.Eventually(t, func() bool { return plateC(t, page) > before+20 }, soon, 200*time.Millisecond, said)
	require.NoError(t, end())
	require.Contains(t, said.String(), "heaters told zero, line closed")
}

func status200(url string) bool { return status(url) == http.StatusOK }

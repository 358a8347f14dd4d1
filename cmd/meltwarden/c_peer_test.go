//go:build linux

package main

import (
	"encoding/json"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/readout"
)

// cBench is the map of testdata/modbus/peers/foreign.c.
const cBench = `name: bench in c
recipe: recipe.yaml
supply: {voltage: 120 V, breaker: 15 A}
pots:
  - {name: back, heater: {power: 200 W}}
  - {name: belly, heater: {power: 200 W}}
protection: {cut-out: invented, fuse: invented, e-stop: invented, earth: invented}
lines: [{name: a, port: "PORT", baud: 115200, parity: even}]
devices: [{name: all, line: a, unit: 21, timeout: 800 ms}]
channels:
  - {role: melt, pot: back, device: all, function: 4, address: 200, type: int16, scale: 0.1, unit: C}
  - {role: plate, pot: back, device: all, function: 4, address: 210, type: float32, words: low-first, unit: C}
  - {role: melt, pot: belly, device: all, function: 4, address: 203, type: int16, scale: 0.1, unit: C}
  - {role: plate, pot: belly, device: all, function: 4, address: 214, type: float32, words: low-first, unit: C}
  - {role: room, device: all, function: 4, address: 206, type: int16, scale: 0.1, unit: C}
  - {role: heater, pot: back, device: all, function: 15, address: 32, type: bit}
  - {role: heater, pot: belly, device: all, function: 15, address: 33, type: bit}
  - {role: contactor, device: all, function: 5, address: 35, type: bit}
  - {role: e-stop, device: all, function: 2, address: 64, type: bit}
  - {role: cut-out, device: all, function: 2, address: 66, type: bit}
  - {role: enable, device: all, function: 2, address: 67, type: bit}
  - {role: fan, device: all, function: 3, address: 300, type: bit, mask: 0x0020}
`

// cPeer is that bench at the far end of a line: independent peer libmodbus 3.1.6 (Debian 12).
type cPeer struct {
	path, file string
	sayings
}

func startCPeer(t *testing.T) *cPeer {
	t.Helper()
	folder := t.TempDir()
	server := filepath.Join(folder, "foreign")
	built, err := exec.Command("cc", "-I/usr/include/modbus", "-o", server, "../../testdata/modbus/peers/foreign.c", "-lmodbus").CombinedOutput()
	if err != nil {
		without(t, "no C compiler with libmodbus: "+string(built))
	}
	l := newBadLine(t)
	p := &cPeer{path: l.path, file: filepath.Join(folder, "bench.yaml")}
	require.NoError(t, os.WriteFile(p.file, []byte(strings.Replace(cBench, "PORT", l.path, 1)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "recipe.yaml"), []byte(foreignRecipe), 0o600))
	c := exec.Command(server, l.far.Path(), "115200")
	p.hear(t, c)
	return p
}

// TestNumbersOfAForeignMap: every channel of a map that is not ours reads as the
// peer's source says, beside gaps that it refuses; its heaters are switched by coils one by
// one, and it lets go of them by itself. Nothing of it goes by a command but check, which
// writes zeros.
func TestNumbersOfAForeignMap(t *testing.T) {
	p := startCPeer(t)
	t.Parallel()
	bench, err := config.LoadBench(p.file, nil)
	require.NoError(t, err)
	p.answers(t, bench)
	p.isChecked(t)
	assert.Empty(t, p.heard(), "no coil was ever on")
	p.isSwitched(t, bench)
}

// client asks the peer without the program around it.
func (p *cPeer) client(t *testing.T, bench *config.Bench) (*modbus.Client, *modbus.Device) {
	t.Helper()
	port, err := daemon.OpenPort(daemon.Wiring(bench).Lines[0])
	require.NoError(t, err)
	return modbus.NewClient(port, bench.Lines[0].Baud, clock.New(1)), &modbus.Device{Name: "all", Unit: 21, Timeout: 800 * time.Millisecond}
}

// answers waits until the peer does, and reads its table politely, gaps and all.
func (p *cPeer) answers(t *testing.T, bench *config.Bench) {
	t.Helper()
	c, d := p.client(t, bench)
	defer func() { <-c.Close() }()
	require.Eventually(t, func() bool {
		_, err := c.Exchange(d, modbus.Request{Function: modbus.ReadInput, Address: 200, Quantity: 1})
		return err == nil
	}, soon, beat)
	spans, err := readout.Spans([]uint8{modbus.ReadInput}, 200, 7)
	require.NoError(t, err)
	r := readout.New(c, d, spans, clock.New(1))
	read, err := r.Round(t.Context())
	require.NoError(t, err)
	assert.Equal(t, map[guess.Register]uint16{{Function: 4, Address: 200}: 207, {Function: 4, Address: 203}: 1684, {Function: 4, Address: 206}: 0xFF83}, read)
	var refused []string
	for _, no := range r.Refused() {
		refused = append(refused, no.String())
	}
	const why = ": refused: illegal data address (exception 02)"
	assert.Equal(t, []string{"input register 199" + why, "input registers 201 to 202" + why, "input registers 204 to 205" + why, "input register 207" + why}, refused)
}

// isChecked has the command check read and write all.
func (p *cPeer) isChecked(t *testing.T) {
	t.Helper()
	out, err := run(t.Context(), "check", "--config", p.file, "--json", "--data", t.TempDir())
	require.NoError(t, err, out)
	var found struct{ Channels []devices.Finding }
	require.NoError(t, json.Unmarshal([]byte(out), &found))
	var read []string
	for _, f := range found.Channels {
		assert.True(t, f.Good, "%s", f)
		read = append(read, f.Value)
	}
	assert.Equal(t, []string{
		"20.7 °C", "61.4 °C", "168.4 °C", "204.8 °C", "-12.5 °C", "closed", "closed", "open", "closed",
		"zero is confirmed", "zero is confirmed", "zero is confirmed",
	}, read)
}

// isSwitched tells the peer's heaters through the bus, as the daemon does, and holds what
// it says of its coils against that; at last its own silence.
func (p *cPeer) isSwitched(t *testing.T, bench *config.Bench) {
	t.Helper()
	b, err := devices.Open(daemon.Wiring(bench), daemon.OpenPort, clock.New(1))
	require.NoError(t, err)
	told := func(out control.Outputs, want string) {
		t.Helper()
		require.Eventually(t, func() bool {
			b.Poll(t.Context(), 100*time.Millisecond)
			b.Apply(out)
			return p.on() == want
		}, soon, beat, want)
	}
	told(control.Outputs{Duty: []float64{0, 1}, Contactor: true}, "33 35")
	assert.NotContains(t, p.heard(), "coil 32 1 told", "the other pot's")
	told(control.Outputs{Duty: []float64{1, 0}, Contactor: true}, "32 35")
	b.Close(t.Context())
	require.Eventually(t, func() bool { return p.on() == "" }, soon, beat, "zeros, confirmed")

	c, d := p.client(t, bench)
	defer func() { <-c.Close() }()
	_, err = c.Exchange(d, modbus.Request{Function: modbus.WriteCoil, Address: 33, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		return strings.HasSuffix(strings.Join(p.heard(), "\n"), "coil 33 1 told\ncoil 33 0 silence")
	}, soon, beat)
	_, err = c.Exchange(d, modbus.Request{Function: modbus.WriteCoil, Address: 34, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
	assert.ErrorIs(t, err, modbus.Exception{Code: modbus.IllegalDataAddress}, "a gap")
	t.Logf("12 channels at libmodbus read and told as its source says; its coils: %s", strings.Join(p.heard(), ", "))
}

// on are the coils that the peer says are on.
func (p *cPeer) on() string {
	state := map[string]bool{}
	for _, said := range p.heard() {
		words := strings.Fields(said)
		state[words[1]] = words[2] == "1"
	}
	maps.DeleteFunc(state, func(_ string, on bool) bool { return !on })
	return strings.Join(slices.Sorted(maps.Keys(state)), " ")
}

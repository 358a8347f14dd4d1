//go:build linux

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
)

// exampleBench is an example's hardware at the far end of a line: independent peer
// pymodbus 3.0.0 (Debian 12), with the map that testdata/examples/bench.py tells.
type exampleBench struct {
	in   io.Writer
	path string // of its line
	file string // the bench file, as the program writes it
	sayings
}

func startExample(t *testing.T, name string) *exampleBench {
	t.Helper()
	b := &exampleBench{}
	folder := filepath.Join(t.TempDir(), "bench")
	_, err := run(t.Context(), "examples", name, "--into", folder)
	require.NoError(t, err)
	b.file = filepath.Join(folder, "bench.yaml")
	hardware, _, _ := strings.Cut(name, "-")
	l := newBadLine(t)
	b.path = l.path
	text, err := os.ReadFile(b.file)
	require.NoError(t, err)
	wired := regexp.MustCompile(`port: \S+,`).ReplaceAllString(string(text), "port: "+l.path+",")
	// Both ends of the line wait for a processor that other tests use too.
	wired = regexp.MustCompile(`unit: (\d+)}`).ReplaceAllString(wired, "unit: $1, timeout: 800 ms}")
	require.NoError(t, os.WriteFile(b.file, []byte(wired), 0o600))
	c := exec.Command(python(t), "../../testdata/examples/bench.py", l.far.Path(), hardware)
	b.in, err = c.StdinPipe()
	require.NoError(t, err)
	b.hear(t, c)
	return b
}

// heats are what the bench said of heat, and sets what of set-points that were written.
func (b *exampleBench) heats() (heats, sets []string) {
	for _, line := range b.heard() {
		if strings.HasPrefix(line, "set ") {
			sets = append(sets, line)
		} else {
			heats = append(heats, line)
		}
	}
	return heats, sets
}

// TestNumbersOfTheExamples: each example bench is checked, watched and found ready to be
// commissioned at an independent peer with its map; the peer lets go by its own time-out,
// and its fault bits come through.
func TestNumbersOfTheExamples(t *testing.T) {
	if os.Getenv("MELTWARDEN_TEST_ALL") == "" || testing.Short() {
		t.Skip("takes seconds of real time: set MELTWARDEN_TEST_ALL")
	}
	t.Parallel()
	for _, e := range config.Examples() {
		t.Run(e.Name, func(t *testing.T) {
			t.Parallel()
			b := startExample(t, e.Name)
			bench, err := config.LoadBench(b.file, nil)
			require.NoError(t, err)
			letGo := b.letsGo(t, bench)
			b.checks(t, bench)
			folder := t.TempDir()
			p := watching(t, b.file, folder)
			b.readyToBeCommissioned(t, p, folder)
			if e.Page != "" {
				b.tellsFaults(t, p)
			}
			p.ends(t)
			heats, sets := b.heats()
			assert.Len(t, heats, 2, "nothing but this test's own writes has heated: %v", heats)
			if e.Name == "controllers" {
				assert.Equal(t, []string{"set 3 200.0", "set 3 5.0"}, sets, "this test, and rest by check; nothing is written that a controller has")
			}
			t.Logf("%s: %d channels read and written, outputs off %.2f s after the last write, while read", e.Name, len(bench.Channels), letGo)
		})
	}
}

// letsGo writes heat as no command of the program would, and reads until it is gone.
func (b *exampleBench) letsGo(t *testing.T, bench *config.Bench) float64 {
	t.Helper()
	port, err := daemon.OpenPort(daemon.Wiring(bench).Lines[0])
	require.NoError(t, err)
	c := modbus.NewClient(port, bench.Lines[0].Baud, clock.New(1))
	defer func() { <-c.Close() }()
	power := bench.Devices[len(bench.Devices)-1]
	d := &modbus.Device{Name: power.Name, Unit: power.Unit, Timeout: power.Timeout}
	contactor := channelOf(t, bench, registers.Contactor)
	if bench.Pots[0].Controller.Is() {
		return b.opensForControllers(t, bench, c, d, contactor)
	}
	heater := channelOf(t, bench, registers.Heater)
	back := modbus.Request{Function: heater.ReadBack(), Quantity: 3}
	on := modbus.Request{Function: modbus.WriteCoils, Quantity: 3, Data: modbus.AppendBits(nil, true, false, true)}
	if heater.Type != registers.Bit {
		on = modbus.Request{Function: modbus.WriteRegisters, Quantity: 3, Data: modbus.AppendRegisters(nil, 1, 5000, 10000)}
	}
	require.Eventually(t, func() bool { _, err := c.Exchange(d, back); return err == nil }, soon, beat)
	data, err := c.Exchange(d, back)
	require.NoError(t, err)
	off := append([]byte{}, data...)
	require.Empty(t, strings.Trim(string(off), "\x00"), "off from the start")
	_, err = c.Exchange(d, on)
	require.NoError(t, err)
	_, err = c.Exchange(d, modbus.Request{Function: contactor.Function, Address: contactor.Address, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
	require.NoError(t, err)
	if heater.Type != registers.Bit { // refused as a whole, and feeds nothing
		_, err = c.Exchange(d, modbus.Request{Function: modbus.WriteRegisters, Quantity: 2, Data: modbus.AppendRegisters(nil, 0, 10001)})
		assert.ErrorIs(t, err, modbus.Exception{Code: modbus.IllegalDataValue})
	}
	data, err = c.Exchange(d, back)
	require.NoError(t, err)
	require.Equal(t, on.Data, data, "it says what it was told")
	require.Eventually(t, func() bool { data, err := c.Exchange(d, back); return err == nil && string(data) == string(off) }, 5*time.Second, beat)
	require.Eventually(t, func() bool { return len(b.heard()) == 2 }, time.Second, beat)
	var from, to float64
	_, err = fmt.Sscanf(strings.Join(b.heard(), " "), "heat on %g heat off %g silence", &from, &to)
	require.NoError(t, err, b.heard())
	limit := map[bool]float64{true: 1.1, false: 1.6}[heater.Type != registers.Bit]
	assert.Less(t, to-from, limit)
	return to - from
}

// opensForControllers tells a controller to heat and closes the contactor, as no command of
// the program would, and only reads until that is open: the controller still wants to heat.
func (b *exampleBench) opensForControllers(t *testing.T, bench *config.Bench, c *modbus.Client, relays *modbus.Device, contactor registers.Channel) float64 {
	t.Helper()
	setpoint := channelOf(t, bench, registers.Setpoint)
	i := slices.IndexFunc(bench.Devices, func(d config.Device) bool { return d.Name == setpoint.Device })
	d := &modbus.Device{Name: setpoint.Device, Unit: bench.Devices[i].Unit, Timeout: bench.Devices[i].Timeout}
	back := modbus.Request{Function: setpoint.ReadBack(), Address: setpoint.Address, Quantity: 1}
	require.Eventually(t, func() bool { _, err := c.Exchange(d, back); return err == nil }, soon, beat)
	hot, err := setpoint.AppendTarget(nil, 200)
	require.NoError(t, err)
	_, err = c.Exchange(d, modbus.Request{Function: setpoint.Function, Address: setpoint.Address, Quantity: 1, Data: modbus.AppendRegisters(nil, hot...)})
	require.NoError(t, err)
	_, err = c.Exchange(relays, modbus.Request{Function: contactor.Function, Address: contactor.Address, Quantity: 1, Data: modbus.AppendCoil(nil, true)})
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		data, err := c.Exchange(relays, modbus.Request{Function: contactor.ReadBack(), Address: contactor.Address, Quantity: 1})
		return err == nil && !modbus.Bits(data, 1)[0]
	}, 5*time.Second, beat)
	data, err := c.Exchange(d, back)
	require.NoError(t, err)
	assert.Equal(t, modbus.AppendRegisters(nil, hot...), data, "it heats on, if it can")
	require.Eventually(t, func() bool { heats, _ := b.heats(); return len(heats) == 2 }, time.Second, beat)
	heats, _ := b.heats()
	var from, to float64
	_, err = fmt.Sscanf(strings.Join(heats, " "), "heat on %g heat off %g silence", &from, &to)
	require.NoError(t, err, heats)
	assert.Less(t, to-from, 1.6)
	return to - from
}

func channelOf(t *testing.T, b *config.Bench, role registers.Role) registers.Channel {
	for _, c := range b.Channels {
		if c.Role == role {
			return c
		}
	}
	require.Fail(t, "none", role)
	return registers.Channel{}
}

// checks has the command check read and write all, and holds every temperature against
// what the peer's source says: those of the inputs, and of the cold junction.
func (b *exampleBench) checks(t *testing.T, bench *config.Bench) {
	t.Helper()
	out, err := run(t.Context(), "check", "--config", b.file, "--json", "--data", t.TempDir())
	require.NoError(t, err, out)
	var found struct{ Channels []devices.Finding }
	require.NoError(t, json.Unmarshal([]byte(out), &found))
	assert.Len(t, found.Channels, len(registers.WithReadBack(bench.Channels)))
	var read []string
	for _, f := range found.Channels {
		assert.True(t, f.Good, "%s", f)
		if strings.HasSuffix(f.Value, "°C") {
			read = append(read, f.Value)
		}
	}
	want := []string{"20.0 °C", "25.0 °C", "30.0 °C", "40.0 °C", "20.0 °C", "25.0 °C", "30.0 °C", "40.0 °C", "25.0 °C"}
	require.GreaterOrEqual(t, len(read), 8)
	if bench.Pots[0].Controller.Is() {
		assert.Equal(t, []string{"25.0 °C", "25.0 °C", "25.0 °C"}, read[8:11], "what the controllers read themselves")
		read = read[:8]
	}
	assert.Equal(t, want[:len(read)], read)
}

// shown is the part of the page's JSON that counts here.
type shown struct {
	Heat       string
	Conditions []struct{ Code string }
	Pots       []struct {
		MeltFault string `json:"melt_fault"`
	}
}

func shownBy(t *testing.T, p *process) (s shown) {
	t.Helper()
	answer, err := http.Get(p.page + "/api/v1/bench")
	require.NoError(t, err)
	defer answer.Body.Close()
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&s))
	return s
}

// readyToBeCommissioned: all is read, and nothing stands in the way of the session.
func (b *exampleBench) readyToBeCommissioned(t *testing.T, p *process, folder string) {
	t.Helper()
	seen := shownBy(t, p)
	assert.Equal(t, "heat blocked", seen.Heat)
	require.Len(t, seen.Conditions, 1, "%v", seen)
	assert.Equal(t, "heater_unproven", seen.Conditions[0].Code)
	status := statusOf(t, b.file, folder)
	assert.False(t, status.Complete)
	assert.NotEmpty(t, status.Missing)
}

// tellsFaults has the peer set each fault bit of the first melt.
func (b *exampleBench) tellsFaults(t *testing.T, p *process) {
	t.Helper()
	for _, f := range []struct{ does, reads string }{{"open", "open"}, {"short", "shorted"}, {"fault", "device fault"}, {"well", "none"}} {
		_, err := fmt.Fprintln(b.in, f.does, 1)
		require.NoError(t, err)
		assert.Eventually(t, func() bool { return shownBy(t, p).Pots[0].MeltFault == f.reads }, 10*time.Second, 50*time.Millisecond,
			"%s: %s", f.does, shownBy(t, p).Pots[0].MeltFault)
	}
}

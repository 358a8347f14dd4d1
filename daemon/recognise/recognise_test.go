//go:build linux

package recognise

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/console"
	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/readout"
	"meltwarden/devices/serialport"
	"meltwarden/devices/simbench"
)

// kitchen has four probes in tenths of a degree, of which a hand may hold one.
type kitchen struct {
	held   int // or -1
	silent bool
}

func (k *kitchen) Exchange(_ *modbus.Device, r modbus.Request) ([]byte, error) {
	if k.silent {
		return nil, fmt.Errorf("no reply in time")
	}
	if int(r.Address)+int(r.Quantity) > 4 {
		return nil, modbus.Exception{Code: modbus.IllegalDataAddress}
	}
	regs := make([]uint16, r.Quantity)
	for i := range regs {
		regs[i] = 205
		if int(r.Address)+i == k.held {
			regs[i] = 281
		}
	}
	return modbus.AppendRegisters(nil, regs...), nil
}

// hand is an output that holds what it is told to hold.
type hand struct {
	text  bytes.Buffer
	k     *kitchen
	holds map[string]int
}

func (h *hand) Write(p []byte) (int, error) {
	for name, at := range h.holds {
		if strings.Contains(string(p), "hold the tip of "+name) {
			h.k.held = at
		}
	}
	return h.text.Write(p)
}

// led runs a session at the kitchen in virtual time.
func led(t *testing.T, o Options, k *kitchen) (string, error) {
	t.Helper()
	return ledIn(t.Context(), t, o, k)
}

func ledIn(ctx context.Context, t *testing.T, o Options, k *kitchen) (string, error) {
	t.Helper()
	spans, err := readout.Spans([]uint8{4}, 1, 4)
	require.NoError(t, err)
	out := &hand{k: k, holds: map[string]int{"melt left": 2, "plate left": 0, "mould": 9}}
	o.Clock, o.Out, o.Words, o.From, o.Device = clock.New(1), out, out, 1, "module"
	if o.AsJSON {
		o.Words = &hand{k: k, holds: out.holds}
	}
	o.Reader = readout.New(k, &modbus.Device{Unit: 1}, spans, o.Clock)
	o.Wiring = []string{"lines: [{name: a, port: x}]", "devices: [{name: module, line: a, unit: 1}]"}
	o.Room, err = ParseRoom("20 C")
	require.NoError(t, err)
	o.Size = func() console.Size { return console.Small }
	err = Run(ctx, o)
	return out.text.String(), err
}

// TestAMakerIsLed in plain lines, to lines that a bench file takes.
func TestAMakerIsLed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, err := led(t, Options{Probes: []string{"melt left", "plate left", "mould"}}, &kitchen{held: -1})
		require.NoError(t, err)
		for _, want := range []string{
			"Leave every probe alone", "input registers (function 4);", "    3     4 0x00CD    205    205           -           -          -          -\n",
			"    room? 20.5 °C as int16 × 0.1 °C\n", "1 of 3: hold the tip of melt left",
			"  input register 2, which a manual that counts from 1 calls 3, or 30003 moved\n",
			"Recognised, in input registers: int16 × 0.1 °C.", "  melt left: address 2, 20.5 °C at rest, 28.1 in the hand\n",
			"  mould: NOT TOLD: nothing moved", "your manual counts from 1",
			"The device refuses input registers 4 to 5: refused: illegal data address",
		} {
			assert.Contains(t, said, want)
		}
		for line := range strings.Lines(said) {
			if !strings.HasPrefix(line, "  - {") {
				assert.LessOrEqual(t, len([]rune(line)), 80, line)
			}
		}
		_, lines, found := strings.Cut(said, "# For the bench file:\n")
		require.True(t, found)
		rest := "name: x\nrecipe: r.yaml\nsupply: {voltage: 120 V, breaker: 20 A}\npots: [{name: left, heater: {power: 800 W}}]\n" +
			"protection: {cut-out: x, fuse: x, e-stop: x, earth: x}\n" + lines +
			"  - {role: heater, pot: left, device: module, function: 5, address: 0, type: bit}\n"
		b, err := config.ParseBench("bench.yaml", []byte(rest), nil)
		require.NoError(t, err)
		assert.Equal(t, uint16(2), b.Channels[0].Address)
	})
}

// TestOnAScreen the same is drawn in place, and where there is no room what can be no probe
// is left out.
func TestOnAScreen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, err := led(t, Options{Probes: []string{"melt left"}, Screen: true}, &kitchen{held: -1})
		require.NoError(t, err)
		assert.Contains(t, said, "WARMED 28.1 °C as int16")
		assert.Contains(t, said, "\x1b[1;1H")
		assert.Contains(t, said, "Recognised, in input registers: int16")
	})
}

// TestAsAnObject: one at the end and nothing else; what is to be done stands elsewhere.
func TestAsAnObject(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, err := led(t, Options{Probes: []string{"melt left"}, AsJSON: true}, &kitchen{held: -1})
		require.NoError(t, err)
		var o struct {
			Registers []struct{ Raw int }
			Result    struct {
				Layout *guess.Layout
				Probes []struct {
					Told    bool
					Address int
				}
				Rivals []struct{}
			}
			Refused []string
		}
		require.NoError(t, json.Unmarshal([]byte(said), &o), said)
		assert.Len(t, o.Registers, 4)
		require.NotNil(t, o.Result.Layout)
		assert.True(t, o.Result.Probes[0].Told)
		assert.Equal(t, 2, o.Result.Probes[0].Address)
		assert.NotContains(t, said, "null,", "lists are lists")
		assert.Len(t, o.Refused, 1)
	})
}

// TestEndedByHand says what was found until then.
func TestEndedByHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, end := context.WithTimeout(t.Context(), 40*time.Second)
		defer end()
		said, err := ledIn(ctx, t, Options{Probes: []string{"melt left", "mould"}}, &kitchen{held: -1})
		require.NoError(t, err)
		assert.Contains(t, said, "  melt left: address 2, ")
		assert.Contains(t, said, "  mould: NOT TOLD")
	})
}

// TestASilentDevice ends it.
func TestASilentDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, err := led(t, Options{}, &kitchen{silent: true})
		assert.EqualError(t, err, "no reply in time")
	})
}

// TestNumbersOfAnUnknownDevice: independent peer pymodbus 3.0.0 (Debian 12), with a map that
// only its source tells, twenty times faster than real time, over a pseudo-terminal.
func TestNumbersOfAnUnknownDevice(t *testing.T) {
	d := &modbus.Device{Name: "box", Unit: 5, Timeout: 8 * time.Second}
	in, client, clk := unknown(t, "guess/hand.py", d, modbus.ReadInput)
	spans, err := readout.Spans([]uint8{4, 3}, 0, 24)
	require.NoError(t, err)
	out := &told{in: in, holds: map[string]int{"melt left": 9, "plate left": 7, "mould": 3}}
	require.NoError(t, Run(t.Context(), Options{
		Reader: readout.New(client, d, spans, clk), Clock: clk, Room: guess.Indoors, Probes: []string{"melt left", "plate left", "mould"},
		Device: "box", Out: out, Words: out,
	}))
	said := out.text.String()
	t.Log(said)
	assert.Contains(t, said, "Recognised, in input registers: float32 × 1 °F, low word first.")
	assert.Contains(t, said, "  melt left: address 9, ")
	assert.Regexp(t, `plate left: address 7, .*its two leads are SWAPPED`, said)
	assert.Contains(t, said, "  mould: address 3, ")
	assert.Contains(t, said, "refuses input registers 21 to 24")
	assert.Contains(t, said, "The device speaks Fahrenheit")
	assert.NotContains(t, said, "Fits as well", "its numbers are round, and only one way")
}

// told is an output that tells the peer which probe is to be held.
type told struct {
	text  bytes.Buffer
	in    io.Writer
	holds map[string]int
}

func (o *told) Write(p []byte) (int, error) {
	for name, at := range o.holds {
		if strings.Contains(string(p), "hold the tip of "+name) {
			fmt.Fprintln(o.in, "hold", at)
		}
	}
	return o.text.Write(p)
}

// peerSpeed is how many times faster than real time the independent peers are.
const peerSpeed = 20

// unknown is an independent peer, a script below testdata, once it answers a function as a device;
// what a hand does to it is written into in.
func unknown(t *testing.T, script string, d *modbus.Device, function uint8) (in io.Writer, client *modbus.Client, clk *clock.Clock) {
	t.Helper()
	if os.Getenv("MELTWARDEN_TEST_ALL") == "" || testing.Short() {
		t.Skip("takes seconds of real time: set MELTWARDEN_TEST_ALL")
	}
	if exec.Command("/usr/bin/python3", "-c", "import pymodbus, serial").Run() != nil {
		t.Fatal("no python3 with pymodbus and pyserial")
	}
	near, far := joined(t)
	c := exec.Command("/usr/bin/python3", "../../testdata/"+script, far, fmt.Sprint(peerSpeed))
	c.Stderr = os.Stderr
	in, err := c.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	port, err := serialport.Open(near, serialport.Mode{Baud: 19200, Parity: serialport.Even, StopBits: 1})
	require.NoError(t, err)
	clk = clock.New(peerSpeed)
	client = modbus.NewClient(port, 19200*peerSpeed, clk)
	t.Cleanup(func() { <-client.Close() })
	require.Eventually(t, func() bool {
		_, err := client.Exchange(d, modbus.Request{Function: function, Quantity: 1})
		return err == nil
	}, 20*time.Second, time.Millisecond)
	return in, client, clk
}

// joined are two pseudo-terminals, joined; both paths.
func joined(t *testing.T) (near, far string) {
	t.Helper()
	a, err := simbench.OpenTerminal()
	require.NoError(t, err)
	b, err := simbench.OpenTerminal()
	require.NoError(t, err)
	ended := make(chan struct{})
	var pumps sync.WaitGroup
	for from, to := range map[*simbench.Terminal]*simbench.Terminal{a: b, b: a} {
		require.NoError(t, from.SetReadTimeout(20*time.Millisecond))
		pumps.Go(func() {
			for chunk := make([]byte, 256); ; {
				select {
				case <-ended:
					return
				default:
				}
				if n, err := from.Read(chunk); err == nil && n > 0 {
					_, _ = to.Write(chunk[:n])
				}
			}
		})
	}
	t.Cleanup(func() { close(ended); pumps.Wait(); _, _ = a.Close(), b.Close() })
	return a.Path(), b.Path()
}

// TestRooms are typed with their unit, and are rooms.
func TestRooms(t *testing.T) {
	r, err := ParseRoom("")
	require.NoError(t, err)
	assert.Equal(t, guess.Indoors, r)
	for _, typed := range []string{"20", "40 C"} {
		_, err = ParseRoom(typed)
		assert.ErrorContains(t, err, fmt.Sprintf("--room %q: ", typed))
	}
}

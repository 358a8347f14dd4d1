//go:build linux

package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/reading"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/registers"
	"meltwarden/devices/serialport"
)

const boxOfParts = "../../testdata/commission/box_of_parts.py"

// solution is the map of a box of parts, as --reveal prints it.
type solution struct {
	Lines []struct {
		Baud   int
		Parity serialport.Parity
	}
	Devices struct {
		Thermocouples struct {
			Line, Function int
			Unit           uint8
			Type           registers.Type
			Words          registers.Order
			Scale          float64
			Degrees        registers.Unit
			Sentinel       float64
			Addresses      map[string]uint16
		}
		Outputs struct {
			Line      int
			Unit      uint8
			Relays    bool
			Full      uint16
			Addresses map[string]uint16
		}
		Inputs struct {
			Line      int
			Unit      uint8
			Addresses map[string]uint16
		}
	}
	Watts map[string]int `json:"heater_w"`
}

// parts is a box of parts that runs, and hands.
type parts struct {
	t     *testing.T
	in    io.Writer
	clk   *clock.Clock
	speed int
	paths []string
	solution

	mu    sync.Mutex
	truth struct {
		Heaters map[string]float64 `json:"heaters_w"`
		Plates  map[string]float64
		Melts   map[string]float64
	}
}

// startBox starts a box on one line or two, so many times faster than real time, with more
// options of its own.
func startBox(t *testing.T, seed, lines int, speed float64, more ...string) *parts {
	interpreter := python(t)
	folder := t.TempDir()
	b := &parts{t: t, clk: clock.New(speed), speed: int(speed)}
	args := append([]string{boxOfParts, "--seed", fmt.Sprint(seed), "--speed", fmt.Sprint(speed), "--reveal"}, more...)
	for i := range lines {
		b.paths = append(b.paths, filepath.Join(folder, fmt.Sprintf("usb%d", i)))
		args = append(args, "--port", b.paths[i])
	}
	c := exec.Command(interpreter, args...)
	c.Stderr = os.Stderr
	var err error
	b.in, err = c.StdinPipe()
	require.NoError(t, err)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	told := json.NewDecoder(bufio.NewReader(out))
	require.NoError(t, told.Decode(&b.solution))
	heard := make(chan struct{})
	go func() {
		defer close(heard)
		for told.More() {
			b.mu.Lock()
			_ = told.Decode(&b.truth)
			b.mu.Unlock()
		}
	}()
	t.Cleanup(func() { _ = c.Process.Kill(); <-heard; _ = c.Wait() })
	return b
}

// do has hands do something.
func (b *parts) do(line string) { require.NoError(b.t, b.hands(line)) }

// hands is do for where a test can not be ended.
func (b *parts) hands(line string) error {
	_, err := io.WriteString(b.in, line+"\n")
	return err
}

// speaks opens a line in a mode and returns a client, and how to end it.
func (b *parts) speaks(line int, mode serialport.Mode) (*modbus.Client, func()) {
	var port *serialport.Port
	b.soon(func() (is bool) {
		var err error
		port, err = serialport.Open(b.paths[line], mode)
		return err == nil
	}, "its port opens")
	c := modbus.NewClient(port, mode.Baud*b.speed, b.clk)
	return c, func() { <-c.Close() }
}

// ask puts a request to a unit of the box at its line's own settings.
func (b *parts) ask(line int, r modbus.Request) ([]byte, error) {
	l := b.Lines[line]
	c, end := b.speaks(line, serialport.Mode{Baud: l.Baud, Parity: l.Parity, StopBits: 1})
	defer end()
	return c.Exchange(&modbus.Device{Unit: r.Unit, Timeout: time.Duration(b.speed) * busyFor}, r)
}

// measures is what a probe's channel reads.
func (b *parts) measures(probe string) reading.Temperature {
	d := b.Devices.Thermocouples
	c := registers.Channel{Type: d.Type, Words: d.Words, Scale: d.Scale, Unit: d.Degrees, Sentinels: []float64{d.Sentinel}}
	data, err := b.ask(d.Line, modbus.Request{Unit: d.Unit, Function: uint8(d.Function), Address: d.Addresses[probe], Quantity: uint16(c.Registers())})
	require.NoError(b.t, err, probe)
	return c.Temperature(modbus.Registers(data), nil, reading.Temperature{})
}

// heater says where a heater is told what, and all of its power.
func (b *parts) heater(pot string) (write modbus.Request, read modbus.Request) {
	d := b.Devices.Outputs
	at := d.Addresses["heater "+pot]
	if d.Relays {
		return modbus.Request{Unit: d.Unit, Function: modbus.WriteCoil, Address: at, Quantity: 1, Data: modbus.AppendCoil(nil, true)},
			modbus.Request{Unit: d.Unit, Function: modbus.ReadCoils, Address: at, Quantity: 1}
	}
	return modbus.Request{Unit: d.Unit, Function: modbus.WriteRegister, Address: at, Quantity: 1, Data: modbus.AppendRegisters(nil, d.Full)},
		modbus.Request{Unit: d.Unit, Function: modbus.ReadHolding, Address: at, Quantity: 1}
}

// closed is what a contact reads.
func (b *parts) closed(contact string) bool {
	d := b.Devices.Inputs
	data, err := b.ask(d.Line, modbus.Request{Unit: d.Unit, Function: modbus.ReadInputs, Address: d.Addresses[contact], Quantity: 1})
	require.NoError(b.t, err, contact)
	return modbus.Bits(data, 1)[0]
}

// busyFor is how long a busy computer is waited for.
const busyFor = time.Minute

// soon waits for something that load can only delay. It looks in the test's own goroutine,
// which alone may end it.
func (b *parts) soon(so func() bool, what string) { b.within(busyFor, so, what) }

func (b *parts) within(most time.Duration, so func() bool, what any) {
	b.t.Helper()
	for end := time.Now().Add(most); !so(); time.Sleep(10 * time.Millisecond) {
		require.True(b.t, time.Now().Before(end), what)
	}
}

// TestTheBoxOfParts: the independent peer that a maker is given (testdata/commission, pymodbus
// 3.0.0 of Debian 12) is what its solution says, for two seeds: it answers at its own speed
// and parity only, every probe is where it should be, hands move what they say, silence
// drops a heater, and an adapter that is unplugged is gone.
func TestTheBoxOfParts(t *testing.T) {
	if testing.Short() {
		t.Skip("runs another program for seconds")
	}
	for _, seed := range []int{0, 4} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			b := startBox(t, seed, 2, 10)
			for probe := range b.Devices.Thermocouples.Addresses {
				require.InDelta(t, 21, b.measures(probe).C, 1, probe)
			}
			b.do("dip melt middle 60")
			b.soon(func() bool { return b.measures("melt middle").C > 55 }, "it is in the water")
			require.InDelta(t, 21, b.measures("melt left").C, 1)
			b.do("take off plate right")
			b.soon(func() bool { return b.measures("plate right").Fault == reading.Sentinel }, "its wires are off")
			require.True(t, b.closed("e-stop"))
			require.False(t, b.closed("enable"))
			b.do("open e-stop")
			b.do("press enable")
			b.soon(func() bool { return !b.closed("e-stop") && b.closed("enable") }, "pressed")
			b.do("close e-stop")
			b.heats()
			b.isDeaf()
			b.do("unplug")
			b.soon(func() bool { _, err := os.Lstat(b.paths[0]); return os.IsNotExist(err) }, "unplugged")
			b.do("plug in")
			require.InDelta(t, 21, b.measures("room").C, 1)
		})
	}
}

// heats tells one heater all of its power until its plate has warmed, and then nothing: it is
// dropped by itself.
func (b *parts) heats() {
	d := b.Devices.Outputs
	contactor := modbus.Request{Unit: d.Unit, Function: modbus.WriteCoil, Address: d.Addresses["contactor"], Quantity: 1, Data: modbus.AppendCoil(nil, true)}
	write, read := b.heater("left")
	b.do("set time-out 1.5")
	b.soon(func() bool {
		_, first := b.ask(d.Line, write)
		_, then := b.ask(d.Line, contactor)
		b.mu.Lock()
		defer b.mu.Unlock()
		return first == nil && then == nil && b.truth.Plates["left"] > 25
	}, "its plate warms")
	b.soon(func() bool {
		data, err := b.ask(d.Line, read)
		return err == nil && !slices.ContainsFunc(data, func(v byte) bool { return v != 0 })
	}, "dropped in silence")
	b.soon(func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return b.truth.Heaters["left"] == 0
	}, "no heat")
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.InDelta(b.t, 21, b.truth.Plates["right"], 1)
}

// isDeaf asks at another speed, and with another parity.
func (b *parts) isDeaf() {
	d, l := b.Devices.Inputs, b.Lines[b.Devices.Inputs.Line]
	for _, mode := range []serialport.Mode{
		{Baud: map[bool]int{true: 9600, false: 19200}[l.Baud == 19200], Parity: l.Parity, StopBits: 1},
		{Baud: l.Baud, Parity: map[bool]serialport.Parity{true: serialport.None, false: serialport.Even}[l.Parity == serialport.Even], StopBits: 1},
	} {
		c, end := b.speaks(d.Line, mode)
		_, err := c.Exchange(&modbus.Device{Unit: d.Unit, Timeout: time.Second}, modbus.Request{Unit: d.Unit, Function: modbus.ReadInputs, Address: d.Addresses["fan"], Quantity: 1})
		assert.Equal(b.t, modbus.TimedOut, modbus.OutcomeOf(err), "%+v: %v", mode, err)
		end()
	}
}

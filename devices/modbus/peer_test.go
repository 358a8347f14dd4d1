//go:build unix

package modbus_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/serialport"
)

const (
	peers    = "../../testdata/modbus/peers/"
	peerBaud = 115200
)

// without skips the test for want of something, unless everything must be tried.
func without(t *testing.T, reason string) {
	t.Helper()
	if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
		t.Fatal(reason)
	}
	t.Skip(reason)
}

// start runs a command until the test ends.
func start(t *testing.T, name string, args ...string) {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Stderr = os.Stderr
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
}

// line joins two pseudo-terminals and returns their paths.
func line(t *testing.T) (string, string) {
	t.Helper()
	if _, err := exec.LookPath("socat"); err != nil {
		without(t, "no socat to join two pseudo-terminals")
	}
	a, b := filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "b")
	start(t, "socat", "pty,raw,echo=0,link="+a, "pty,raw,echo=0,link="+b)
	for _, path := range []string{a, b} {
		require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil }, time.Minute, 5*time.Millisecond)
	}
	return a, b
}

func client(t *testing.T, path string) *modbus.Client {
	t.Helper()
	port, err := serialport.Open(path, serialport.Mode{Baud: peerBaud, Parity: serialport.Even, StopBits: 1})
	require.NoError(t, err)
	c := modbus.NewClient(port, peerBaud, clock.New(1))
	t.Cleanup(func() { <-c.Close() })
	return c
}

// python returns an interpreter that has the library, if there is one.
func python(t *testing.T) string {
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import pymodbus, serial").Run() == nil {
			return name
		}
	}
	without(t, "no python3 with pymodbus and pyserial")
	return ""
}

// TestPythonPeer: independent peer pymodbus 3.0.0 (Debian 12).
func TestPythonPeer(t *testing.T) {
	interpreter := python(t)
	near, far := line(t)
	start(t, interpreter, peers+"python_server.py", far, strconv.Itoa(peerBaud))
	askEverything(t, client(t, near))
}

// TestCPeer: independent peer libmodbus 3.1.6 (Debian 12).
func TestCPeer(t *testing.T) {
	server := filepath.Join(t.TempDir(), "c_server")
	out, err := exec.Command("cc", "-I/usr/include/modbus", "-o", server, peers+"c_server.c", "-lmodbus").CombinedOutput()
	if err != nil {
		without(t, "no C compiler with libmodbus: "+string(out))
	}
	near, far := line(t)
	start(t, server, far, strconv.Itoa(peerBaud))
	askEverything(t, client(t, near))
}

// askEverything tries every function on a peer, whose values its source states.
func askEverything(t *testing.T, c *modbus.Client) {
	d := &modbus.Device{Name: "peer", Unit: 17, Timeout: 300 * time.Millisecond}
	ask := func(function uint8, address, quantity uint16, write ...byte) []byte {
		data, err := c.Exchange(d, modbus.Request{Function: function, Address: address, Quantity: quantity, Data: write})
		require.NoError(t, err)
		return data
	}
	ready := modbus.Request{Function: modbus.ReadHolding, Quantity: 1}
	require.Eventually(t, func() bool { _, err := c.Exchange(d, ready); return err == nil }, 20*time.Second, time.Millisecond)

	assert.Equal(t, []uint16{5, 6, 7}, modbus.Registers(ask(modbus.ReadHolding, 5, 3)))
	assert.Equal(t, []uint16{1199}, modbus.Registers(ask(modbus.ReadInput, 199, 1)))
	assert.Len(t, ask(modbus.ReadInput, 0, 125), 250)
	assert.Equal(t, []bool{false, false, true, false, false, true, false, false, true, false},
		modbus.Bits(ask(modbus.ReadCoils, 1, 10), 10))
	assert.Equal(t, []bool{true, false, true}, modbus.Bits(ask(modbus.ReadInputs, 10, 3), 3))

	ask(modbus.WriteRegister, 20, 1, modbus.AppendRegisters(nil, 0xABCD)...)
	ask(modbus.WriteRegisters, 21, 2, modbus.AppendRegisters(nil, 1, 0xFFFE)...)
	assert.Equal(t, []uint16{0xABCD, 1, 0xFFFE, 23}, modbus.Registers(ask(modbus.ReadHolding, 20, 4)))
	ask(modbus.WriteCoil, 31, 1, modbus.AppendCoil(nil, true)...)
	ask(modbus.WriteCoil, 30, 1, modbus.AppendCoil(nil, false)...)
	ask(modbus.WriteCoils, 32, 9, modbus.AppendBits(nil, true, true, false, false, true, true, false, false, true)...)
	assert.Equal(t, []bool{false, true, true, true, false, false, true, true, false, false, true},
		modbus.Bits(ask(modbus.ReadCoils, 30, 11), 11))

	_, err := c.Exchange(d, modbus.Request{Function: modbus.ReadHolding, Address: 198, Quantity: 3})
	assert.ErrorIs(t, err, modbus.Exception{Code: modbus.IllegalDataAddress})
	assert.Zero(t, d.Counts.Of(modbus.BadCheck))
	assert.Zero(t, d.Counts.Of(modbus.Mismatch))
}

// BenchmarkExchange measures an exchange of four registers with a device that
// replies at once, over a pseudo-terminal, and what it takes beyond the silence
// between frames. A pseudo-terminal has no time on the wire.
func BenchmarkExchange(b *testing.B) {
	far, tty, err := pty.Open()
	require.NoError(b, err)
	defer far.Close()
	defer tty.Close()
	port, err := serialport.Open(tty.Name(), serialport.Mode{Baud: peerBaud, Parity: serialport.Even, StopBits: 1})
	require.NoError(b, err)
	go func() {
		request := make([]byte, modbus.MaxFrame)
		for {
			n, err := far.Read(request)
			if err != nil {
				return
			}
			if r, err := modbus.ParseRequest(request[:n]); err == nil {
				_, _ = far.Write(r.AppendReply(nil, make([]byte, 8)))
			}
		}
	}()
	c := modbus.NewClient(port, peerBaud, clock.New(1))
	d := &modbus.Device{Unit: 1, Timeout: time.Second}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Exchange(d, modbus.Request{Function: modbus.ReadInput, Quantity: 4}); err != nil {
			b.Fatal(err)
		}
	}
	beyond := b.Elapsed()/time.Duration(b.N) - 1750*time.Microsecond
	b.ReportMetric(float64(beyond)/1e3, "µs-beyond-silence/op")
	<-c.Close()
}

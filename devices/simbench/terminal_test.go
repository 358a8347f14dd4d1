//go:build linux || darwin || freebsd || netbsd || openbsd

package simbench

import (
	"context"
	"io"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
	"go.uber.org/goleak"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
)

func converse(t *testing.T, port io.ReadWriter, r modbus.Request) []byte {
	t.Helper()
	_, err := port.Write(r.Append(nil))
	require.NoError(t, err)
	reply := make([]byte, r.ReplyLength())
	for got := 0; got < len(reply); {
		n, err := port.Read(reply[got:])
		require.NoError(t, err)
		require.NotZero(t, n, "timed out after %d bytes", got)
		got += n
	}
	data, err := r.ParseReply(reply)
	require.NoError(t, err)
	return data
}

func TestServesASerialPort(t *testing.T) {
	defer goleak.VerifyNone(t)
	line, err := OpenTerminal()
	if err != nil {
		t.Skip("no pseudo-terminal here: ", err)
	}
	b, err := New(Config{Pots: demoPots(), Seed: 1, Maker: true}, clock.New(20))
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	var served sync.WaitGroup
	served.Go(func() { require.NoError(t, b.Serve(ctx, line)) })

	for range 2 { // a daemon may come and go
		port, err := serial.Open(line.Path(), &serial.Mode{BaudRate: 19200})
		require.NoError(t, err)
		require.NoError(t, port.SetReadTimeout(2*time.Second))
		for range 40 {
			converse(t, port, askMelt)
			converse(t, port, modbus.Request{
				// 0x0D, 0x0A, 0x11, 0x13, 0x03: what a terminal would swallow or change
				Unit: UnitPower, Function: modbus.WriteRegisters, Quantity: 3, Data: []byte{0x0D, 0x0A, 0x11, 0x13, 0x03, 0x04},
			})
			back := converse(t, port, modbus.Request{Unit: UnitPower, Function: modbus.ReadHolding, Quantity: 3})
			require.Equal(t, []byte{0x0D, 0x0A, 0x11, 0x13, 0x03, 0x04}, back)
			b.Truth()
		}
		require.NoError(t, port.Close())
	}
	stop()
	served.Wait()
	require.NoError(t, line.Close())
}

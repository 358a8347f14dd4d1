//go:build unix

package modbus_test

import (
	"slices"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/serialport"
)

// TestNumbersOfOverhead prints what an exchange with a device that answers at once takes
// beyond the silence before it, on a pseudo-terminal, whose wire takes no time. On a busy computer the processor is
// somebody else's for much of it, so the best of many tries counts.
func TestNumbersOfOverhead(t *testing.T) {
	const tries, each = 10, 50
	far, tty, err := pty.Open()
	require.NoError(t, err)
	defer far.Close()
	defer tty.Close()
	go func() {
		request := make([]byte, modbus.MaxFrame)
		for {
			n, err := far.Read(request)
			if err != nil {
				return
			}
			if r, err := modbus.ParseRequest(request[:n]); err == nil {
				_, _ = far.Write(r.AppendReply(nil, make([]byte, 2*r.Quantity)))
			}
		}
	}()
	port, err := serialport.Open(tty.Name(), serialport.Mode{Baud: peerBaud, Parity: serialport.Even, StopBits: 1})
	require.NoError(t, err)
	c := modbus.NewClient(port, peerBaud, clock.New(1))
	d := &modbus.Device{Unit: 1, Timeout: time.Second}
	r := modbus.Request{Function: modbus.ReadInput, Quantity: 4}
	silence := modbus.TimingOf(peerBaud, modbus.CharacterBits).Silence
	var medians []time.Duration
	for range tries {
		var beyond []time.Duration
		for range each {
			begun := time.Now()
			_, err := c.Exchange(d, r)
			require.NoError(t, err)
			beyond = append(beyond, time.Since(begun)-silence)
		}
		slices.Sort(beyond)
		medians = append(medians, beyond[each/2])
	}
	slices.Sort(medians)
	t.Logf("beyond wire and silence, median of %d exchanges: %v in the best of %d tries, %v in the middle one, %v in the worst",
		each, medians[0], tries, medians[tries/2], medians[tries-1])
	assert.Less(t, medians[0], time.Millisecond)
	<-c.Close()
}

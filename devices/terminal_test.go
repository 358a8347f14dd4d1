//go:build unix

package devices_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/farend"
	"meltwarden/devices/modbus"
	"meltwarden/devices/serialport"
)

// terminal makes a pseudo-terminal whose near end the path names from now on, as
// an adapter's does when it is plugged in again, and lets the rig answer at the
// far end. It returns the far end.
func terminal(t *testing.T, g *rig, path string) *os.File {
	t.Helper()
	far, near, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { near.Close() }) // while it is open, the far end can be read
	_ = os.Remove(path)
	require.NoError(t, os.Symlink(near.Name(), path))
	go farend.Serve(far, g.answer)
	return far
}

// A real port through the operating system: in use, unplugged in use, plugged in
// again under the same name.
func TestUnplugOnATerminal(t *testing.T) {
	path := filepath.Join(t.TempDir(), "adapter")
	g := newRig()
	g.set(probes, 0, 1751, 2003, 1600, 1700)
	far := terminal(t, g, path)

	cfg := benchConfig()
	cfg.Lines[0].Port = path
	clk := clock.New(1)
	b, err := devices.Open(cfg, func(l devices.LineConfig) (modbus.Port, error) {
		return serialport.Open(l.Port, serialport.Mode{Baud: l.Baud, Parity: serialport.Parity(l.Parity), StopBits: l.StopBits})
	}, clk)
	require.NoError(t, err)

	var in control.Input
	fresh := func() bool {
		b.Poll(context.Background(), period).Fill(&in, clk.Now())
		b.Apply(warm)
		first, second, contactor := g.duties()
		return in.Pots[0].Melt.Usable(period) && first == 250 && second == 1000 && contactor
	}
	require.Eventually(t, fresh, time.Minute, 10*time.Millisecond)
	assert.InDelta(t, 175.1, in.Pots[0].Melt.C, 1e-9)

	require.NoError(t, far.Close())
	require.Eventually(t, func() bool { fresh(); return !b.Stats().Lines[0].Open }, time.Minute, 10*time.Millisecond)
	require.Eventually(t, func() bool { fresh(); return in.Pots[0].Melt.Age > time.Second }, time.Minute, 10*time.Millisecond)
	assert.Equal(t, reading.None, in.Pots[0].Melt.Fault, "it ages, and is not replaced")

	g.set(heaters, 0, 9, 9)
	back := g.now()
	far = terminal(t, g, path)
	require.Eventually(t, func() bool { return len(g.writes(back)) > 0 }, time.Minute, time.Millisecond)
	first := g.writes(back)[0]
	assert.Equal(t, make([]byte, 4), first.Data, "the first that is written after the plug is zeros")
	t.Logf("zeros %v after the plug", (first.at - back).Round(time.Millisecond))
	for range 20 {
		assert.False(t, fresh(), "an adapter that is plugged in again heats nothing")
		assert.False(t, in.Contacts.Link.Closed)
	}
	b.Apply(control.Outputs{Duty: []float64{0, 0}})
	require.Eventually(t, fresh, time.Minute, 10*time.Millisecond)
	assert.Equal(t, uint64(2), b.Stats().Lines[0].Opened)

	assert.True(t, b.Close(context.Background()))
	low, high, contactor := g.duties()
	assert.Equal(t, []uint16{0, 0}, []uint16{low, high})
	assert.False(t, contactor)
	require.NoError(t, far.Close())
}

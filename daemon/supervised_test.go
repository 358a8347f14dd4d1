//go:build linux

package daemon

import (
	"log/slog"
	"net"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
)

// TestTheServiceManagerIsFedByFrames: a real datagram socket in place of systemd's.
// Ready and alive come with frames, and nothing comes without.
func TestTheServiceManagerIsFedByFrames(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer manager.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "40000") // so it is fed every 10 ms

	d := &Daemon{opts: Options{Log: slog.New(slog.DiscardHandler)}}
	over := make(chan struct{})
	go func() { defer close(over); d.supervised(t.Context()) }()
	heard := func(within time.Duration) string {
		require.NoError(t, manager.SetReadDeadline(time.Now().Add(within)))
		word := make([]byte, 100)
		n, err := manager.Read(word)
		if err != nil {
			return ""
		}
		return string(word[:n])
	}
	assert.Empty(t, heard(100*time.Millisecond), "no cycle has finished")
	d.hub.Publish(&frames.Frame{})
	assert.Equal(t, "READY=1", heard(5*time.Second))
	assert.Equal(t, "WATCHDOG=1", heard(5*time.Second))
	assert.Empty(t, heard(100*time.Millisecond), "no cycle has finished since")
	d.hub.Publish(&frames.Frame{})
	assert.Equal(t, "WATCHDOG=1", heard(5*time.Second))
}

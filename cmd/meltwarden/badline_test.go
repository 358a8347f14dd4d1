//go:build linux

package main

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/modbus"
	"meltwarden/devices/simbench"
)

// fault is what a bad line does to what it carries. The zero value does nothing.
type fault struct {
	deaf  bool                        // requests are lost
	echo  bool                        // requests come back, as on a two-wire line
	late  time.Duration               // replies wait for so long
	reply func(frame []byte) [][]byte // what comes in place of a reply; nil leaves it as it is
}

// badLine joins two pseudo-terminals, the daemon's and the peer's, and spoils what
// goes between them. The daemon's is found at a symbolic link, as the system names
// adapters, and can be unplugged.
type badLine struct {
	t    *testing.T
	path string
	far  *simbench.Terminal

	mu    sync.Mutex
	near  *simbench.Terminal
	fault fault
}

func newBadLine(t *testing.T) *badLine {
	t.Helper()
	far, err := simbench.OpenTerminal()
	require.NoError(t, err)
	l := &badLine{t: t, path: filepath.Join(t.TempDir(), "adapter"), far: far}
	l.plug()
	ended := make(chan struct{})
	var pumps sync.WaitGroup
	for _, pump := range []func(){l.request, l.reply} {
		pumps.Go(func() {
			for {
				select {
				case <-ended:
					return
				default:
					pump()
				}
			}
		})
	}
	t.Cleanup(func() {
		close(ended)
		pumps.Wait()
		assert.NoError(t, far.Close())
		assert.NoError(t, l.near.Close())
	})
	return l
}

func (l *badLine) spoil(f fault) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fault = f
}

func (l *badLine) unplug() {
	l.mu.Lock()
	defer l.mu.Unlock()
	assert.NoError(l.t, os.Remove(l.path))
	assert.NoError(l.t, l.near.Close())
}

// plug finds a new pseudo-terminal for the same path.
func (l *badLine) plug() {
	near, err := simbench.OpenTerminal()
	require.NoError(l.t, err)
	require.NoError(l.t, near.SetReadTimeout(beat))
	require.NoError(l.t, l.far.SetReadTimeout(beat))
	l.mu.Lock()
	defer l.mu.Unlock()
	l.near = near
	require.NoError(l.t, os.Symlink(near.Path(), l.path))
}

// beat is how long a line waits for more of a frame.
const beat = 20 * time.Millisecond

func (l *badLine) now() (*simbench.Terminal, fault) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.near, l.fault
}

// request carries one request, or what comes of it at once.
func (l *badLine) request() {
	near, _ := l.now()
	asked := make([]byte, modbus.MaxFrame)
	n, err := near.Read(asked)
	if err != nil {
		time.Sleep(beat) // unplugged
	}
	_, f := l.now()
	if n > 0 && f.echo {
		l.hand(asked[:n])
	}
	if n > 0 && !f.deaf {
		_, err = l.far.Write(asked[:n])
		assert.NoError(l.t, err)
	}
}

// reply carries one whole reply, or what comes in its place.
func (l *badLine) reply() {
	frame := make([]byte, 0, modbus.MaxFrame)
	for !modbus.Intact(frame) && len(frame) < cap(frame) {
		n, err := l.far.Read(frame[len(frame):cap(frame)])
		if !assert.NoError(l.t, err) || n == 0 {
			break
		}
		frame = frame[:len(frame)+n]
	}
	if len(frame) == 0 {
		return
	}
	_, f := l.now()
	frames := [][]byte{frame}
	if f.reply != nil {
		frames = f.reply(frame)
	}
	if f.late > 0 {
		time.AfterFunc(f.late, func() { l.hand(frames...) })
		return
	}
	l.hand(frames...)
}

// hand gives bytes to the daemon. A line that is unplugged takes them nowhere.
func (l *badLine) hand(frames ...[]byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, frame := range frames {
		_, _ = l.near.Write(frame)
	}
}

// sealed is a frame with a good check at its end.
func sealed(body ...byte) []byte {
	crc := modbus.CRC(body)
	return append(body, byte(crc), byte(crc>>8))
}

//go:build unix

package serialport_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"meltwarden/devices/modbus"
	"meltwarden/devices/serialport"
)

var (
	_ modbus.Port = (*serialport.Port)(nil)

	usual = serialport.Mode{Baud: 19200, Parity: serialport.Even, StopBits: 1}
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// terminal returns the far end of a pseudo-terminal and the path of its near end.
func terminal(t *testing.T) (*os.File, string) {
	t.Helper()
	far, near, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { far.Close() })
	path := near.Name()
	require.NoError(t, near.Close())
	return far, path
}

func TestReadAndWrite(t *testing.T) {
	far, path := terminal(t)
	p, err := serialport.Open(path, usual)
	require.NoError(t, err)
	defer p.Close()
	_, err = p.Write([]byte("ask"))
	require.NoError(t, err)
	got := make([]byte, 8)
	n, err := far.Read(got)
	require.NoError(t, err)
	assert.Equal(t, "ask", string(got[:n]))

	require.NoError(t, p.SetReadTimeout(20*time.Millisecond))
	n, err = p.Read(got)
	assert.NoError(t, err)
	assert.Zero(t, n)
	_, err = far.Write([]byte{0x11, 0x13, 0x03, 0x0A, 0x0D, 0x00, 0xFF})
	require.NoError(t, err)
	n, err = p.Read(got)
	require.NoError(t, err)
	assert.Equal(t, []byte{0x11, 0x13, 0x03, 0x0A, 0x0D, 0x00, 0xFF}, got[:n], "nothing is translated")
}

func TestOneProgramAtATime(t *testing.T) {
	_, path := terminal(t)
	p, err := serialport.Open(path, usual)
	require.NoError(t, err)
	_, err = serialport.Open(path, usual)
	assert.ErrorIs(t, err, serialport.ErrBusy)
	require.NoError(t, p.Close())
	require.NoError(t, p.Close())
	p, err = serialport.Open(path, usual)
	require.NoError(t, err)
	require.NoError(t, p.Close())
}

func TestErrorsSayWhatToDo(t *testing.T) {
	dir := t.TempDir()
	_, err := serialport.Open(filepath.Join(dir, "none"), usual)
	assert.ErrorContains(t, err, "is the adapter plugged in")
	plain := filepath.Join(dir, "plain")
	require.NoError(t, os.WriteFile(plain, nil, 0o600))
	_, err = serialport.Open(plain, usual)
	assert.ErrorContains(t, err, "is not a serial port")
	_, err = serialport.Open(plain, serialport.Mode{Baud: 9600, Parity: "mark", StopBits: 1})
	assert.ErrorContains(t, err, "allowed are none, even and odd")
	_, err = serialport.Open(plain, serialport.Mode{Baud: 9600, Parity: serialport.None, StopBits: 3})
	assert.ErrorContains(t, err, "allowed are 1 and 2")
	if os.Getuid() == 0 {
		t.Log("the superuser lacks no permission: that error is not tried")
		return
	}
	require.NoError(t, os.Chmod(plain, 0))
	_, err = serialport.Open(plain, usual)
	assert.ErrorContains(t, err, "dialout")
}

func TestHangUpIsNotOurOwnClose(t *testing.T) {
	far, path := terminal(t)
	p, err := serialport.Open(path, usual)
	require.NoError(t, err)
	require.NoError(t, p.SetReadTimeout(time.Second))
	require.NoError(t, far.Close())
	_, err = p.Read(make([]byte, 8))
	assert.ErrorIs(t, err, serialport.ErrHungUp)
	require.NoError(t, p.Close())
	_, err = p.Read(make([]byte, 8))
	assert.Error(t, err)
	assert.NotErrorIs(t, err, serialport.ErrHungUp)
}

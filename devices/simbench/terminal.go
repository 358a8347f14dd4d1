//go:build linux || darwin || freebsd || netbsd || openbsd

package simbench

import (
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// Terminal is the bench's end of a pseudo-terminal: a serial port without a wire.
type Terminal struct {
	ours, theirs *os.File
	timeout      time.Duration
}

// OpenTerminal opens a pseudo-terminal whose other end, at Path, is a serial
// port in raw mode. The other end is kept open here too, so that a daemon may
// come and go without the line going down.
func OpenTerminal() (*Terminal, error) {
	ours, theirs, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	if err := makeRaw(theirs); err != nil {
		return nil, errors.Join(fmt.Errorf("set the pseudo-terminal to raw mode: %w", err), ours.Close(), theirs.Close())
	}
	polled, err := pollable(ours)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("make the pseudo-terminal pollable: %w", err), theirs.Close())
	}
	return &Terminal{ours: polled, theirs: theirs}, nil
}

// pollable returns the same open file as one whose reads can time out, and
// closes f.
func pollable(f *os.File) (*os.File, error) {
	raw, err := f.SyscallConn()
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	var copied int
	var failed error
	err = raw.Control(func(fd uintptr) {
		if copied, failed = unix.FcntlInt(fd, unix.F_DUPFD_CLOEXEC, 0); failed == nil {
			failed = unix.SetNonblock(copied, true)
		}
	})
	if err = errors.Join(err, failed, f.Close()); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(copied), f.Name()), nil // polls, for it is non-blocking
}

// makeRaw switches off everything that a terminal does to bytes (POSIX,
// general terminal interface).
func makeRaw(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	err = raw.Control(func(fd uintptr) {
		var t *unix.Termios
		if t, failed = unix.IoctlGetTermios(int(fd), getTermios); failed != nil {
			return
		}
		t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
		t.Oflag &^= unix.OPOST
		t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
		t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
		t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
		failed = unix.IoctlSetTermios(int(fd), setTermios, t)
	})
	return errors.Join(err, failed)
}

// Path is where the other end is found.
func (t *Terminal) Path() string { return t.theirs.Name() }

// SetReadTimeout sets how long Read waits.
func (t *Terminal) SetReadTimeout(d time.Duration) error {
	t.timeout = d
	return nil
}

// Read returns what has come, or 0 and no error after the read time-out.
func (t *Terminal) Read(p []byte) (int, error) {
	if err := t.ours.SetReadDeadline(time.Now().Add(t.timeout)); err != nil {
		return 0, err
	}
	n, err := t.ours.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return n, nil
	}
	return n, err
}

// Write sends bytes to the other end.
func (t *Terminal) Write(p []byte) (int, error) { return t.ours.Write(p) }

// Close takes the line down.
func (t *Terminal) Close() error { return errors.Join(t.ours.Close(), t.theirs.Close()) }

//go:build unix

package serialport

import (
	"errors"
	"time"

	"golang.org/x/sys/unix"
)

// lock takes an advisory lock on the port's device and returns how to give it
// back.
func lock(path string) (func(), error) {
	fd, err := unix.Open(path, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if errors.Is(err, unix.EBUSY) {
		return nil, ErrBusy
	}
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		unix.Close(fd)
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, ErrBusy
		}
		return nil, err
	}
	return func() { unix.Close(fd) }, nil
}

func wholeTimeout(t time.Duration) time.Duration { return t }

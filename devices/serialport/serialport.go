// Package serialport opens real serial ports, for one program at a time, with
// errors that say what to do next.
package serialport

import (
	"errors"
	"fmt"
	"io/fs"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

// Parity is the parity bit of each character.
type Parity string

// The parities a line can have. The open standard's default is Even.
const (
	None Parity = "none"
	Even Parity = "even"
	Odd  Parity = "odd"
)

var parities = map[Parity]serial.Parity{None: serial.NoParity, Even: serial.EvenParity, Odd: serial.OddParity}

var stops = map[int]serial.StopBits{1: serial.OneStopBit, 2: serial.TwoStopBits}

// Mode is how a line is spoken to: 8 data bits always.
type Mode struct {
	Baud     int // bits per second
	Parity   Parity
	StopBits int // 1 or 2
}

// Why a port can not be opened or is lost.
var (
	ErrBusy       = errors.New("in use by another program: stop that one first")
	ErrHungUp     = errors.New("hung up: was the adapter unplugged?")
	ErrMissing    = errors.New("does not exist: is the adapter plugged in, and is this its name?")
	ErrPermission = errors.New("no permission: add the user to the group that owns the port (often dialout) and log in again")

	errNotSerial = errors.New("is not a serial port, or can not be set to this speed, parity and stop bits")
)

// Port is an open serial port. One goroutine may read and write; any may close.
type Port struct {
	path   string
	port   serial.Port
	unlock func()
	closed atomic.Bool
}

// Open opens the port and locks it against other programs that lock it too, even
// those of the superuser, whom the system's own exclusive use does not stop. It
// can block for as long as the system takes.
func Open(path string, mode Mode) (*Port, error) {
	parity, ok := parities[mode.Parity]
	if !ok {
		return nil, fmt.Errorf("serial port %s: parity %q: allowed are none, even and odd", path, mode.Parity)
	}
	stopBits, ok := stops[mode.StopBits]
	if !ok {
		return nil, fmt.Errorf("serial port %s: %d stop bits: allowed are 1 and 2", path, mode.StopBits)
	}
	unlock, err := lock(path)
	if err != nil {
		return nil, explain(path, err)
	}
	port, err := serial.Open(path, &serial.Mode{BaudRate: mode.Baud, DataBits: 8, Parity: parity, StopBits: stopBits})
	if err != nil {
		unlock()
		return nil, explain(path, err)
	}
	return &Port{path: path, port: port, unlock: unlock}, nil
}

// explain adds to an error of opening what to do about it.
func explain(path string, err error) error {
	hint := err
	if portErr, ok := errors.AsType[*serial.PortError](err); ok {
		hint = hintFor(portErr)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		hint = ErrMissing
	case errors.Is(err, fs.ErrPermission):
		hint = ErrPermission
	}
	if hint == err {
		return fmt.Errorf("serial port %s: %w", path, err)
	}
	return fmt.Errorf("serial port %s %w (%w)", path, hint, err)
}

func hintFor(err *serial.PortError) error {
	switch err.Code() {
	case serial.PortBusy:
		return ErrBusy
	case serial.PortNotFound:
		return ErrMissing
	case serial.PermissionDenied:
		return ErrPermission
	}
	return errNotSerial
}

// Read returns what has come, or 0 and no error when nothing came in time.
func (p *Port) Read(b []byte) (int, error) {
	n, err := p.port.Read(b)
	return n, p.lost(err)
}

// Write may block for ever when nobody takes the bytes.
func (p *Port) Write(b []byte) (int, error) {
	n, err := p.port.Write(b)
	return n, p.lost(err)
}

// lost tells a hang-up, which the system reports in several ways, from our own
// Close.
func (p *Port) lost(err error) error {
	if err == nil || p.closed.Load() {
		return err
	}
	return fmt.Errorf("serial port %s %w (%w)", p.path, ErrHungUp, err)
}

// SetReadTimeout sets how long Read waits for a first byte; zero or more.
func (p *Port) SetReadTimeout(t time.Duration) error {
	return p.port.SetReadTimeout(wholeTimeout(t))
}

// Close gives the lock back and closes the port, in this order, since closing can
// take half a minute and must not stand in the way of opening again.
func (p *Port) Close() error {
	if p.closed.Swap(true) {
		return nil
	}
	p.unlock()
	return p.port.Close()
}

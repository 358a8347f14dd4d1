package modbus

import (
	"errors"
	"fmt"
	"sync/atomic"
)

// Outcome is how an exchange ended.
type Outcome uint8

// The ways an exchange can end.
const (
	OK       Outcome = iota
	TimedOut         // no reply, or not all of one
	BadCheck         // a reply whose check is wrong
	Mismatch         // a reply of another unit, function, length or write; or a babbling line
	Refused          // an exception: the device is alive and says no
	PortLost         // the port failed; the client is of no more use
	outcomes
)

var outcomeNames = [outcomes]string{"ok", "timeout", "crc", "mismatch", "exception", "port"}

// String returns the outcome in a word.
func (o Outcome) String() string { return outcomeNames[o] }

// Outcomes lists every outcome, in order.
func Outcomes() []Outcome {
	return []Outcome{OK, TimedOut, BadCheck, Mismatch, Refused, PortLost}
}

// Counts are numbers of exchanges by outcome, and of troubles by kind. They may be read at
// any time.
type Counts struct {
	n     [outcomes]atomic.Uint64
	kinds [kinds]atomic.Uint64
}

// add counts an exchange by its error. What began with another unit's number is only told
// apart once all of it has been heard.
func (c *Counts) add(err error) {
	c.n[OutcomeOf(err)].Add(1)
	if err != nil && !errors.Is(err, ErrUnit) {
		c.kinds[kindOf(err)].Add(1)
	}
}

// Of returns the number of exchanges with the outcome.
func (c *Counts) Of(o Outcome) uint64 { return c.n[o].Load() }

// OfKind returns the number of troubles of a kind.
func (c *Counts) OfKind(k Kind) uint64 { return c.kinds[k].Load() }

// ErrNeverSilent means that a line carries bytes without a pause, so that no
// request can be made on it.
var ErrNeverSilent = errors.New("the line is never silent")

var (
	errTimeout      = errors.New("no reply in time")
	errCutShort     = fmt.Errorf("%w", errTimeout) // reads the same, and says how much came
	errPort         = errors.New("port lost")
	errClosed       = fmt.Errorf("%w: closed", errPort)
	errWriteBlocked = errors.New("a write blocked: nobody takes the bytes")
)

// OutcomeOf returns the outcome that an exchange's error stands for.
func OutcomeOf(err error) Outcome {
	if err == nil {
		return OK
	}
	_, refused := errors.AsType[Exception](err)
	switch {
	case errors.Is(err, errPort):
		return PortLost
	case errors.Is(err, errTimeout):
		return TimedOut
	case errors.Is(err, ErrCRC):
		return BadCheck
	case refused:
		return Refused
	}
	return Mismatch
}

// Error is a failed exchange.
type Error struct {
	Device         string
	Unit, Function uint8
	Address        uint16
	Outcome        Outcome
	Err            error
}

var functionNames = map[uint8]string{
	ReadCoils: "read coils", ReadInputs: "read discrete inputs",
	ReadHolding: "read holding registers", ReadInput: "read input registers",
	WriteCoil: "write coil", WriteRegister: "write register",
	WriteCoils: "write coils", WriteRegisters: "write registers",
}

// Error returns device, unit, function and address along with what went wrong.
func (e *Error) Error() string {
	return fmt.Sprintf("%s (unit %d): %s at address %d: %v",
		e.Device, e.Unit, functionNames[e.Function], e.Address, e.Err)
}

// Unwrap returns what went wrong.
func (e *Error) Unwrap() error { return e.Err }

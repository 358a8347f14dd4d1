// Package modbus speaks Modbus RTU, the open standard, as the one who asks: its
// frames as plain values, for both ends of the line, and a client that exchanges
// one request and one reply at a time over a port. The client promises that a
// reply is never taken for the answer to another request; what that rests on is
// said at Client.
package modbus

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// The functions this package speaks (application protocol specification V1.1b3,
// section 6).
const (
	ReadCoils      uint8 = 1
	ReadInputs     uint8 = 2
	ReadHolding    uint8 = 3
	ReadInput      uint8 = 4
	WriteCoil      uint8 = 5
	WriteRegister  uint8 = 6
	WriteCoils     uint8 = 15
	WriteRegisters uint8 = 16
)

const (
	// MaxFrame is the length of the longest frame in bytes (V1.1b3, 4.1).
	MaxFrame = 256

	exceptionBit    = 0x80
	exceptionLength = 5
	shortest        = 4 // unit, function, check
	fixedRequest    = 8 // a request of functions 1 to 6; a reply to a write
)

// What can be wrong with a frame. A frame with any of these is never an answer.
var (
	ErrCRC      = errors.New("check (CRC) wrong")
	ErrLength   = errors.New("length wrong")
	ErrUnit     = errors.New("reply from another unit")
	ErrFunction = errors.New("reply to another function")
	ErrEcho     = errors.New("reply to another write")
)

// Request is what a device is asked to read or to write.
type Request struct {
	Unit     uint8 // 1 to 247
	Function uint8
	Address  uint16 // as on the wire, from 0
	Quantity uint16 // registers or bits; 1 for WriteCoil and WriteRegister
	// Data is what is written, as on the wire: registers high byte first, bits
	// packed with the lowest address in the lowest bit, FF 00 or 00 00 for
	// WriteCoil. It is empty for what is read.
	Data []byte
}

// limit returns the largest quantity of a function (V1.1b3, section 6), zero for
// one that is not spoken here.
func limit(function uint8) uint16 {
	switch function {
	case ReadCoils, ReadInputs:
		return 2000
	case ReadHolding, ReadInput:
		return 125
	case WriteCoil, WriteRegister:
		return 1
	case WriteCoils:
		return 1968
	case WriteRegisters:
		return 123
	}
	return 0
}

// ofBits reports whether a function's quantity counts bits.
func ofBits(function uint8) bool {
	return function == ReadCoils || function == ReadInputs || function == WriteCoils
}

// size returns how many bytes carry the request's bits or registers.
func (r Request) size() int {
	if ofBits(r.Function) {
		return (int(r.Quantity) + 7) / 8
	}
	return 2 * int(r.Quantity)
}

// Writes reports whether the request changes something in the device.
func (r Request) Writes() bool { return r.Function >= WriteCoil }

// single reports whether the reply to the request is the request itself.
func (r Request) single() bool { return r.Function == WriteCoil || r.Function == WriteRegister }

// Check tests a request in the order of the specification's state diagrams:
// function, quantity and value, range of addresses. The error wraps the
// Exception with which a device refuses such a request.
func (r Request) Check() error {
	most := limit(r.Function)
	if most == 0 {
		return fmt.Errorf("function %d is not spoken here: %w", r.Function, Exception{IllegalFunction})
	}
	if r.Quantity < 1 || r.Quantity > most {
		return fmt.Errorf("quantity %d, allowed are 1 to %d: %w", r.Quantity, most, Exception{IllegalDataValue})
	}
	if want := r.size(); r.Writes() && len(r.Data) != want {
		return fmt.Errorf("%d bytes to write, %d expected: %w", len(r.Data), want, Exception{IllegalDataValue})
	}
	if r.Function == WriteCoil && (r.Data[0] != 0 && r.Data[0] != 0xFF || r.Data[1] != 0) {
		return fmt.Errorf("coil value % X, allowed are FF 00 and 00 00: %w", r.Data, Exception{IllegalDataValue})
	}
	if int(r.Address)+int(r.Quantity) > 1<<16 {
		return fmt.Errorf("addresses %d and %d on end beyond 65535: %w", r.Address, r.Quantity, Exception{IllegalDataAddress})
	}
	return nil
}

// Append appends the request's frame to dst. The request must have passed Check.
func (r Request) Append(dst []byte) []byte {
	start := len(dst)
	dst = append(dst, r.Unit, r.Function)
	dst = binary.BigEndian.AppendUint16(dst, r.Address)
	if !r.single() {
		dst = binary.BigEndian.AppendUint16(dst, r.Quantity)
	}
	if r.Function == WriteCoils || r.Function == WriteRegisters {
		dst = append(dst, byte(len(r.Data)))
	}
	dst = append(dst, r.Data...)
	return seal(dst, start)
}

// RequestLength returns how long a request's frame will be, check included,
// given its first bytes: zero while too few have come to tell. It is negative
// for a function that is not spoken here, whose end only silence can tell.
func RequestLength(head []byte) int {
	if len(head) < 2 {
		return 0
	}
	switch f := head[1]; {
	case limit(f) == 0:
		return -1
	case f != WriteCoils && f != WriteRegisters:
		return fixedRequest
	case len(head) < 7:
		return 0
	}
	return 9 + int(head[6])
}

// ParseRequest reads a whole frame as a device does. Its Data aliases the frame.
// ErrCRC or ErrLength mean that the frame is to be met with silence. An error
// that wraps an Exception is to be answered with it: unit, function, and where
// they are known address and quantity, are then valid.
func ParseRequest(frame []byte) (Request, error) {
	if len(frame) < shortest {
		return Request{}, ErrLength
	}
	if !Intact(frame) {
		return Request{}, ErrCRC
	}
	r := Request{Unit: frame[0], Function: frame[1]}
	if limit(r.Function) == 0 {
		return r, r.Check()
	}
	if len(frame) != RequestLength(frame) {
		return Request{}, ErrLength
	}
	r.Address = binary.BigEndian.Uint16(frame[2:])
	switch {
	case r.single():
		r.Quantity, r.Data = 1, frame[4:6]
	case r.Writes():
		r.Quantity, r.Data = binary.BigEndian.Uint16(frame[4:]), frame[7:len(frame)-2]
	default:
		r.Quantity = binary.BigEndian.Uint16(frame[4:])
	}
	return r, r.Check()
}

// AppendReply appends the frame of a good reply to dst. Data is what was read, as
// on the wire; for a write it is not used.
func (r Request) AppendReply(dst, data []byte) []byte {
	start := len(dst)
	dst = append(dst, r.Unit, r.Function)
	switch {
	case r.single():
		dst = append(binary.BigEndian.AppendUint16(dst, r.Address), r.Data...)
	case r.Writes():
		dst = binary.BigEndian.AppendUint16(dst, r.Address)
		dst = binary.BigEndian.AppendUint16(dst, r.Quantity)
	default:
		dst = append(append(dst, byte(len(data))), data...)
	}
	return seal(dst, start)
}

// AppendException appends the frame of a refusal to dst.
func (r Request) AppendException(dst []byte, e Exception) []byte {
	start := len(dst)
	return seal(append(dst, r.Unit, r.Function|exceptionBit, e.Code), start)
}

// ReplyLength returns how long the frame of a good reply to the request is,
// check included. A refusal is always 5 bytes.
func (r Request) ReplyLength() int {
	if r.Writes() {
		return fixedRequest
	}
	return 5 + r.size()
}

// replyLength returns how long the reply that begins with head will be: zero
// while too few bytes have come to tell. The error says why it can not be the
// reply to this request, however it goes on.
func (r Request) replyLength(head []byte) (int, error) {
	if len(head) < 2 {
		return 0, nil
	}
	if head[0] != r.Unit {
		return 0, ErrUnit
	}
	if head[1] == r.Function|exceptionBit {
		return exceptionLength, nil
	}
	if head[1] != r.Function {
		return 0, ErrFunction
	}
	if !r.Writes() && len(head) > 2 && int(head[2]) != r.size() {
		return 0, ErrLength
	}
	return r.ReplyLength(), nil
}

// ParseReply reads a whole frame as the reply to the request and returns the
// bits or registers read, as on the wire; they alias the frame. The error is an
// Exception when the device refused.
func (r Request) ParseReply(frame []byte) ([]byte, error) {
	if len(frame) < exceptionLength {
		return nil, ErrLength
	}
	if !Intact(frame) {
		return nil, ErrCRC
	}
	n, err := r.replyLength(frame)
	if err != nil {
		return nil, err
	}
	if len(frame) != n {
		return nil, ErrLength
	}
	if frame[1] == r.Function|exceptionBit {
		return nil, Exception{frame[2]}
	}
	if r.Writes() {
		return nil, r.checkEcho(frame)
	}
	return frame[3 : n-2], nil
}

// checkEcho tests that the reply to a write names what was written.
func (r Request) checkEcho(frame []byte) error {
	second := r.Quantity
	if r.single() {
		second = binary.BigEndian.Uint16(r.Data)
	}
	if binary.BigEndian.Uint16(frame[2:]) != r.Address || binary.BigEndian.Uint16(frame[4:]) != second {
		return ErrEcho
	}
	return nil
}

// Registers splits what was read into registers.
func Registers(data []byte) []uint16 {
	regs := make([]uint16, len(data)/2)
	for i := range regs {
		regs[i] = binary.BigEndian.Uint16(data[2*i:])
	}
	return regs
}

// AppendRegisters appends registers to dst as they go on the wire.
func AppendRegisters(dst []byte, regs ...uint16) []byte {
	for _, v := range regs {
		dst = binary.BigEndian.AppendUint16(dst, v)
	}
	return dst
}

// Bits unpacks the first n bits of what was read.
func Bits(data []byte, n int) []bool {
	bits := make([]bool, n)
	for i := range bits {
		bits[i] = data[i/8]>>(i%8)&1 != 0
	}
	return bits
}

// AppendBits appends bits to dst as they go on the wire.
func AppendBits(dst []byte, bits ...bool) []byte {
	for i, on := range bits {
		if i%8 == 0 {
			dst = append(dst, 0)
		}
		if on {
			dst[len(dst)-1] |= 1 << (i % 8)
		}
	}
	return dst
}

// AppendCoil appends the value of one coil as WriteCoil carries it.
func AppendCoil(dst []byte, on bool) []byte {
	if on {
		return append(dst, 0xFF, 0)
	}
	return append(dst, 0, 0)
}

package modbus

import "time"

// The bits of a character: a start bit, eight of data, and the parity and stop bits that
// the line has. The standard has always 11, with two stop bits where there is no parity
// (serial line specification V1.02, 2.5.1); lines with fewer are common all the same.
const (
	CharacterBits      = 11
	ShortCharacterBits = 10 // no parity and one stop bit
)

// CharacterBitsOf returns how many bits a character has on a line.
func CharacterBitsOf(parity bool, stopBits int) int {
	if !parity && stopBits == 1 {
		return ShortCharacterBits
	}
	if parity && stopBits == 2 {
		return CharacterBits + 1
	}
	return CharacterBits
}

// Timing is a line's speed.
type Timing struct {
	Character time.Duration // on the wire
	Silence   time.Duration // between two frames
}

// TimingOf returns the timing at a speed in bits per second. The silence is 3.5 of the
// standard's characters, whatever those of the line are, so that no device is asked too
// early; above 19200 it is fixed at 1.75 ms (V1.02, 2.5.1.1).
func TimingOf(baud, bits int) Timing {
	t := Timing{Character: time.Duration(bits) * time.Second / time.Duration(baud), Silence: 1750 * time.Microsecond}
	if baud <= 19200 {
		t.Silence = 77 * time.Second / time.Duration(2*baud)
	}
	return t
}

// Of returns how long n characters take on the wire.
func (t Timing) Of(n int) time.Duration { return time.Duration(n) * t.Character }

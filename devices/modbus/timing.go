package modbus

import "time"

// timing is a line's speed. A character is 11 bits (serial line specification
// V1.02, 2.5.1.1).
type timing struct {
	character time.Duration
	silence   time.Duration // 3.5 characters between frames
}

// timingAt returns the timing at a speed in bits per second. Above 19200 the
// silence is fixed at 1.75 ms (V1.02, 2.5.1.1).
func timingAt(baud int) timing {
	t := timing{character: 11 * time.Second / time.Duration(baud), silence: 1750 * time.Microsecond}
	if baud <= 19200 {
		t.silence = 77 * time.Second / time.Duration(2*baud)
	}
	return t
}

// of returns how long n characters take on the wire.
func (t timing) of(n int) time.Duration { return time.Duration(n) * t.character }

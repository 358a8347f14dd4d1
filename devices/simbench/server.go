package simbench

import (
	"context"
	"time"

	"meltwarden/devices/modbus"
)

// Port is the bench's end of the line: a serial port's ways, over whatever
// carries the bytes.
type Port interface {
	// Read returns what has come, or 0 and no error after the read time-out.
	Read(p []byte) (int, error)
	Write(p []byte) (int, error)
	SetReadTimeout(time.Duration) error
}

const (
	// LateBy is how late LateReplies are, in bench time.
	LateBy = time.Second
	// thinking is how long a unit takes to answer, in bench time (estimate).
	thinking = 2 * time.Millisecond
	// silence ends a frame whose end nothing else tells, in real time: longer
	// than the 3.5 characters of the standard, because a computer may be held up.
	silence = 50 * time.Millisecond
	// bitsPerByte on the line, with start, parity and stop bits: Modbus over
	// serial line V1.02, 2.5.1.
	bitsPerByte = 11
)

// Serve answers requests on the port until the context ends, which is no error,
// or the port fails.
func (b *Bench) Serve(ctx context.Context, port Port) error {
	if err := port.SetReadTimeout(silence); err != nil {
		return err
	}
	var held []byte
	chunk := make([]byte, modbus.MaxFrame)
	for ctx.Err() == nil {
		n, err := port.Read(chunk)
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		if n == 0 { // whatever it was, it will not become a frame
			held = held[:0]
			continue
		}
		held = append(held, chunk[:n]...)
		if held, err = b.serveFrames(ctx, port, held); err != nil {
			return err
		}
	}
	return nil
}

// serveFrames answers the whole frames in held and returns the rest.
func (b *Bench) serveFrames(ctx context.Context, port Port, held []byte) ([]byte, error) {
	for {
		length := modbus.RequestLength(held)
		if length < 0 {
			length = len(held)
		}
		if length == 0 || len(held) < length {
			return held, nil
		}
		frame := held[:length]
		if !modbus.Intact(frame) {
			held = held[1:] // out of step: the next frame begins further on
			continue
		}
		late, err := b.serveFrame(ctx, port, frame)
		if err != nil {
			return nil, err
		}
		held = held[length:]
		if late {
			return nil, discard(port)
		}
	}
}

// discard drops what came while a unit was too busy to listen.
func discard(port Port) error {
	if err := port.SetReadTimeout(time.Millisecond); err != nil {
		return err
	}
	var dropped [modbus.MaxFrame]byte
	for n := 1; n > 0; {
		var err error
		if n, err = port.Read(dropped[:]); err != nil {
			return err
		}
	}
	return port.SetReadTimeout(silence)
}

// serveFrame answers one frame, and reports whether that took unduly long.
func (b *Bench) serveFrame(ctx context.Context, port Port, frame []byte) (late bool, err error) {
	if err := b.echo(port, frame); err != nil {
		return false, err
	}
	if !b.clk.Sleep(ctx, b.onWire(len(frame))+thinking) {
		return false, nil
	}
	var reply []byte
	b.do(func() {
		reply = b.answer(frame)
		if len(reply) > 0 {
			late = b.faults.onLine(LateReplies, frame[0])
			reply = b.spoil(frame[0], reply)
		}
	})
	if len(reply) == 0 {
		return false, nil
	}
	delay := b.onWire(len(reply))
	if late {
		delay += LateBy
	}
	if !b.clk.Sleep(ctx, delay) {
		return late, nil
	}
	_, err = port.Write(reply)
	return late, err
}

// echo hands a request back where the line does that.
func (b *Bench) echo(port Port, frame []byte) error {
	var echoes bool
	b.do(func() { echoes = b.faults.onLine(EchoedRequests, frame[0]) })
	if !echoes {
		return nil
	}
	_, err := port.Write(frame)
	return err
}

// spoil does to a reply what the faults of the line do.
func (b *Bench) spoil(unit uint8, reply []byte) []byte {
	has := func(f Fault) bool { return b.faults.onLine(f, unit) }
	if has(LostReplies) {
		return nil
	}
	if has(AlienReplies) {
		reply = readdressed(reply, unit%UnitContacts+1)
	}
	if has(GarbageReplies) {
		for i := range reply {
			reply[i] = byte(b.line.Uint32())
		}
	}
	if has(CorruptReplies) {
		bit := b.line.IntN(8 * len(reply))
		reply[bit/8] ^= 1 << (bit % 8)
	}
	if has(TruncatedReplies) {
		reply = reply[:1+b.line.IntN(len(reply)-1)]
	}
	if has(DuplicateReplies) {
		reply = append(reply, reply...)
	}
	return reply
}

// readdressed is a frame as another unit would have sent it.
func readdressed(frame []byte, unit uint8) []byte {
	frame[0] = unit
	body := frame[:len(frame)-2]
	check := modbus.CRC(body)
	return append(body, byte(check), byte(check>>8))
}

// onWire is how long bytes take on the line, in bench time.
func (b *Bench) onWire(bytes int) time.Duration {
	if b.config.Baud <= 0 {
		return 0
	}
	return time.Duration(bytes) * bitsPerByte * time.Second / time.Duration(b.config.Baud)
}

package modbus

import (
	"io"
	"time"
)

// writer writes to a port on a goroutine of its own, because a write can block
// for ever. An abandoned write is never followed by another on the same port.
type writer struct {
	port  Port
	queue chan []byte
	wrote chan written
	late  *time.Timer
	gone  chan struct{} // closed when the goroutine has ended
}

type written struct {
	n   int
	err error
}

func newWriter(port Port) *writer {
	w := &writer{
		port: port, queue: make(chan []byte), wrote: make(chan written, 1),
		late: time.NewTimer(time.Hour), gone: make(chan struct{}),
	}
	w.late.Stop()
	go w.run()
	return w
}

func (w *writer) run() {
	defer close(w.gone)
	for b := range w.queue {
		n, err := w.port.Write(b)
		w.wrote <- written{n, err}
	}
}

// write writes all of b within a span of wall time.
func (w *writer) write(b []byte, within time.Duration) error {
	w.late.Reset(within)
	defer w.late.Stop()
	for len(b) > 0 {
		w.queue <- b
		select {
		case done := <-w.wrote:
			if done.err != nil {
				return done.err
			}
			if done.n == 0 {
				return io.ErrShortWrite
			}
			b = b[done.n:]
		case <-w.late.C:
			return errWriteBlocked
		}
	}
	return nil
}

// close ends the goroutine and closes the port, neither of which it waits for.
func (w *writer) close() <-chan struct{} {
	released := make(chan struct{})
	close(w.queue)
	go func() {
		defer close(released)
		// A failed close leaves nothing to do: the port is given up either way.
		_ = w.port.Close()
		<-w.gone
	}()
	return released
}

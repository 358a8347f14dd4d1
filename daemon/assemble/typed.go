package assemble

import (
	"bytes"
	"context"
	"io"
	"strings"
	"sync"
)

// Typed is what a person types, shared by all who ask, one after another: none of them takes
// what is not his. One goroutine reads, since a read that has begun can not be taken back.
type Typed struct {
	in     io.Reader
	once   sync.Once
	chunks chan []byte // closed at the end of the input

	mu   sync.Mutex
	rest []byte // that nobody has taken yet
}

// NewTyped returns what is typed into in. Nothing is read before somebody asks for it.
func NewTyped(in io.Reader) *Typed { return &Typed{in: in, chunks: make(chan []byte)} }

// pump reads for as long as there is anything; its last read may outlast all who ask.
func (t *Typed) pump() {
	defer close(t.chunks)
	for {
		chunk := make([]byte, 4096)
		n, err := t.in.Read(chunk)
		if n > 0 {
			t.chunks <- chunk[:n]
		}
		if err != nil {
			return
		}
	}
}

// more waits for what is typed next. Once the context has ended it leaves it to others.
func (t *Typed) more(ctx context.Context) bool {
	t.once.Do(func() { go t.pump() })
	select {
	case chunk, open := <-t.chunks:
		t.mu.Lock()
		defer t.mu.Unlock()
		t.rest = append(t.rest, chunk...)
		return open && ctx.Err() == nil
	case <-ctx.Done():
		return false
	}
}

// take returns up to n bytes of what was typed.
func (t *Typed) take(n int) []byte {
	t.mu.Lock()
	defer t.mu.Unlock()
	n = min(n, len(t.rest))
	taken := t.rest[:n]
	t.rest = t.rest[n:]
	return taken
}

// giveBack puts back what was taken too much.
func (t *Typed) giveBack(typed []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.rest = append(bytes.Clone(typed), t.rest...)
}

// line returns the next whole line, if there is one; at the end, what is left.
func (t *Typed) line(end bool) (string, bool) {
	t.mu.Lock()
	n := bytes.IndexByte(t.rest, '\n') + 1
	if n == 0 && end {
		n = len(t.rest)
	}
	t.mu.Unlock()
	return strings.TrimSpace(string(t.take(n))), n > 0
}

// Line waits for the next line.
func (t *Typed) Line(ctx context.Context) (string, error) {
	for more := true; ; more = t.more(ctx) {
		if ctx.Err() != nil {
			return "", ErrStopped
		}
		if line, is := t.line(!more); is {
			return line, nil
		}
		if !more {
			return "", ErrStopped
		}
	}
}

// Reader returns what is typed from now on, until the context ends; then it takes no more.
func (t *Typed) Reader(ctx context.Context) io.Reader { return &typedReader{t, ctx} }

type typedReader struct {
	*Typed
	ctx context.Context
}

// Read implements io.Reader.
func (r *typedReader) Read(p []byte) (int, error) {
	for more := true; ; more = r.more(r.ctx) {
		if r.ctx.Err() != nil {
			return 0, io.EOF
		}
		if n := copy(p, r.take(len(p))); n > 0 {
			return n, nil
		}
		if !more {
			return 0, io.EOF
		}
	}
}

package assemble

import (
	"bufio"
	"context"
	"io"
	"strings"
	"sync"
)

// Typed is what a person types, line by line, shared by all who ask: none of them takes a line
// that is not his. Nothing is read before the first line is asked for, so that forms can
// have the keys until then.
type Typed struct {
	in    io.Reader
	once  sync.Once
	lines chan string
}

// NewTyped returns the lines of in.
func NewTyped(in io.Reader) *Typed { return &Typed{in: in, lines: make(chan string)} }

// begin reads lines for as long as there are any; the last read may outlast all who ask.
func (t *Typed) begin() {
	go func() {
		defer close(t.lines)
		for scanner := bufio.NewScanner(t.in); scanner.Scan(); {
			t.lines <- scanner.Text()
		}
	}()
}

// Line waits for the next line.
func (t *Typed) Line(ctx context.Context) (string, error) {
	t.once.Do(t.begin)
	select {
	case line, open := <-t.lines:
		if open && ctx.Err() == nil {
			return strings.TrimSpace(line), nil
		}
	case <-ctx.Done():
	}
	return "", ErrStopped
}

// Reader returns the lines from now on as bytes, until the context ends; then it takes no
// more.
func (t *Typed) Reader(ctx context.Context) io.Reader { return &typedReader{t, ctx, nil} }

type typedReader struct {
	*Typed
	ctx  context.Context
	rest []byte
}

// Read implements io.Reader.
func (r *typedReader) Read(p []byte) (int, error) {
	if len(r.rest) == 0 {
		line, err := r.Line(r.ctx)
		if err != nil {
			return 0, io.EOF
		}
		r.rest = []byte(line + "\n")
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

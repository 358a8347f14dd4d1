package lines

import (
	"bufio"
	"context"
	"io"
)

// Typed hands on what is typed, line by line, until its end or that of the context: then the
// channel is closed. So many lines can be typed before they are asked for.
func Typed(ctx context.Context, in io.Reader, ahead int) <-chan string {
	lines := make(chan string, ahead)
	go func() {
		defer close(lines)
		for scanner := bufio.NewScanner(in); scanner.Scan(); {
			select {
			case lines <- scanner.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

package daemon

import (
	"errors"
	"sync/atomic"

	"meltwarden/control"
)

// queued is how many marks may wait for the next cycle; more than people can
// make in one.
const queued = 32

// errFull is what a person hears who marks faster than cycles run.
var errFull = errors.New("too many marks at once; try again")

// queue holds what people ask for until the next cycle takes it. "All off" has a
// place of its own: it is never refused because others were busy.
type queue struct {
	marks  chan control.Command
	allOff atomic.Bool
}

func newQueue() *queue { return &queue{marks: make(chan control.Command, queued)} }

// put adds a command without waiting.
func (q *queue) put(c control.Command) error {
	if c.Kind == control.AllOff {
		q.allOff.Store(true)
		return nil
	}
	select {
	case q.marks <- c:
		return nil
	default:
		return errFull
	}
}

// drain appends what has come, without waiting.
func (q *queue) drain(list []control.Command) []control.Command {
	if q.allOff.Swap(false) {
		list = append(list, control.Command{Kind: control.AllOff})
	}
	for {
		select {
		case c := <-q.marks:
			list = append(list, c)
		default:
			return list
		}
	}
}

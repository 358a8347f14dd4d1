package daemon

import (
	"errors"
	"sync/atomic"

	"meltwarden/control"
	"meltwarden/daemon/history"
)

// queued is how many marks may wait for the next cycle; more than people can
// make in one.
const queued = 32

// errFull is what a person hears who marks faster than cycles run.
var errFull = errors.New("too many marks at once; try again")

// queue holds what people say until the next cycle takes it. "All off" has a
// place of its own: it is never refused because others were busy.
type queue struct {
	marks  chan history.Mark
	allOff atomic.Pointer[history.Mark]
}

func newQueue() *queue { return &queue{marks: make(chan history.Mark, queued)} }

// put adds a mark without waiting.
func (q *queue) put(m history.Mark) error {
	if m.Kind == control.AllOff {
		q.allOff.CompareAndSwap(nil, &m) // of two, who said it first
		return nil
	}
	select {
	case q.marks <- m:
		return nil
	default:
		return errFull
	}
}

// drain appends what has come, without waiting.
func (q *queue) drain(list []history.Mark) []history.Mark {
	if m := q.allOff.Swap(nil); m != nil {
		list = append(list, *m)
	}
	for {
		select {
		case m := <-q.marks:
			list = append(list, m)
		default:
			return list
		}
	}
}

// commands appends what is for control.
func commands(list []control.Command, marks []history.Mark) []control.Command {
	for _, m := range marks {
		if m.Kind != 0 {
			list = append(list, m.Command)
		}
	}
	return list
}

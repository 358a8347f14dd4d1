// Package frames carries the result of each cycle to those who show, store or
// announce it. The cycle publishes and goes on; nobody who reads can hold it up.
package frames

import (
	"sync"
	"time"

	"meltwarden/control"
	"meltwarden/devices"
)

// LiveFor is how old a frame may be and still stand for the bench as it is now.
// A cycle that has been silent for longer counts as stopped.
const LiveFor = 2 * time.Second

// Frame is the result of one cycle with the wall time as a label. It is not
// changed after it was published.
type Frame struct {
	control.Frame
	// At is when the cycle finished, as time.Now gave it: its monotonic part
	// keeps Live right when the wall clock is set.
	At time.Time
	// Lids are the contacts of the lids, in the order of the settings'. Nothing is decided by
	// them.
	Lids []devices.Lid
}

// Live reports whether the frame still stands for the bench at the time now.
// A nil frame never does.
func (f *Frame) Live(now time.Time) bool {
	return f != nil && now.Sub(f.At) <= LiveFor
}

// Hub hands the newest frame to every subscriber. The zero value is ready for
// use, by any number of goroutines.
type Hub struct {
	mu          sync.Mutex
	latest      *Frame
	subscribers map[chan *Frame]struct{}
}

// Publish makes f the latest frame. It never waits for a reader: a frame that
// a slow one has not taken yet is replaced.
func (h *Hub) Publish(f *Frame) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.latest = f
	for ch := range h.subscribers {
		replace(ch, f)
	}
}

// replace leaves f as the only frame in ch. The caller is the only sender, so
// there is room once the old frame is out.
func replace(ch chan *Frame, f *Frame) {
	select {
	case <-ch:
	default:
	}
	ch <- f
}

// Latest returns the frame published last, or nil before the first.
func (h *Hub) Latest() *Frame {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.latest
}

// Subscribe returns a channel that holds the newest frame not yet taken from
// it, starting with the latest if there is one. cancel closes the channel; it
// may be called more than once.
func (h *Hub) Subscribe() (ch <-chan *Frame, cancel func()) {
	own := make(chan *Frame, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.latest != nil {
		own <- h.latest
	}
	if h.subscribers == nil {
		h.subscribers = make(map[chan *Frame]struct{})
	}
	h.subscribers[own] = struct{}{}
	return own, sync.OnceFunc(func() { h.drop(own) })
}

func (h *Hub) drop(ch chan *Frame) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.subscribers, ch)
	close(ch)
}

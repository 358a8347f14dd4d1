package devices

import "time"

const (
	// unconfirmedFor is how long "off" may go without a device's word that it has it
	// (E: several answers of a healthy one).
	unconfirmedFor = 500 * time.Millisecond
)

// HushFor is how long a line says nothing at all where a device may still heat by what it was
// told last: as long as the silence after which every device is known to let go.
const HushFor = 2 * time.Second

// hush keeps a line silent, once, when a device does not confirm that its heaters
// are off. Silence is what a device's own time-out was proven by: one that takes any
// traffic for life would otherwise go on heating while it is told zero again and
// again, and answers nothing that counts.
type hush struct {
	offFrom time.Duration // since when all heaters and contactors are to be off
	off     bool
	done    bool          // it has been silent since then
	until   time.Duration // when the silence ends
}

// wants takes in what the outputs are now.
func (h *hush) wants(allOff bool, now time.Duration) {
	switch {
	case !allOff:
		*h = hush{}
	case !h.off:
		*h = hush{off: true, offFrom: now}
	}
}

// now reports whether nothing may be said. confirmed tells whether every device has
// confirmed "off" since a time.
func (h *hush) now(now time.Duration, confirmed func(since time.Duration) bool) bool {
	if now < h.until {
		return true
	}
	if !h.off || h.done || now-h.offFrom < unconfirmedFor || confirmed(h.offFrom) {
		return false
	}
	h.done, h.until = true, now+HushFor
	return true
}

package demo

import (
	"meltwarden/control"
	"meltwarden/daemon/frames"
)

// hand is the invented maker's, who does what a person marks on the page of the demo: lifts
// a pot, puts it back and presses the bench's button.
type hand struct {
	demo *Demo
	away []bool // by pot
}

func newHand(d *Demo) *hand { return &hand{d, make([]bool, len(d.Settings.Pots))} }

// follow does what is new in a frame.
func (h *hand) follow(f *frames.Frame) {
	for i := range f.Pots {
		p := &f.Pots[i]
		lifted := p.State == control.Lifted
		switch {
		case lifted && p.Wait == control.WaitReturn && !p.Noticed && !h.away[i]:
			h.away[i] = true
			h.demo.Bench.Lift(i)
		case lifted && p.Wait == control.WaitEnable && h.away[i]:
			h.away[i] = false
			h.demo.Bench.Return(i)
			h.demo.Bench.PressEnable()
		}
	}
}

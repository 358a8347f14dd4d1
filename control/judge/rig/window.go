package rig

import "math"

// window turns duties into whole cycles of on and off. The duty at its beginning
// counts, and what whole cycles can not give is carried over. A duty of zero is
// off at once.
type window struct {
	cycles int // of the window; zero: there is none
	at, on int
	owed   float64 // in cycles
}

func newWindow(o Options) window { return window{cycles: int(o.Window / o.Period)} }

func (w *window) tick(duty float64) float64 {
	if w.cycles == 0 {
		return duty
	}
	if w.at == 0 {
		w.owed += duty * float64(w.cycles)
		w.on = int(math.Floor(w.owed + 1e-9))
		w.owed -= float64(w.on)
	}
	on := w.at < w.on && duty > 0
	w.at = (w.at + 1) % w.cycles
	if on {
		return 1
	}
	return 0
}

package circuit

import "time"

// Output says what a heater draws while its device is told a duty. Runs are kept with
// its numbers; what was kept before there were any is Smooth.
type Output uint8

const (
	// Smooth draws that fraction of its power at every instant.
	Smooth Output = iota
	// Hidden goes on and off in windows of its device's own that nobody here sees:
	// told anything above zero, it may draw all of its power at any instant.
	Hidden
	// Switched draws all of its power or none: Windows says which.
	Switched
)

// Heater is a load on the circuit.
type Heater struct {
	RatedW float64 // rated power, watts
	Output Output
	// Window is about how long one on and one off of a Switched heater take together
	// while a pot is held.
	Window time.Duration
	// LeastOn and LeastOff are for how long it stays on, and off, at the least, but for an
	// off that the loop, the guard or the circuit wants. Zero is a twentieth of the window.
	LeastOn, LeastOff time.Duration
}

// whole reports whether the heater may draw all of its power while it gets less in
// the mean.
func (h *Heater) whole() bool { return h.Output != Smooth }

// windowS is the heater's window in seconds.
func (h *Heater) windowS() float64 {
	if h.Output == Hidden {
		return hiddenWindowS
	}
	return h.Window.Seconds()
}

// leastS is how long the heater stays as it is at the least, in seconds.
func (h *Heater) leastS(on bool) float64 {
	own := h.LeastOff
	if on {
		own = h.LeastOn
	}
	if own > 0 {
		return own.Seconds()
	}
	return least * h.windowS()
}

// lingersS is how long the heater may go on drawing power once it was told zero, in
// seconds. That of a relay is over before the next tick.
func (h *Heater) lingersS() float64 {
	if h.Output == Hidden {
		return hiddenLingersS
	}
	return 0
}

const (
	// hiddenWindowS is the window in which a Hidden heater takes its turns, where not
	// all fit (E: ten times the one or two seconds usual for solid-state relays, so
	// that its device's own windows blur little).
	hiddenWindowS = 20.0
	// hiddenLingersS is the rest of a window of its device's own (E).
	hiddenLingersS = 2.0
)

// Package reading has the words for what a bench reports: a temperature or a
// contact, how old it is and what is wrong with it. Unknown is a state of its
// own here: a value that never came, or that came with a fault, can not be
// taken for a measured one, because every use goes through Usable.
package reading

import (
	"math"
	"time"
)

// Fault says why a value must not be trusted. The zero value is NotWired, so
// that a reading nobody filled in is never taken for a good one.
type Fault uint8

// The faults a device or its line can report.
const (
	// NotWired means that the bench has no such channel.
	NotWired Fault = iota
	// None means a good value.
	None
	// Missing means that the channel exists and nothing has come from it yet.
	Missing
	// Open is a broken or unplugged thermocouple.
	Open
	// Shorted is a thermocouple shorted to ground or to its supply.
	Shorted
	// Sentinel is a value with which the device says "no measurement".
	Sentinel
	// Refused means that the device answered with an exception.
	Refused
	// NotANumber is a NaN or an infinity on the wire.
	NotANumber
	// ColdJunction means that the reference-junction temperature is unusable.
	ColdJunction
	// OutsideTable is a voltage outside the thermocouple's reference table.
	OutsideTable
	// DeviceFault is another fault that the device reports of this value.
	DeviceFault
)

var faultNames = [...]string{
	"not wired", "none", "missing", "open", "shorted", "no measurement", "refused",
	"not a number", "cold junction unknown", "outside the thermocouple's table",
	"device fault",
}

// String returns the fault in words.
func (f Fault) String() string {
	if int(f) < len(faultNames) {
		return faultNames[f]
	}
	return "unknown fault"
}

// Temperature is one thermocouple value. Age is counted from when the device was
// asked, in monotonic time, to the cycle that uses the value.
type Temperature struct {
	C     float64       // degrees Celsius; meaningful only when Fault is None
	Age   time.Duration // zero or more
	Fault Fault
}

// Usable reports whether the value may be used in a decision: no fault, a
// finite number, and not older than maxAge.
func (t Temperature) Usable(maxAge time.Duration) bool {
	return t.Fault == None && !math.IsNaN(t.C) && !math.IsInf(t.C, 0) && t.Age >= 0 && t.Age <= maxAge
}

// Wired reports whether the bench has this channel at all.
func (t Temperature) Wired() bool { return t.Fault != NotWired }

// Contact is one input that is closed or open, after the bench file's
// inversion: an interlock is healthy when Closed, a button pressed when Closed.
type Contact struct {
	Closed bool // meaningful only when Fault is None
	Age    time.Duration
	Fault  Fault
}

// Known reports whether the contact's state may be used in a decision.
func (c Contact) Known(maxAge time.Duration) bool {
	return c.Fault == None && c.Age >= 0 && c.Age <= maxAge
}

// Wired reports whether the bench has this input at all.
func (c Contact) Wired() bool { return c.Fault != NotWired }

// Edge sees a contact being pressed: known open, then known closed. A contact
// that is held down, or that nobody could see meanwhile, never counts.
type Edge struct{ armed bool }

// Rising takes in one cycle's contact and reports whether it was just pressed.
func (e *Edge) Rising(c Contact, maxAge time.Duration) bool {
	if !c.Known(maxAge) {
		e.armed = false
		return false
	}
	rose := e.armed && c.Closed
	e.armed = !c.Closed
	return rose
}

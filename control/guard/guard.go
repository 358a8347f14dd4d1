// Package guard has the last word on heat. It sees the same readings as the
// loops, knows nothing of them, and can only lower an output.
package guard

// Code names one kind of finding.
type Code uint8

// The findings. Their texts and actions are in the table.
const (
	MissedCycle Code = iota + 1
	EStopOpen
	CutOutOpen
	FanOff
	MeltOverTemperature
	PlateOverTemperature
	MeltHigh
	MeltUnusable
	PlateUnusable
	MeltImplausible
	PlateImplausible
	MeltFrozen
	PlateFrozen
	HeaterUnproven
)

// TouchC is the temperature below which the bench is no longer called hot, in
// degrees Celsius (common practice, no source).
const TouchC = 50.0

// Severity orders findings.
type Severity uint8

// The severities, least first.
const (
	Note Severity = iota
	Warning
	Trip
)

// Condition is one finding in one cycle.
type Condition struct {
	Code Code
	// Pot is an index into the pots, or -1 for the bench.
	Pot      int
	Severity Severity
	// Active: the cause is there now. Latched: it tripped and waits for a reset.
	Active, Latched bool
}

// Limits are the temperatures and interlocks the guard enforces, for the whole
// bench. Temperatures are in degrees Celsius.
type Limits struct {
	// MeltWarnC is where a melt that is too warm is called out.
	MeltWarnC float64
	// MeltTripC and PlateTripC cut all heat and latch.
	MeltTripC, PlateTripC float64
	// EStop, CutOut and Fan say which interlocks the bench has wired; each of
	// them must be closed for heat to flow.
	EStop, CutOut, Fan bool
	// HeatersProven is false until it is on record that the heaters switch off
	// by themselves when the line goes silent. While it is false no heat flows.
	HeatersProven bool
}

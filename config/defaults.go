package config

import "time"

// Every figure that stands in for something a file leaves out, or that bounds
// what a file may say, is here with its grade of evidence:
//
//	P published: the source is named
//	C common practice, no source
//	M from memory
//	E our estimate
//
// None of C, M and E is a fact about a maker's own bench. What a file leaves
// out can be set there; only the built-in ceilings can not.

// Period is the time between two cycles of the bench. E: old readings hurt a
// fast pot more than noise does.
const Period = 200 * time.Millisecond

// Left out of a recipe.
const (
	defaultBandC      = 2.0               // C: a shot made 2 or 3 °C off looks the same
	defaultDwell      = 90 * time.Second  // C
	defaultSteadyFor  = 20 * time.Second  // E
	defaultStirWithin = 120 * time.Second // E: a skin forms on a still surface in about a minute

	// Of CIEDE2000. C: 1 to 2 is seen on a close look, 2 to 10 at a glance; E: what is to be
	// told apart in the water should be well inside the latter.
	defaultLeastContrast = 5.0
)

// Left out of a bench file.
const (
	// P (NEC 210.19(A) and 210.20(A)): a load that is on for three hours or more
	// counts 125 %. The rule is North American; elsewhere the local rule holds.
	defaultContinuousShare = 0.8

	// C: a solid-state relay that switches at zero crossings can have a second or two.
	// Contacts wear with every switching: a relay that does is off for half of its window at
	// the least, because a loop that asks for zero has it at once whatever the window is.
	defaultWindow      = 2 * time.Second
	defaultRelayWindow = 20 * time.Second // C; NumbersOfWear prints how long a relay lasts with it, and what that costs

	defaultMeltTripC   = 190.0 // E: past where yellowing begins (C: 182 °C), short of any flash point
	defaultPlateLimitC = 230.0 // E: brings a pot to heat without the plate storing too much
	defaultPlateTripC  = 250.0 // E: above any honest overshoot of the limit

	// P (Modbus over serial line V1.02, 2.5.1.1 and 2.5.2): 19200 baud and even
	// parity by default, one stop bit with parity and two without.
	defaultBaud = 19200

	defaultTimeout = 100 * time.Millisecond // E: several times a good answer's, half a cycle
	defaultMaxGap  = 0                      // C: many devices refuse addresses they do not have

	defaultScale = 1.0

	// E: a controller's memory commonly stands 100 000 writes (C, no source), which at one
	// every 10 s all evening long would be some 90 evenings; what is written is much less.
	defaultWriteEvery = 10 * time.Second

	DefaultListen   = "127.0.0.1:8420"
	DefaultData     = "meltwarden-data" // where history and log lie, from where the program is started
	defaultLogLevel = "info"
)

// The built-in ceilings: no bench file, recipe, variable or flag gets past them.
const (
	// P for the figure below it (chemical index: flash point 206 °C of one
	// classic plasticiser), E for keeping 6 °C away from it: a class 2
	// thermocouple may be 2.5 °C off (IEC 60584-1).
	ceilingMeltTripC = 200.0
	// E: a plate at 275 °C carries tens of degrees of overshoot into a pot.
	ceilingPlateLimitC = 260.0
	ceilingPlateTripC  = 275.0
)

// What joining a bench and a recipe keeps between temperatures, in °C.
const (
	meltWarnAboveC    = 5.0  // E: above the hottest target a melt is called too warm
	warnBelowTripC    = 3.0  // C: about 1 % of range, so that a warning comes before the trip
	plateAboveTargetC = 10.0 // E: a plate must be that much warmer to heat a melt at all
	tripAbovePlateC   = 10.0 // E: room for the plate's own overshoot
)

// What a typed value must lie between to be believed: a typing mistake, a
// forgotten digit or a wrong unit falls outside.
const (
	minSetpointC, maxSetpointC    = 140.0, 190.0 // C: injection 160 to 177 °C, wider by 13 and more
	minCureC, maxCureC            = 150.0, 190.0 // C: cure 163 to 177 °C, likewise
	minMeltTripC                  = 160.0        // E: nothing cures below it
	minPlateLimitC, minPlateTripC = 160.0, 170.0 // E
	minBandC, maxBandC            = 0.5, 6.0     // E: less is noise, more than 10 °F shows in the bait
	maxCorrectionC                = 10.0         // E: a probe further off is broken or of the wrong type
	minDwell, maxDwell            = 10 * time.Second, 30 * time.Minute
	minSteadyFor, maxSteadyFor    = 5 * time.Second, 10 * time.Minute
	minStirWithin, maxStirWithin  = 15 * time.Second, 30 * time.Minute
	minHeldLong, maxHeldLong      = 5 * time.Minute, 12 * time.Hour               // E
	minDrawWithin, maxDrawWithin  = 2 * time.Second, 10 * time.Minute             // E
	minMouldC, maxMouldC          = 5.0, 120.0                                    // E: a mould, from a cold shop to one that freezes no seam
	minHeldAtMost, maxHeldAtMost  = time.Minute, 12 * time.Hour                   // E
	minFlakeMM, maxFlakeMM        = 0.02, 10.0                                    // E
	minContrast, maxContrast      = 1.0, 50.0                                     // C: below 1 hardly seen
	minOpacity, maxOpacity        = 0.01, 1.0                                     // E: what hides less is no colour
	minHeaterW, maxHeaterW        = 20.0, 4000.0                                  // E
	minRestC, maxRestC            = 1.0, 15.0                                     // E: where the sensor has come off, a room below it would be heated
	minWriteEvery, maxWriteEvery  = 5 * time.Second, 2 * time.Minute              // E: a melt follows its plate in minutes
	minHandC, maxHandC            = 0.0, 260.0                                    // E: a melt, from the room to smoke
	minHandWithin, maxHandWithin  = time.Minute, 10 * time.Minute                 // E
	mostPowerShare                = 2.5                                           // E: of the default for the volume
	minWindow, maxWindow          = time.Second, time.Minute                      // E: a few cycles at least; a plate follows more than a minute
	minLeast, maxLeast            = 200 * time.Millisecond, 30 * time.Second      // E: a cycle at least; half of the longest window
	minRelayLife, maxRelayLife    = int64(1000), int64(100_000_000)               // E: a small one at full load, and a good one at none
	minVoltageV, maxVoltageV      = 12.0, 250.0                                   // C: one phase, or a safe low voltage
	minBreakerA, maxBreakerA      = 1.0, 63.0                                     // C
	minShare, maxShare            = 0.1, 1.0                                      // E
	minDoseKJ, maxDoseKJ          = 100.0, 200.0                                  // E: the published ones (control/dose), wider by 15 % and more
	minVolumeML, maxVolumeML      = 20.0, 5000.0                                  // E
	minTimeout, maxTimeout        = 20 * time.Millisecond, 800 * time.Millisecond // a reading is stale after a second
	minUnit, maxUnit              = 1, 247                                        // P (Modbus over serial line V1.02, 2.2)
	maxRegisters                  = 125                                           // P (Modbus application protocol V1.1b3, 6.3): most in one read
	minKeepCycles, maxKeepCycles  = 24 * time.Hour, 36500 * 24 * time.Hour        // E: what was shot yesterday is still judged
	minTokenLength, maxNameLength = 16, 40                                        // E
)

package guard

import (
	"math"
	"time"

	"meltwarden/control/reading"
)

// Grades as in the table.
const (
	realDuty    = 0.3              // E: what a resting pot takes is less
	highDuty    = 0.5              // E: only a pot that is being warmed takes that much
	dutyFilterS = 10.0             // E: as long as an element's own lag
	afterheat   = 60 * time.Second // E: an element's lag is 10 to 17 s; no simulated plate rose by 2 °C later than 25 s

	// E, in °C for each part of full power before: what an element's own heat adds to
	// a simulated plate was 20 (heavy) to 40 (thin).
	afterheatPerDutyC = 60.0
	dutySlowS         = 20.0 // E: a hot element takes as long to cool
	offRiseC          = 3.0  // E: noise made 0.6 at most
	offLeakCS         = 0.05 // E, in °C a second: slower is the room, or the plate beside it
	offFallC          = 2.0  // E: that far below its peak a plate is cooling

	// E: in that time simulated plates rose by 15 °C and more. A probe that is off
	// its plate reads the same, and the plate must not get too hot meanwhile.
	noRiseFor  = 30 * time.Second
	noRiseC    = 2.0  // E
	noRiseGapC = 25.0 // E: at a high duty a plate that gets it is warmer than its melt by more
)

// heater watches whether a plate does what its heater is told.
type heater struct {
	off        time.Duration // since the heater was last told more than zero
	duty, slow float64       // what it is told, smoothed over two times
	hadDuty    float64       // that, when it was last told more than zero
	hadC       float64       // the plate then

	watching    bool    // for a rise while off
	lowC, peakC float64 // of that watch

	fromC   float64       // the highest in the watch for a rise under duty
	watched time.Duration // how long that watch has lasted
}

// look takes in what the heater is told. Unwatched or not, a heater that was told nothing
// is off for all the time that it took, and its element cools.
func (h *heater) look(duty float64, plate *trend, elapsed, took time.Duration) {
	h.duty += (duty - h.duty) * -math.Expm1(-elapsed.Seconds()/dutyFilterS)
	h.slow += (duty - h.slow) * -math.Expm1(-elapsed.Seconds()/dutySlowS)
	if h.off += took; duty > 0 {
		h.off, h.hadC, h.hadDuty = 0, plate.c, max(h.duty, h.slow)
	}
}

// afterheatC is how far the plate may yet rise by the heat in its element, in
// degrees Celsius.
func (h *heater) afterheatC() float64 {
	if h.off >= afterheat {
		return 0
	}
	return afterheatPerDutyC * h.hadDuty
}

// risesOff reports whether the plate rises though its heater is told zero: by more
// than the afterheat of what it was told before, or once no afterheat can last. A
// pot hotter than its plate may warm it.
func (h *heater) risesOff(plate, melt *trend, elapsed time.Duration) bool {
	switch {
	case !plate.seen:
		return h.watching && h.peakC >= h.lowC+offRiseC // as it was when it was last seen
	case meltWarms(melt, plate) || plate.c < TouchC:
		h.watching = false
		return false
	case h.off < afterheat:
		h.watching = false
		return h.hadDuty > 0 && plate.c >= h.hadC+offRiseC+h.afterheatC()
	}
	return h.risesLate(plate, elapsed)
}

// meltWarms reports whether a melt is warmer than its plate, and may warm it.
func meltWarms(melt, plate *trend) bool { return melt.seen && melt.c > plate.c }

// risesLate is the watch after the afterheat; it begins anew when the plate cools.
func (h *heater) risesLate(plate *trend, elapsed time.Duration) bool {
	if !h.watching || plate.c <= h.peakC-offFallC {
		h.watching, h.lowC, h.peakC = true, plate.c, plate.c
	}
	h.lowC = min(plate.c, h.lowC+offLeakCS*elapsed.Seconds())
	h.peakC = max(h.peakC, plate.c)
	return plate.c >= h.lowC+offRiseC
}

// risesNot reports whether the plate has not risen under a high duty for long,
// and is hardly warmer than the melt that it should heat, or cool where that is not seen.
func (h *heater) risesNot(plate, melt *trend, probes reading.Probes, elapsed time.Duration) bool {
	if h.duty < highDuty || !plate.seen || !melt.seen && probes.HasMelt() {
		h.watched = 0
		return false
	}
	if h.watched == 0 || plate.c >= h.fromC+noRiseC {
		h.fromC, h.watched = plate.c, 0
	}
	h.watched += elapsed
	cool := plate.c-melt.c < noRiseGapC
	if !probes.HasMelt() {
		cool = plate.c < coolPlateC
	}
	return h.watched >= noRiseFor && cool
}

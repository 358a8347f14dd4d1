package guard

import "time"

// Grades as in the table.
const (
	weakDuty   = 0.8              // E
	weakSettle = 20 * time.Second // E: the element's lag
	weakOver   = 10 * time.Second // E
	weakShare  = 0.5              // E: stirring alone moves it by a third
	gapBinC    = 25.0             // E: how far the plate is above its melt decides what it gives off
	gapBins    = 8
)

// strength remembers how fast a plate rises at a high duty, by how far it is above
// its melt: a heater with a part burnt out, or on a low mains, is slower than it was.
type strength struct {
	settled time.Duration
	fromC   float64
	bin     int
	best    [gapBins]float64 // °C a second at full duty; zero: not seen yet
	weak    bool             // by the last span of it
}

// look takes in one cycle and reports whether the plate last rose far more slowly
// than it did before.
func (w *strength) look(duty float64, plate, melt *trend, elapsed time.Duration) bool {
	bin := int((plate.c - melt.c) / gapBinC)
	if duty < weakDuty || !plate.seen || !melt.seen || plate.c < melt.c || bin >= gapBins {
		w.settled = 0
		return w.weak
	}
	if w.settled += elapsed; w.settled <= weakSettle {
		w.fromC, w.bin = plate.c, bin
		return w.weak
	}
	if w.settled < weakSettle+weakOver {
		return w.weak
	}
	rate := (plate.c - w.fromC) / weakOver.Seconds() / duty
	w.weak = w.best[w.bin] > 0 && rate < weakShare*w.best[w.bin]
	w.best[w.bin] = max(w.best[w.bin], rate)
	w.settled = weakSettle // the next span
	w.fromC, w.bin = plate.c, bin
	return w.weak
}

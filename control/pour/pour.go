// Package pour foresees how long a melt that is off its plate stays warm enough to be
// shot. From a lift on the vessel gives up what it was warmer by, and then the melt cools
// evenly; how evenly, and from when, is found out from the readings of the last minute and
// a half. Until they say something it is a guess that rests on what lifted pots do, and is
// told as one.
//
// It decides nothing about heat.
package pour

import (
	"time"
)

// Left is how long there is left to pour.
type Left struct {
	// In is when the melt leaves its band by the lower edge; it does between Low and High
	// in 8 of 10 cases, by its own reckoning. Never below zero.
	In, Low, High time.Duration
	// Known is false for a pot that is on its plate, and where there is no melt reading.
	Known bool
	// Assumed is true in the first seconds, while the readings have said nothing of it.
	Assumed bool
	// Over is true once the melt is too cold to be shot.
	Over bool
}

// Grades: E estimate.
const (
	keptS     = 90   // so many seconds of the melt are kept, a value for each
	meanS     = 3    // over so many is what the melt is now
	probeS    = 3.0  // E: the reading is what the melt was that long ago
	mostLeftS = 3600 // more than that nobody can foresee
	stale     = 5 * time.Second

	assumedS = 15 // E: by then a melt has fallen by more than noise
	// E: a melt that cools by less than that of what it did has stopped, and by more goes on.
	stopsShare, coolsShare = 0.2, 0.5
	backForS               = 6.0
	nearC                  = 40.0 // E: further under its band a pot cools slowly by itself
)

// Window is what is remembered of one pot's melt. The zero value is one that is on its
// plate and has not been seen.
type Window struct {
	c          [keptS]float64 // by second, the oldest first
	n          int
	last       float64
	sum, count float64       // of the second that is not over
	took       time.Duration // of that
	unseen     time.Duration

	lifted bool
	lowerC float64          // of the band
	from   [moments]float64 // when it may have been lifted, in seconds before now
	told   Left             // at the end of the last second
	backS  float64          // for how long it has stopped cooling
}

// See takes in a cycle, with the melt's reading in degrees Celsius, if it is believed.
func (w *Window) See(c float64, believed bool, elapsed time.Duration) {
	if w.unseen += elapsed; believed {
		w.unseen, w.sum, w.count = 0, w.sum+c, w.count+1
	}
	if w.took += elapsed; w.took < time.Second {
		return
	}
	if w.unseen > stale {
		w.n = 0
	} else if w.count > 0 {
		w.last = w.sum / w.count
	}
	for ; w.took >= time.Second; w.took -= time.Second {
		w.keep(w.last)
	}
	w.sum, w.count = 0, 0
	w.reckon()
}

// keep adds a second's value.
func (w *Window) keep(c float64) {
	if w.n == keptS {
		copy(w.c[:], w.c[1:])
		w.n--
	}
	w.c[w.n] = c
	w.n++
	for i := range w.from {
		w.from[i]++
	}
}

// Lift says that the pot has left its plate, some time between most and least ago; lowerC
// is the lower edge of its band in degrees Celsius.
func (w *Window) Lift(most, least time.Duration, lowerC float64) {
	w.lifted, w.lowerC, w.backS = true, lowerC, 0
	for i := range w.from {
		share := (float64(i) + 0.5) / moments
		w.from[i] = most.Seconds() + share*(least-most).Seconds()
	}
	w.reckon()
}

// Return says that the pot is on its plate.
func (w *Window) Return() { w.lifted, w.told, w.backS = false, Left{}, 0 }

// Left is how long there is left.
func (w *Window) Left() Left {
	if !w.lifted || w.unseen > stale {
		return Left{}
	}
	l := w.told
	for _, d := range [...]*time.Duration{&l.In, &l.Low, &l.High} {
		*d = max(0, *d-w.took)
	}
	return l
}

// LooksBack reports whether the melt of a lifted pot has stopped cooling, as it does on a
// hot plate only.
func (w *Window) LooksBack() bool { return w.lifted && w.backS >= backForS }

// reckon is done once a second.
func (w *Window) reckon() {
	if !w.lifted || w.n < meanS {
		w.told = Left{}
		return
	}
	f := w.fit()
	nowC := w.meanC(meanS) - probeS*f.rate // as far as the probe is behind
	w.told = Left{Known: true, Assumed: w.from[moments/2] < assumedS, Over: w.told.Over || nowC <= w.lowerC || f.inS <= 0}
	if !w.told.Over {
		w.told.In, w.told.Low, w.told.High = span(f.inS), span(f.inS-wide*f.inSigma), span(f.inS+wide*f.inSigma)
	}
	w.lookBack(f.rate)
}

// wide is how many standard deviations hold 8 of 10 cases (normal distribution).
const wide = 1.28

func span(s float64) time.Duration {
	return time.Duration(min(max(s, 0), mostLeftS) * float64(time.Second)).Round(time.Millisecond)
}

// meanC is the mean of the last seconds.
func (w *Window) meanC(seconds int) float64 {
	sum := 0.0
	for _, c := range w.c[max(0, w.n-seconds):w.n] {
		sum += c
	}
	return sum / float64(min(seconds, w.n))
}

// lookBack counts for how long a melt that had cooled has stopped cooling.
func (w *Window) lookBack(rate float64) {
	const over = 10
	if w.n < 2*over || w.from[moments-1] < 2*over || w.c[w.n-1] < w.lowerC-nearC {
		return
	}
	early, late := w.c[w.n-2*over:w.n-over], w.c[w.n-over:w.n]
	slope := 0.0
	for i := range early {
		slope += (late[i] - early[i]) / (over * over)
	}
	switch {
	case slope > -stopsShare*rate:
		w.backS++
	case slope < -coolsShare*rate:
		w.backS = 0
	}
}

package model

import "math"

const (
	// AheadEveryS is the time between two points of Ahead in seconds.
	AheadEveryS = 60.0
	// AheadPoints is how many there are.
	AheadPoints = 30
	// aheadHeld is how many of them go on after the pot is ready.
	aheadHeld = 5
)

// Ahead is the melt that is foreseen in the coming minutes, in degrees Celsius: the
// first after AheadEveryS, and NaN from where nothing is foreseen.
type Ahead [AheadPoints]float64

// NothingAhead is what is foreseen where nothing is known.
func NothingAhead() (a Ahead) {
	for i := range a {
		a[i] = math.NaN()
	}
	return a
}

// lookout writes down what a journey comes past, unless it has nowhere to. Its clock
// goes on where the journey's own stands still.
type lookout struct {
	into *Ahead
	// mostC is what the loop lets no melt go over: it aims lower than a journey does, which
	// overshoots by 2 or 3 °C.
	mostC  float64
	clockS float64
	points int
}

func (l *lookout) forget() {
	if l.into != nil {
		*l.into = NothingAhead()
	}
}

// pass lets dt seconds pass, after which the melt is at a temperature.
func (l *lookout) pass(dt, meltC float64) {
	l.clockS += dt
	for l.wants(AheadPoints) && l.clockS >= float64(l.points+1)*AheadEveryS {
		l.into[l.points] = min(meltC, l.mostC)
		l.points++
	}
}

// stop stays for some seconds, once, where the melt comes to a temperature.
func (l *lookout) stop(forS *float64, atC, meltC float64) {
	if *forS > 0 && meltC >= atC {
		l.pass(*forS, atC)
		*forS = 0
	}
}

// wants reports whether any of the first so many points is still missing.
func (l *lookout) wants(points int) bool { return l.into != nil && l.points < points }

// Package plot draws a run: one panel for each pot above a shared time axis,
// with melt, plate, set-point and its band, duty, and what people marked. The
// page, the terminal command and printed pages all come from here.
//
// It is pure: values in, bytes out, and the same values give the same bytes.
// What was not recorded is a gap, never a bridge; no peak is lost to thinning,
// however long the run.
package plot

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// Run is what is drawn.
type Run struct {
	// Title and Subtitle are one line each; what does not fit is cut.
	Title, Subtitle string
	Pots            []Pot
	Events          []Event
	// Over names this run and another whose melts are drawn over it, at the ends of their
	// lines; both are "" for a run alone. Plates and duties are then left out.
	Over [2]string
	// Zero is the moment from which the time axis counts.
	Zero time.Duration
}

// isOver reports whether another run is drawn over this one.
func (r Run) isOver() bool { return r.Over != [2]string{} }

// Pot is one panel.
type Pot struct {
	Name, Colour string
	// SetpointC is in °C, BandC the half-width of the band around it. A
	// set-point that is NaN draws neither.
	SetpointC, BandC float64
	// Steps are later set-points, in order of time.
	Steps []Step
	// Points are in order of time.
	Points []Point
	// Other are the points of the run that is drawn over this one, on the same time axis
	// and in order of time; only their melts are drawn.
	Other []Point
}

// Point is what was recorded of a pot at one moment. NaN stands for what was
// not recorded; so does a temperature outside LowestC to HighestC.
type Point struct {
	At                     time.Duration // bench time
	MeltC, PlateC, TargetC float64       // °C
	Duty                   float64       // 0 to 1
}

// The temperatures that can be drawn, in °C: wider than any thermocouple of a
// bench can tell.
const (
	LowestC  = -273.15
	HighestC = 2000.0
)

// EveryPot is the Event.Pot of what concerns the whole bench.
const EveryPot = -1

// Event is a mark on the time axis. Kind chooses its shape: KindShot,
// KindSpoiled and KindTrip stand out, a kind without a shape of its own is a short bar. Text is
// its label; Kind is where Text is empty.
type Event struct {
	At         time.Duration // bench time
	Pot        int           // an index into Run.Pots, or EveryPot
	Kind, Text string
}

// The kinds of event that have a shape of their own.
const (
	KindShot    = "shot"
	KindSpoiled = "spoiled shot"
	KindTrip    = "trip"
	KindStirred = "stirred"
	KindClear   = "clear"
	KindColour  = "colour added"
)

// Format is the kind of file that is written.
type Format uint8

// The formats. SVG keeps text as text, with a sans face of the reader's machine
// where Liberation Sans is not there; PNG and PDF carry their letters.
const (
	SVG Format = iota
	PNG
	PDF
)

// Style is how a run is drawn.
type Style struct {
	Dark, Fahrenheit bool
	Format           Format
	// Width and Height are in pixels, 96 to the inch: from MinWidth to MaxSide,
	// and high enough for the number of pots.
	Width, Height int
	// From and To are the stretch of bench time to show. A To of zero is the
	// end of what was recorded; both zero show all of it.
	From, To time.Duration
}

// The limits of Style.Width and Style.Height.
const (
	MinWidth = 280
	MaxSide  = 8000
)

// Draw writes the run to w, in one piece. It fails, before anything is written,
// for a run without pots, points out of order, an event of a pot that is not
// there, a size that leaves no room, an empty stretch of time or an unknown
// format; and when w fails.
func Draw(w io.Writer, r Run, s Style) error {
	if err := check(r, s); err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	shown := shownOf(r, s)
	if shown.to <= shown.from {
		return errors.New("plot: nothing was recorded after the start of the stretch")
	}
	lay, err := layoutOf(r, s, shown)
	if err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	sh := newSheet(s)
	drawRun(sh, lay, r, s, shown)
	var b bytes.Buffer
	if err := sh.writeTo(&b, r.Title); err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

func check(r Run, s Style) error {
	switch {
	case len(r.Pots) == 0:
		return errors.New("there is no pot to draw")
	case s.Format > PDF:
		return fmt.Errorf("there is no format %d", s.Format)
	case s.Width < MinWidth || s.Width > MaxSide || s.Height < 1 || s.Height > MaxSide:
		return fmt.Errorf("%d × %d pixels: width goes from %d to %d, height up to %d", s.Width, s.Height, MinWidth, MaxSide, MaxSide)
	case s.From < 0 || s.To < 0 || s.To != 0 && s.To <= s.From:
		return fmt.Errorf("no stretch of time goes from %v to %v", s.From, s.To)
	}
	for _, e := range r.Events {
		if e.Pot < EveryPot || e.Pot >= len(r.Pots) {
			return fmt.Errorf("an event of pot %d of %d", e.Pot, len(r.Pots))
		}
	}
	for i, p := range r.Pots {
		if !slices.IsSortedFunc(p.Points, byTime) || !slices.IsSortedFunc(p.Other, byTime) {
			return fmt.Errorf("the points of pot %d are not in order of time", i)
		}
	}
	return nil
}

func byTime(a, b Point) int { return cmp.Compare(a.At, b.At) }

// window is the stretch of bench time shown, to after from.
type window struct{ from, to time.Duration }

func (w window) holds(at time.Duration) bool { return w.from <= at && at <= w.to }

// share is where in the window a moment lies: 0 at its start, 1 at its end.
func (w window) share(at time.Duration) float64 {
	return float64(at-w.from) / float64(w.to-w.from)
}

// shownOf is the stretch asked for, with what was recorded where it is open. It
// may be empty.
func shownOf(r Run, s Style) window {
	first, last := recorded(r)
	w := window{s.From, s.To}
	if s.From == 0 && s.To == 0 {
		w.from = first
	}
	if s.To == 0 {
		w.to = last
	}
	if s.From == 0 && s.To == 0 && w.to == w.from {
		w.to += time.Minute // a single moment still needs an axis
	}
	return w
}

// recorded is from the first point or event to the last; zero when there are none.
func recorded(r Run) (first, last time.Duration) {
	first, last = math.MaxInt64, math.MinInt64
	for _, p := range r.Pots {
		for _, points := range [][]Point{p.Points, p.Other} {
			if n := len(points); n > 0 {
				first, last = min(first, points[0].At), max(last, points[n-1].At)
			}
		}
	}
	for _, e := range r.Events {
		first, last = min(first, e.At), max(last, e.At)
	}
	if first > last {
		return 0, 0
	}
	return first, last
}

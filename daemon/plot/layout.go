package plot

import (
	"fmt"
	"math"
	"slices"
)

// Sizes in pixels. A narrow sheet is a phone's.
const (
	narrowBelow = 600
	margin      = 12.0
	leftWidth   = 46.0 // tick labels
	lineSample  = 16.0 // the bit of line before its name
	dutyGap     = 6.0
	panelGap    = 12.0
	markHeight  = 13.0
	leastPlot   = 40.0
)

// layout is where things stand on the sheet.
type layout struct {
	title, subtitle, text, small, bold lettering
	left, right                        float64 // of everything drawn against time
	titleAt, subtitleAt                float64 // baselines
	bench                              lane
	panels                             []panel
	axisAt                             float64 // baseline of the time axis
}

// lane is where marks stand: labels above, shapes below.
type lane struct{ labelAt, markAt float64 }

// panel is where one pot is drawn.
type panel struct {
	headerAt   float64
	lane       lane
	plot, duty box
}

// Axis returns where a run drawn in this style has its time axis: how many pixels
// from the left edge the stretch that is shown begins, and ends.
func Axis(s Style) (left, right float64) {
	return leftWidth, float64(s.Width) - margin - lineSample - letteringOf(s).small.width(setpointName) - 8
}

func layoutOf(r Run, s Style, shown window) (layout, error) {
	lay := letteringOf(s)
	lay.left, lay.right = Axis(s)
	y := lay.headings(r)
	onBench := func(e Event) bool { return e.Pot == EveryPot && shown.holds(e.At) }
	if slices.ContainsFunc(r.Events, onBench) {
		lay.bench, y = lay.laneFrom(y)
	}
	foot := lay.small.size + 10
	return lay, lay.stack(r, box{lay.left, y, lay.right, float64(s.Height) - foot}, s)
}

func letteringOf(s Style) layout {
	p := paletteOf(s)
	size := 13.0
	if s.Width < narrowBelow {
		size = 12
	}
	return layout{
		title:    lettering{p.ink, size + 5, true},
		subtitle: lettering{p.dim, size, false},
		text:     lettering{p.dim, size, false},
		small:    lettering{p.dim, size - 1, false},
		bold:     lettering{p.ink, size + 1, true},
	}
}

// headings places title and subtitle and answers where they end.
func (lay *layout) headings(r Run) float64 {
	y := margin
	if r.Title != "" {
		y += lay.title.size
		lay.titleAt, y = y, y+6
	}
	if r.Subtitle != "" {
		y += lay.subtitle.size
		lay.subtitleAt, y = y, y+6
	}
	return y
}

func (lay *layout) laneFrom(y float64) (lane, float64) {
	l := lane{labelAt: y + lay.small.size, markAt: y + lay.small.size + 3 + markHeight/2}
	return l, l.markAt + markHeight/2 + 4
}

// stack divides the room among the pots, which all get the same. When one has
// marks every panel keeps a lane for them, in any stretch of time, so that
// panels stay alike.
func (lay *layout) stack(r Run, room box, s Style) error {
	each := math.Floor(room.height() / float64(len(r.Pots)))
	dutyHeight := 24.0
	if s.Width < narrowBelow || each < 150 {
		dutyHeight = 14
	}
	if r.isOver() {
		dutyHeight = 0
	}
	marked := slices.ContainsFunc(r.Events, func(e Event) bool { return e.Pot != EveryPot })
	for i := range r.Pots {
		p := panel{headerAt: room.top + each*float64(i) + lay.bold.size + 2}
		top := p.headerAt + 6
		if marked {
			p.lane, top = lay.laneFrom(top)
		}
		bottom := room.top + each*float64(i+1) - panelGap
		p.duty = box{room.left, bottom - dutyHeight, room.right, bottom}
		p.plot = box{room.left, top, room.right, p.duty.top - dutyGap}
		if p.plot.height() < leastPlot || p.plot.width() < leastPlot {
			return fmt.Errorf("%d × %d pixels leave no room for %d pots", s.Width, s.Height, len(r.Pots))
		}
		lay.panels = append(lay.panels, p)
	}
	lay.axisAt = float64(s.Height) - 8
	return nil
}

package plot

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// rank is how much a kind of event stands out; the higher is drawn over and
// labelled before the lower.
type rank uint8

const (
	usual rank = iota
	shot
	spoiled
	trip
)

func rankOf(kind string) rank {
	switch kind {
	case KindTrip:
		return trip
	case KindSpoiled:
		return spoiled
	case KindShot:
		return shot
	}
	return usual
}

// mark is one event on the sheet, or several of a kind that would cover each other.
type mark struct {
	x     float64
	kind  string
	text  string
	count int
}

func (m mark) label() string {
	if m.count > 1 {
		return fmt.Sprintf("%s ×%d", m.kind, m.count)
	}
	if m.text == "" {
		return m.kind
	}
	return m.text
}

const (
	markWidth  = 11.0
	labelRoom  = 130.0 // a longer label is cut
	labelApart = 8.0
)

// eventsOf are the events of a pot in the window, the lowest rank first, then
// in order of time.
func (d *drawing) eventsOf(pot int) []Event {
	var list []Event
	for _, e := range d.run.Events {
		if e.Pot == pot && d.shown.holds(e.At) {
			list = append(list, e)
		}
	}
	slices.SortStableFunc(list, func(a, b Event) int {
		return cmp.Or(cmp.Compare(rankOf(a.Kind), rankOf(b.Kind)), cmp.Compare(a.At, b.At))
	})
	return list
}

// merged joins marks of one kind that stand closer than a mark is wide.
func (d *drawing) merged(events []Event) []mark {
	var list []mark
	last := map[string]int{}
	for _, e := range events {
		x := d.x(e.At)
		if i, ok := last[e.Kind]; ok && x-list[i].x < markWidth {
			list[i].count++
			continue
		}
		last[e.Kind] = len(list)
		list = append(list, mark{x, e.Kind, e.Text, 1})
	}
	return list
}

// marks draws the events of one pot: a line through its panel for each that
// stands out, and its lane.
func (d *drawing) marks(pot int, at panel) {
	events := d.eventsOf(pot)
	for _, e := range events {
		d.through(e, at)
	}
	d.lane(events, at.lane)
}

// benchMarks draws the events of the whole bench above all panels.
func (d *drawing) benchMarks() {
	events := d.eventsOf(EveryPot)
	if len(events) == 0 {
		return
	}
	for _, e := range events {
		for _, at := range d.panels {
			d.through(e, at)
		}
	}
	d.write(d.small, point{d.left - 6, d.bench.markAt + d.small.size*0.36}, atRight, "bench")
	d.lane(events, d.bench)
}

func (d *drawing) through(e Event, at panel) {
	line := pen{d.shot, 1, nil}
	switch rankOf(e.Kind) {
	case usual:
		return
	case trip:
		line = pen{d.trip, 1.5, []float64{6, 2}}
	case spoiled:
		line = pen{d.spoiled, 1.5, nil}
	}
	x := d.x(e.At)
	d.line(line, point{x, at.plot.top}, point{x, at.plot.bottom})
}

func (d *drawing) lane(events []Event, l lane) {
	list := d.merged(events)
	for _, m := range list {
		d.shape(m, l.markAt)
	}
	slices.SortStableFunc(list, func(a, b mark) int { return cmp.Compare(rankOf(b.kind), rankOf(a.kind)) })
	var taken []box
	named := map[string]bool{}
	for _, m := range list {
		// A usual mark is named once: its shape tells it again.
		if rankOf(m.kind) == usual && m.count == 1 && m.text == "" && named[m.kind] {
			continue
		}
		named[m.kind] = true
		taken = d.label(m, l.labelAt, taken)
	}
}

// label writes a mark's label where it covers no other, and leaves it out where
// it would: the shape still tells the kind.
func (d *drawing) label(m mark, y float64, taken []box) []box {
	l := d.small
	l.colour, l.bold = d.colourOf(m.kind), rankOf(m.kind) > usual
	text := l.fit(m.label(), labelRoom)
	half := l.width(text) / 2
	x := min(max(m.x, margin+half), float64(d.style.Width)-margin-half)
	room := box{left: x - half - labelApart/2, right: x + half + labelApart/2}
	for _, t := range taken {
		if room.left < t.right && t.left < room.right {
			return taken
		}
	}
	d.write(l, point{x, y}, atMiddle, text)
	return append(taken, room)
}

func (d *drawing) colourOf(kind string) color.NRGBA {
	switch rankOf(kind) {
	case trip:
		return d.trip
	case spoiled:
		return d.spoiled
	case shot:
		return d.shot
	}
	return d.dim
}

// shape draws a mark; every kind has its own outline, whatever its colour.
func (d *drawing) shape(m mark, y float64) {
	const r = markWidth / 2
	c, x := d.colourOf(m.kind), m.x
	line := pen{c, 1.5, nil}
	switch m.kind {
	case KindShot:
		d.fill(c, point{x - r, y - r}, point{x + r, y - r}, point{x, y + r})
	case KindSpoiled:
		d.fill(c, point{x - r, y + r}, point{x + r, y + r}, point{x, y - r})
	case KindTrip:
		line.width = 2.5
		d.line(line, point{x - r, y - r}, point{x + r, y + r})
		d.line(line, point{x - r, y + r}, point{x + r, y - r})
	case KindStirred:
		d.ring(line, point{x, y}, r-1.5)
	case KindClear:
		d.line(line, point{x - r + 1, y}, point{x - 1, y + r - 1.5}, point{x + r - 1, y - r + 1})
	case KindColour:
		d.fill(c, point{x, y - r + 0.5}, point{x + r - 1, y}, point{x, y + r - 0.5}, point{x - r + 1, y})
	default:
		d.line(line, point{x, y - r}, point{x, y + r})
	}
}

func (d *drawing) ring(p pen, at point, radius float64) {
	centre, r := d.place(at), pixel*vg.Length(radius)
	var path vg.Path
	path.Move(vg.Point{X: centre.X + r, Y: centre.Y})
	path.Arc(centre, r, 0, 2*math.Pi)
	path.Close()
	d.canvas.SetColor(p.colour)
	d.canvas.SetLineWidth(pixel * vg.Length(p.width))
	d.canvas.SetLineDash(nil, 0)
	d.canvas.Stroke(path)
}

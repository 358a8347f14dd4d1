package plot

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"time"
)

const (
	setpointName = "set-point"
	targetName   = "target" // as the trend calls it
	tickApart    = 50.0     // least pixels between times
)

// drawing is one run on one sheet.
type drawing struct {
	*sheet
	layout
	palette
	unit
	run   Run
	shown window
}

func drawRun(sh *sheet, lay layout, r Run, s Style, shown window) {
	d := drawing{sh, lay, paletteOf(s), unitOf(s), r, shown}
	d.fillBox(d.ground, box{0, 0, float64(s.Width), float64(s.Height)})
	room := float64(s.Width) - 2*margin
	d.write(d.title, point{margin, d.titleAt}, atLeft, d.title.fit(r.Title, room))
	d.write(d.subtitle, point{margin, d.subtitleAt}, atLeft, d.subtitle.fit(r.Subtitle, room))
	for i := range r.Pots {
		d.pot(i)
	}
	d.benchMarks()
	d.timeAxis()
}

func (d *drawing) x(at time.Duration) float64 {
	return d.left + d.shown.share(at)*(d.right-d.left)
}

func (d *drawing) times() ([]time.Duration, time.Duration) {
	ticks, step := timeTicks(window{d.shown.from - d.run.Zero, d.shown.to - d.run.Zero}, int((d.right-d.left)/tickApart))
	for i := range ticks {
		ticks[i] += d.run.Zero
	}
	return ticks, step
}

func (d *drawing) timeAxis() {
	ticks, step := d.times()
	for _, at := range ticks {
		d.write(d.small, point{d.x(at), d.axisAt}, atMiddle, clock(at-d.run.Zero, step))
	}
	d.write(d.small, point{float64(d.style.Width) - margin, d.axisAt}, atRight, timeForm(step))
}

// traces are the thinned series of a pot.
type traces struct{ melt, plate, target, other [][]sample }

func (d *drawing) traces(p Pot) traces {
	points, columns := visible(p.Points, d.shown), int(d.right-d.left)
	series := func(v value) [][]sample { return thin(points, v, d.shown, columns) }
	melt := func(p *Point) float64 { return p.MeltC }
	if d.run.isOver() {
		return traces{melt: series(melt), other: thin(visible(p.Other, d.shown), melt, d.shown, columns)}
	}
	return traces{
		melt:  series(melt),
		plate: series(func(p *Point) float64 { return p.PlateC }),
		target: series(func(q *Point) float64 {
			if math.Abs(q.TargetC-p.setpointAt(q.At)) < 0.05 {
				return math.NaN() // the set-point is drawn already
			}
			return q.TargetC
		}),
	}
}

// scale turns °C into the y of a panel.
type scale struct {
	box
	low, high float64 // °C at bottom and top
}

func (s scale) y(c float64) float64 {
	return s.bottom - (c-s.low)/(s.high-s.low)*s.height()
}

const (
	leastSpanC = 4.0 // so that the noise of a steady hold does not look like trouble
	headroom   = 0.05
)

func scaleOf(b box, p Pot, t traces, shown window) scale {
	low, high := math.Inf(1), math.Inf(-1)
	include := func(c float64) { low, high = min(low, c), max(high, c) }
	for _, s := range p.setpoints(shown) {
		include(s.c - bandOf(p))
		include(s.c + bandOf(p))
	}
	for _, stretches := range [][][]sample{t.melt, t.plate, t.target, t.other} {
		for _, stretch := range stretches {
			for _, s := range stretch {
				include(s.v)
			}
		}
	}
	if low > high {
		low, high = 0, 100 // nothing recorded and nothing asked for
	}
	if short := leastSpanC - (high - low); short > 0 {
		low, high = low-short/2, high+short/2
	}
	pad := (high - low) * headroom
	return scale{b, low - pad, high + pad}
}

func (d *drawing) pot(i int) {
	p, at := d.run.Pots[i], d.panels[i]
	t := d.traces(p)
	s := scaleOf(at.plot, p, t, d.shown)
	d.header(i, at)
	d.band(p, s)
	d.grid(s, at.duty)
	d.target(t.target, s)
	if !d.run.isOver() {
		d.duties(p, at.duty)
	}
	d.marks(i, at)
	d.curve(pen{d.edge, 1.2, []float64{5, 3}}, t.plate, s)
	d.curve(otherPen(d.palette), t.other, s)
	d.curve(pen{d.ink, 2, nil}, t.melt, s)
	if !d.run.isOver() { // either run may begin before the other and end after it
		d.notRecorded(t.melt, s)
	}
	d.names(p, t, s)
}

// header names a pot as people do: its number, its colour and where it stands.
func (d *drawing) header(i int, at panel) {
	p := d.run.Pots[i]
	asked := ""
	if c := p.setpointAt(d.shown.to); isRecorded(c) {
		asked = d.unit.band(c, bandOf(p))
	}
	end := float64(d.style.Width) - margin
	d.write(d.text, point{end, at.headerAt}, atRight, asked)
	room := end - margin - d.text.width(asked) - margin
	name := d.bold.fit(fmt.Sprintf("%d %s", i+1, cmp.Or(p.Colour, p.Name)), room)
	d.write(d.bold, point{margin, at.headerAt}, atLeft, name)
	if used := d.bold.width(name + " "); p.Colour != "" {
		d.write(d.text, point{margin + used, at.headerAt}, atLeft, d.text.fit("("+p.Name+")", room-used))
	}
}

// bandOf is zero for a band that can not be one.
func bandOf(p Pot) float64 {
	if p.BandC > 0 && p.BandC <= HighestC {
		return p.BandC
	}
	return 0
}

// band is the strip around the set-point, and the set-point in it.
func (d *drawing) band(p Pot, s scale) {
	for _, set := range p.setpoints(d.shown) {
		left, right := d.x(set.from), d.x(set.to)
		if half := bandOf(p); half > 0 {
			d.fillBox(d.palette.band, box{left, s.y(set.c + half), right, s.y(set.c - half)})
		}
		y := s.y(set.c)
		d.line(pen{d.edge, 1, nil}, point{left, y}, point{right, y})
	}
}

func (d *drawing) grid(s scale, duty box) {
	rule := pen{d.rule, 1, nil}
	moments, _ := d.times()
	for _, at := range moments {
		x := d.x(at)
		d.line(rule, point{x, s.top}, point{x, s.bottom})
		d.line(rule, point{x, duty.top}, point{x, duty.bottom})
	}
	for _, v := range temperatureTicks(d.of(s.low), d.of(s.high), int(s.height()/22)) {
		y := s.y((v - d.shift) / d.perDegree)
		d.line(rule, point{s.left, y}, point{s.right, y})
		d.write(d.small, point{s.left - 6, y + d.small.size*0.36}, atRight, number(v))
	}
	d.write(d.small, point{s.left - 6, s.top - 5}, atRight, d.unit.name)
}

// curve draws every stretch; a single sample gets a pixel's width to be seen.
func (d *drawing) curve(p pen, stretches [][]sample, s scale) {
	for _, stretch := range stretches {
		points := make([]point, 0, len(stretch)+1)
		for _, q := range stretch {
			points = append(points, point{d.x(q.at), s.y(q.v)})
		}
		if len(points) == 1 {
			points[0].x -= 0.5
			points = append(points, point{points[0].x + 1, points[0].y})
		}
		d.line(p, points...)
	}
}

// target shows what the loop held where that was not the set-point.
func (d *drawing) target(stretches [][]sample, s scale) {
	d.curve(pen{d.dim, 1.2, []float64{1.5, 2.5}}, stretches, s)
	for _, stretch := range stretches {
		first, last := stretch[0], stretch[len(stretch)-1]
		if d.x(last.at)-d.x(first.at) > d.small.width(targetName)+8 {
			d.remark(point{d.x(first.at) + 4, s.y(first.v) - 4}, targetName)
			return
		}
	}
}

// remark writes words among the lines, on a ground of their own.
func (d *drawing) remark(at point, words string) {
	l := d.small
	d.fillBox(d.ground, box{at.x - 2, at.y - l.size*0.8, at.x + l.width(words) + 2, at.y + l.size*0.25})
	d.write(l, at, atLeft, words)
}

// notRecorded says so where a gap of the melt has room for the words.
func (d *drawing) notRecorded(melt [][]sample, s scale) {
	from := d.shown.from
	for i := 0; i <= len(melt); i++ {
		to := d.shown.to
		if i < len(melt) {
			to = melt[i][0].at
		}
		const words = "not recorded"
		if left, right := d.x(from), d.x(to); right-left > d.small.width(words)+12 {
			d.remark(point{(left + right - d.small.width(words)) / 2, s.bottom - 6}, words)
		}
		if i < len(melt) {
			from = melt[i][len(melt[i])-1].at
		}
	}
}

// duties fills the strip at the foot: the mean of each pixel column, and the
// highest behind it.
func (d *drawing) duties(p Pot, b box) {
	columns := powers(visible(p.Points, d.shown), d.shown, int(b.width()))
	d.steps(d.dutyPeak, b, columns, func(q power) float64 { return q.peak })
	d.steps(d.duty, b, columns, power.mean)
	d.line(pen{d.edge, 1, nil}, point{b.left, b.bottom}, point{b.right, b.bottom})
	d.write(d.small, point{b.left - 6, b.top + d.small.size*0.8}, atRight, "100 %")
	d.write(d.small, point{b.right + 6 + lineSample, b.bottom}, atLeft, "heater")
}

// steps fills the columns that were recorded, each run of them as one shape.
func (d *drawing) steps(c color.NRGBA, b box, columns []power, height func(power) float64) {
	wide := b.width() / float64(len(columns))
	var top []point
	for i := 0; i <= len(columns); i++ {
		if i < len(columns) && columns[i].seen > 0 {
			y := b.bottom - height(columns[i])*b.height()
			top = step(top, b.left+wide*float64(i), b.left+wide*float64(i+1), y)
			continue
		}
		if len(top) > 0 {
			d.fill(c, append(top, point{top[len(top)-1].x, b.bottom}, point{top[0].x, b.bottom})...)
			top = nil
		}
	}
}

// step adds one column to an outline; a level that goes on takes no new corner.
func step(top []point, left, right, y float64) []point {
	const same = 0.1 // of a pixel
	if n := len(top); n > 0 && math.Abs(top[n-1].y-y) < same {
		top[n-1].x = right
		return top
	}
	return append(top, point{left, y}, point{right, y})
}

// lineName stands at the end of a line, with a bit of it.
type lineName struct {
	text string
	y    float64
	pen  pen
}

// otherPen draws the run that lies over another one.
func otherPen(p palette) pen { return pen{p.dim, 1.6, []float64{7, 4}} }

// names puts the lines' names beside their ends, in place of a legend.
func (d *drawing) names(p Pot, t traces, s scale) {
	var names []lineName
	add := func(text string, c float64, line pen) { names = append(names, lineName{text, s.y(c), line}) }
	if c := p.setpointAt(d.shown.to); isRecorded(c) {
		add(setpointName, c, pen{d.edge, 1, nil})
	}
	if end, ok := endOf(t.plate); ok {
		add("plate", end, pen{d.edge, 1.2, []float64{5, 3}})
	}
	melt := "melt"
	if d.run.isOver() {
		melt = d.run.Over[0]
	}
	if end, ok := endOf(t.melt); ok {
		add(melt, end, pen{d.ink, 2, nil})
	}
	if end, ok := endOf(t.other); ok {
		add(d.run.Over[1], end, otherPen(d.palette))
	}
	moveApart(names, s.top+d.small.size/2, s.bottom-d.small.size/2, d.small.size+2)
	for _, n := range names {
		d.line(n.pen, point{s.right + 4, n.y}, point{s.right + 4 + lineSample - 2, n.y})
		d.write(d.small, point{s.right + 6 + lineSample, n.y + d.small.size*0.36}, atLeft, n.text)
	}
}

func endOf(stretches [][]sample) (float64, bool) {
	if len(stretches) == 0 {
		return 0, false
	}
	last := stretches[len(stretches)-1]
	return last[len(last)-1].v, true
}

// moveApart sorts names by height and keeps them at least so far apart, inside
// top and bottom while there is room.
func moveApart(names []lineName, top, bottom, apart float64) {
	slices.SortStableFunc(names, func(a, b lineName) int { return cmp.Compare(a.y, b.y) })
	least := top
	for i := range names {
		names[i].y = max(names[i].y, least)
		least = names[i].y + apart
	}
	most := bottom
	for i := len(names) - 1; i >= 0; i-- {
		names[i].y = min(names[i].y, most)
		most = names[i].y - apart
	}
}

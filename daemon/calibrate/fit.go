// Package calibrate finds out how far probes are from the truth, and what is to be added to
// their readings. It takes points in things whose temperature is known without a thermometer
// (wet ice, boiling water) or is the same for several probes (one stirred pot of water), fits
// an offset and, where points are far enough apart, a slope, and says how far the corrected
// reading may still be off. A correction that no sound probe needs is refused, and a wrong
// thermocouple type is told by what it shows.
//
// Fit, FindType and Stand are pure: what is on record goes in, what follows comes out. Run is
// the person's part of it, in which every output is told zero and nothing else is written.
//
// A correction in force lies in the history and not in the bench file. It has its day, its
// points and its end there, and is taken back by one command; the bench file keeps its maker's
// comments. Two things go by the bench file as it is typed, and so do not change with a
// correction, which is right. The proof of the heaters is about contactor, time-outs and which
// probe is where, which no correction of a few degrees touches; commissioning holds its
// probes against the class of their type without any. What is known of a pot are its times
// and how far it warms, which change by less than a hundredth. A correction that grew absurd
// would touch both, and is refused.
package calibrate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/devices/registers"
	"meltwarden/devices/thermocouple"
)

// Kind is how the temperature of a point is known.
type Kind string

// The kinds.
const (
	Ice      Kind = "ice"
	Boiling  Kind = "boiling"
	Together Kind = "together"
)

// Point is what a probe showed in something, at rest. How far something may be off, a Within,
// is in degrees Celsius and holds in 95 of 100 cases (two standard deviations).
type Point struct {
	Kind Kind      `json:"kind"`
	At   time.Time `json:"at"`
	// Words are how it was typed, such as "boiling at 300 m".
	Words string `json:"words"`
	// TrueC is what it was there, and WithinC how far it may have been from that.
	TrueC   float64 `json:"true_c"`
	WithinC float64 `json:"within_c"`
	// ShownC is the mean of what the probe showed, with the correction of the bench file and
	// no other; Readings are how many, ScatterC their standard deviation.
	ShownC   float64 `json:"shown_c"`
	Readings int     `json:"readings"`
	ScatterC float64 `json:"scatter_c"`
	// StepC is the smallest step that was seen between readings. Where all were equal it is
	// that of the register, and in points of before zero.
	StepC float64 `json:"step_c"`
	// Relative says that TrueC is the highest of the probes that were together, of which none
	// was calibrated: they are made to agree, and nobody knows of the truth.
	Relative bool `json:"relative,omitempty"`
	// TerminalsC is what the input's terminals had; null where that is not measured.
	TerminalsC *float64 `json:"terminals_c"`
}

// within is how far the difference of true and shown may be off.
func (p Point) within() float64 {
	random := 2 * p.ScatterC / math.Sqrt(float64(max(p.Readings, 1)))
	step := 0.0
	if p.ScatterC < p.StepC/2 || p.StepC == 0 { // noise of half a step lets the mean see between steps
		step = cmp.Or(p.StepC, coarseC) / math.Sqrt(3) // a rectangle's two standard deviations
	}
	return math.Sqrt(p.WithinC*p.WithinC + random*random + step*step)
}

// The figures that the fit goes by. P published, C common practice without a source, E our
// estimate.
const (
	apartK    = 50.0   // E: points nearer to each other say nothing of a slope that is worth it
	classC    = 2.5    // P (IEC 60584-1): class 2 of types K, J, N and E up to 333 °C
	classPerC = 0.0075 // P (the same): and what of that grows with the temperature
	bendPerC  = 0.002  // E: what a probe may bend by beyond its points, for each degree
	coarseC   = 0.1    // E: the least step of an input whose readings never changed
	// raiseC and lowerC are the most that readings are raised and lowered by, between
	// leastAtC and the hottest that a probe is used at, with what the bench file adds. A
	// class 2 probe is within 2.5 °C, and so much again is left to its input (E). A reading
	// that is lowered lets the melt be hotter: 6 °C lie between the highest trip that there is
	// and where plasticiser burns, and 2.5 of these are the probe's.
	raiseC, lowerC = 5.0, 3.5
	leastAtC       = 0.0
	mostPerC       = 0.02 // E: class 2 is 0.75 %, and as much again for the input, rounded up
	contradictC    = 0.3  // E: beyond what both may be off
)

// Use is where the readings of a probe matter, in degrees Celsius.
type Use struct {
	AtC   float64 // what it is there for: an injection temperature, or its plate's limit
	UpToC float64 // the hottest that it is read at before the bench trips
}

// inAMelt is the use of every probe but a plate's: no bench file lets a melt be hotter.
var inAMelt = Use{AtC: 170, UpToC: 200}

// useOf is the use of a channel's probe. A plate is as hot as the bench file lets it be.
func useOf(c registers.Channel, b *config.Bench) Use {
	u := inAMelt
	if c.Role != registers.Plate {
		return u
	}
	u.UpToC = max(u.UpToC, b.Ceiling.PlateTripC)
	for _, p := range b.Pots {
		if p.Name == c.Pot {
			u.AtC = p.PlateLimitC
		}
	}
	return u
}

// Correction is what is to be added to a probe's readings, and what it rests on.
type Correction struct {
	registers.Calibrated
	Points []Point `json:"points"`
}

// Sloped reports whether it is more than an offset.
func (c Correction) Sloped() bool { return c.PerC != 0 }

// Relative reports whether it only makes probes agree.
func (c Correction) Relative() bool {
	return slices.ContainsFunc(c.Points, func(p Point) bool { return p.Relative })
}

// byItself reports whether a point of it is of something whose temperature is known without
// another probe.
func (c Correction) byItself() bool {
	return slices.ContainsFunc(c.Points, func(p Point) bool { return p.Kind != Together })
}

// truest are the points of which the truth is known; where none is, all.
func truest(points []Point) []Point {
	if known := slices.DeleteFunc(slices.Clone(points), func(p Point) bool { return p.Relative }); len(known) > 0 {
		return known
	}
	return points
}

// Fit is what points say of a probe whose readings the bench file corrects by typedC, for its
// use. The error says why no correction is made of them. Points of which the truth is known
// count before those that only make probes agree.
func Fit(points []Point, typedC float64, use Use) (Correction, error) {
	points = truest(points)
	if len(points) == 0 {
		return Correction{}, fmt.Errorf("no point is on record of it")
	}
	c := Correction{Points: points}
	all, hottest := sums(points), sums(nearHottest(points))
	c.OffsetC = hottest.y / hottest.w
	if all.apart() && all.sloped(use.AtC) <= hottest.flat(use.AtC) {
		c.PerC = (all.w*all.xy - all.x*all.y) / all.det()
		c.OffsetC = (all.y - c.PerC*all.x) / all.w
	}
	return c, c.absurd(typedC, use.UpToC)
}

// nearHottest are the points near the hottest one: those that an offset is made of, because
// it is the heat that matters.
func nearHottest(points []Point) []Point {
	hottest := sums(points).high
	return slices.DeleteFunc(slices.Clone(points), func(p Point) bool { return p.ShownC < hottest-otherPlaceC })
}

// summed are the sums of a weighted straight line (textbook: weights 1/within²), of what is
// to be added, y, over what was shown, x.
type summed struct{ w, x, y, xx, xy, low, high float64 }

func sums(points []Point) summed {
	s := summed{low: math.Inf(1), high: math.Inf(-1)}
	for _, p := range points {
		w := 1 / (p.within() * p.within())
		y := p.TrueC - p.ShownC
		s.w, s.x, s.y = s.w+w, s.x+w*p.ShownC, s.y+w*y
		s.xx, s.xy = s.xx+w*p.ShownC*p.ShownC, s.xy+w*p.ShownC*y
		s.low, s.high = min(s.low, p.ShownC), max(s.high, p.ShownC)
	}
	return s
}

func (s summed) det() float64 { return s.w*s.xx - s.x*s.x }

// apart reports whether the points are far enough apart for a slope.
func (s summed) apart() bool { return s.high-s.low >= apartK }

// sloped is how far a straight line through the points may be off at a temperature in °C: its
// variance there, from the normal equations, and what a probe may bend beyond them.
func (s summed) sloped(celsius float64) float64 {
	open := (s.xx - 2*celsius*s.x + celsius*celsius*s.w) / s.det()
	return math.Hypot(math.Sqrt(open), bendPerC*max(0, s.low-celsius, celsius-s.high))
}

// flat is the same of an offset: what is not seen of a slope may be that of the class.
func (s summed) flat(celsius float64) float64 {
	return math.Hypot(1/math.Sqrt(s.w), classPerC*math.Max(math.Abs(celsius-s.low), math.Abs(celsius-s.high)))
}

// WithinC is how far a corrected reading at a temperature may be from the truth, in 95 of 100
// cases: what its points leave open and, beyond them, what a probe of class 2 may do that no
// point has seen.
func (c Correction) WithinC(celsius float64) float64 {
	if c.Sloped() {
		return sums(c.Points).sloped(celsius)
	}
	return sums(nearHottest(c.Points)).flat(celsius)
}

// absurd says why a correction is one that no sound probe needs, from leastAtC up to upToC. It
// is a straight line: what holds at both ends holds between them.
func (c Correction) absurd(typedC, upToC float64) error {
	for _, p := range c.Points {
		left := p.TrueC - p.ShownC - c.At(p.ShownC)
		if math.Abs(left) > p.within()+c.WithinC(p.ShownC)+contradictC {
			return fmt.Errorf("its points contradict each other: %s leaves %+.1f °C. Take them again", p.Words, left)
		}
	}
	if math.Abs(c.PerC) > mostPerC {
		return fmt.Errorf("its error would grow by %.1f °C for each 100 °C, and %.0f is the most of a sound probe: was the ice wet, and the water boiling?", -100*c.PerC, 100*mostPerC)
	}
	for _, at := range []float64{leastAtC, upToC} {
		switch adds := typedC + c.At(at); {
		case adds > raiseC:
			return fmt.Errorf("it would be raised by %.1f °C at %.0f °C, and %.0f is the most of a sound probe (2.5 by its class, as much by its input)%s", adds, at, raiseC, ofWhich(typedC))
		case adds < -lowerC:
			return fmt.Errorf("it would be lowered by %.1f °C at %.0f °C, and %.1f is the most: a reading that is lowered lets what it measures be hotter%s", -adds, at, lowerC, ofWhich(typedC))
		}
	}
	return nil
}

func ofWhich(typedC float64) string {
	if typedC == 0 {
		return ""
	}
	return fmt.Sprintf("; %+.1f of that is in the bench file", typedC)
}

// toleranceC is how far a new thermocouple of a type may be from its table at a temperature
// in °C, by class 1 or 2 of IEC 60584-1; false for a type or class that has none there.
func toleranceC(t thermocouple.Type, class int, celsius float64) (float64, bool) {
	type row struct{ fixed, share float64 }
	rows := map[thermocouple.Type][2]row{
		thermocouple.K: {{1.5, 0.004}, {classC, classPerC}}, thermocouple.N: {{1.5, 0.004}, {classC, classPerC}},
		thermocouple.J: {{1.5, 0.004}, {classC, classPerC}}, thermocouple.E: {{1.5, 0.004}, {classC, classPerC}},
		thermocouple.T: {{0.5, 0.004}, {1.0, classPerC}},
	}
	classes, has := rows[t]
	if !has || class < 1 || class > 2 || !(celsius >= -40 && celsius <= 350) {
		return 0, false
	}
	r := classes[class-1]
	return math.Max(r.fixed, r.share*math.Abs(celsius)), true
}

package view

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/model"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// Both is one text in each unit of temperature.
type Both struct {
	C string `json:"c"`
	F string `json:"f"`
}

// Tone says how much a thing asks of a person. Only what asks for something is
// coloured, and never by colour alone.
type Tone string

// The tones, by what they ask.
const (
	Plain  Tone = "plain"  // nothing
	Attend Tone = "attend" // a mark or a hand, when there is time
	Warn   Tone = "warn"   // a look, soon
	Danger Tone = "danger" // heat has been cut
	Shoot  Tone = "shoot"  // every pot is ready
	Lost   Tone = "lost"   // nothing is known
)

// BenchWords are the bench in words.
type BenchWords struct {
	Answer Both   `json:"answer"`
	Detail string `json:"detail"`
	Tone   Tone   `json:"tone"`
	Heat   string `json:"heat"`
	Power  string `json:"power"`
	Aside  string `json:"aside"` // how many warnings are set aside, "" for none
	Mould  Both   `json:"mould"`
	Room   Both   `json:"room"`
	// LastReading is the wall time of the last frame, "hh:mm:ss".
	LastReading string `json:"last_reading"`
}

// PotWords are one pot in words and on the page's scale.
type PotWords struct {
	Melt    Both   `json:"melt"`
	Against Both   `json:"against"` // the cure temperature while it is to get there, the set-point and its band
	Off     Both   `json:"off"`     // how far from where it is to get, or what is wrong with the reading
	Wait    string `json:"wait"`
	Left    string `json:"left"`
	Way     string `json:"way"`      // when it is ready
	Pour    string `json:"pour"`     // how long it can still be shot, off its plate
	PourHow string `json:"pour_how"` // and how sure that is
	// PourLead and PourFigure are Pour in two parts: its words and its seconds, if it has any.
	PourLead   string `json:"pour_lead"`
	PourFigure string `json:"pour_figure"`
	Injector   Both   `json:"injector"` // what was drawn and waits for the push, as it is estimated
	More       Both   `json:"more"`
	Ahead      Both   `json:"ahead"` // what is predicted
	Tone       Tone   `json:"tone"`
	Shape      string `json:"shape"`
	// Level is where the melt stands on the page's scale: 0 is where it is to get, -1 a cold
	// shop and 1 the melt's trip temperature; what is near to 0 is drawn wider. Band is half
	// of the band on that scale, 0 while the pot is to get to its cure temperature.
	Level Figure `json:"level"`
	Band  Figure `json:"band"`
}

func potWords(f *frames.Frame, i int, bench control.Settings) PotWords {
	p, s := &f.Pots[i], bench.Pots[i]
	w := unknownWords(s)
	w.Melt = inBoth(func(u unit) string { return meltText(p, u) })
	a := aimOf(p, s)
	w.Against = a.against(p)
	w.Off = a.offset(p)
	w.Wait, w.Left, w.Way = waiting(p), left(p, s), way(f, p)
	w.Pour, w.PourHow = pourWords(p.Pour, aboveBand(p))
	w.More = inBoth(func(u unit) string { return more(p, u) })
	w.Ahead = inBoth(func(u unit) string { return predicted(p, u) })
	w.Tone, w.Shape = potTone(f, i), shapes[p.State]
	w.Level, w.Band = a.level(p, bench.Limits.MeltTripC)
	return w
}

func unknownWords(s control.PotSettings) PotWords {
	return PotWords{
		Melt: same(dash), Against: against(s.SetpointC, s.BandC), Off: same(notKnown), Injector: same(""), More: same(""), Ahead: same(""),
		Tone: Lost, Shape: "unknown", Level: frames.Unknown(), Band: bandOnScale(s.BandC),
	}
}

// shapes name the page's drawing for each state.
var shapes = map[control.PotState]string{
	control.Off: "off", control.Heating: "heating", control.Curing: "curing", control.Cooling: "cooling",
	control.Holding: "holding", control.Ready: "ready", control.Lifted: "lifted", control.Tripped: "tripped",
}

// potTone is what pot i asks of a person.
func potTone(f *frames.Frame, i int) Tone {
	p := &f.Pots[i]
	switch {
	case p.State == control.Tripped, found(f, i, guard.Trip):
		return Danger
	case p.Wait == control.WaitReading, found(f, i, guard.Warning):
		return Warn
	case p.Wait == control.WaitClear, p.Wait == control.WaitStir, p.Wait == control.WaitReturn, p.Wait == control.WaitHand:
		return Attend
	}
	return Plain
}

// found reports whether the guard has found something of that severity on pot i.
func found(f *frames.Frame, i int, severity guard.Severity) bool {
	return slices.ContainsFunc(f.Conditions, func(c guard.Condition) bool {
		return c.Pot == i && c.Severity == severity
	})
}

// waiting is what the pot waits for; empty when it waits for nothing.
func waiting(p *control.PotFrame) string {
	text := ""
	switch p.Wait {
	case control.WaitNothing:
	case control.WaitRefused:
		text = texts.refused
	default:
		text = cmp.Or(liftWords(p), uncured(p), stoodStill(p), fmt.Sprintf(texts.waitsFor, p.Wait))
	}
	if p.Trial.Of > 0 {
		left := about(time.Duration(p.Trial.LeftS * float64(time.Second)))
		text = strings.TrimSuffix(fmt.Sprintf(texts.trying, p.Trial.Swing, p.Trial.Of, left)+"; "+text, "; ")
	}
	return text
}

// stoodStill says of a dwell that no time is counted, and what it waits for.
func stoodStill(p *control.PotFrame) string {
	if !p.DwellStands {
		return ""
	}
	return texts.dwellStands
}

// way says when the pot can be ready, where it is on its way and that is known. One that
// waits for the others is later.
func way(f *frames.Frame, p *control.PotFrame) string {
	if p.ReadyIn <= 0 || f.Heat != control.HeatEnabled || p.State == control.Ready {
		return ""
	}
	return fmt.Sprintf(texts.readyIn, giveOrTake(p.ReadyIn, p.ReadyWithin))
}

// giveOrTake writes an estimate with how far it may be off, no finer than it deserves. One
// that may be over already is told by the most that it can be: no time is below zero.
func giveOrTake(d, within time.Duration) string {
	n, off, unit := int(math.Round(d.Minutes())), max(1, int(math.Round(within.Minutes()))), "min"
	if d < 90*time.Second {
		n, off, unit = max(10, tens(d)), tens(within), "s"
	}
	if off >= n {
		return fmt.Sprintf(texts.lessThan, n+off, unit)
	}
	return fmt.Sprintf(texts.within, n, off, unit)
}

// tens are seconds, to the nearest ten.
func tens(d time.Duration) int { return int(math.Round(d.Seconds()/10)) * 10 }

// left is how long the wait takes, or how long "ready" lasts without a stir.
func left(p *control.PotFrame, s control.PotSettings) string {
	if p.State == control.Ready {
		return fmt.Sprintf(texts.goodFor, about(stirLeft(p, s)))
	}
	if p.DwellStands {
		return dwellLeft(p, s)
	}
	// A slope tells little of a melt that has yet to thicken, or that waits for the others
	// on its way down; the way does.
	if p.Wait == control.WaitNothing || p.WaitLeft < 0 || p.ReadyIn > 0 && (p.Wait == control.WaitHeat || p.Wait == control.WaitCool) {
		return ""
	}
	return about(p.WaitLeft)
}

// dwellLeft is what a dwell that stands still takes with the way back to the cure
// temperature; where nobody knows how long that is, what is left of the dwell.
func dwellLeft(p *control.PotFrame, s control.PotSettings) string {
	if p.WaitLeft >= 0 {
		return fmt.Sprintf(texts.withWayBack, about(p.WaitLeft))
	}
	return fmt.Sprintf(texts.onceBack, about(s.Dwell-p.Dwelled))
}

func stirLeft(p *control.PotFrame, s control.PotSettings) time.Duration {
	return max(0, s.StirWithin-p.SinceStir)
}

// fault says what is wrong with an unusable reading.
func fault(t reading.Temperature) string {
	if t.Fault == reading.None {
		return texts.tooOld
	}
	return t.Fault.String()
}

// more is what one wants to know on coming closer.
func more(p *control.PotFrame, u unit) string {
	text := heldBy(p, u)
	if text == "" {
		text = fmt.Sprintf(texts.plateHeater, plateText(p, u), u.symbol, math.Round(100*p.Duty)) + handText(p, u)
	}
	if p.StirredEver {
		text += fmt.Sprintf(texts.stirred, clock(p.SinceStir))
	}
	switch {
	case p.Tuned:
		text += texts.tuned
	case p.Doubted && p.CanBeTried:
		text += texts.tryOut
	}
	return text
}

// predictedIn are the minutes that are told of.
var predictedIn = []int{5, 10, 20}

// predicted says what the melt will be, and how far it rises once its heat is cut; empty where
// nothing is known of that.
func predicted(p *control.PotFrame, u unit) string {
	points := ahead(p)
	var told []string
	for _, in := range predictedIn {
		if i := in*60/model.AheadEveryS - 1; i < len(points) {
			told = append(told, fmt.Sprintf(texts.predictedIn, u.whole(points[i]), u.symbol, in))
		}
	}
	var all []string
	if told != nil {
		all = append(all, texts.Predicted+" "+strings.Join(told, ", "))
	}
	if rise := p.PeakC - p.MeltC; rise >= peakFromC {
		c := func(off float64) string { return u.whole(Figure(p.PeakC + off)) }
		all = append(all, fmt.Sprintf(texts.coasts, c(0), u.symbol, c(-p.PeakWithinC), c(p.PeakWithinC)))
	}
	return strings.Join(all, "; ")
}

// peakFromC is from what rise on a peak is told (E): less is what a hold does by itself.
const peakFromC = 3.0

// Where names the pot with the given index by its colour, or the bench.
func Where(pot int, s control.Settings) string {
	if pot < 0 || pot >= len(s.Pots) {
		return texts.bench
	}
	return potName(pot, s)
}

// potName is what people call the pot: its colour, or else its number.
func potName(pot int, s control.Settings) string {
	if name := s.Pots[pot].Colour; name != "" {
		return name
	}
	return fmt.Sprintf(texts.pot, pot+1)
}

// numbered is what people call the pot, its number first.
func numbered(pot int, s control.Settings) string {
	if s.Pots[pot].Colour == "" {
		return potName(pot, s)
	}
	return fmt.Sprintf("%d %s", pot+1, potName(pot, s))
}

func status(c guard.Condition) string {
	switch {
	case c.Active && c.Latched:
		return texts.activeLatched
	case c.Latched:
		return texts.latched
	}
	return texts.active
}

// stands says where a finding stands, as the alarms' own page does.
func stands(active, latched bool) string {
	switch {
	case active && latched:
		return texts.standsAndWaits
	case latched:
		return texts.waitsForReset
	}
	return texts.stands
}

// unit is one of the two ways to write a temperature.
type unit struct {
	symbol        string
	scale, offset float64
}

var (
	celsius    = unit{"°C", 1, 0}
	fahrenheit = unit{"°F", 1.8, 32}
)

// degrees converts a temperature in degrees Celsius.
func (u unit) degrees(c float64) float64 { return c*u.scale + u.offset }

// span converts a difference in degrees Celsius.
func (u unit) span(c float64) float64 { return c * u.scale }

// of is the text in this unit.
func (u unit) of(b Both) string {
	if u == fahrenheit {
		return b.F
	}
	return b.C
}

// whole writes a temperature without decimals, a dash when it is not known.
func (u unit) whole(c Figure) string {
	if !c.Known() {
		return dash
	}
	return strconv.FormatFloat(u.degrees(float64(c)), 'f', 0, 64)
}

func inBoth(text func(unit) string) Both { return Both{text(celsius), text(fahrenheit)} }

func same(text string) Both { return Both{text, text} }

// trimmed writes at most one decimal.
func trimmed(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// about writes an estimate no finer than it deserves.
func about(d time.Duration) string {
	switch {
	case d < 10*time.Second:
		return texts.fewSeconds
	case d < 90*time.Second:
		return fmt.Sprintf(texts.aboutSeconds, tens(d))
	case d < time.Hour:
		return fmt.Sprintf(texts.aboutMinutes, int(math.Round(d.Minutes())))
	}
	return fmt.Sprintf(texts.aboutHours, int(d.Hours()), int(d.Minutes())%60)
}

// clock writes a duration that was measured, "m:ss".
func clock(d time.Duration) string {
	s := int(d.Seconds())
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// ActionWords says what a finding does to heat, and how it ends.
func ActionWords(r guard.Rule) string {
	what := map[guard.Action]string{
		guard.Tell: texts.actTell, guard.Inhibit: texts.actInhibit, guard.HeaterOff: texts.actHeater, guard.AllOff: texts.actAll,
	}[r.Action]
	if r.Action == guard.Tell && r.Clears == guard.ByItself {
		return what
	}
	return what + "; " + fmt.Sprintf(texts.ends, r.Clears)
}

package review

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
)

// NotRecorded stands for what nobody measured, marked or typed.
const NotRecorded = "not recorded"

// Unit is how temperatures are shown.
type Unit bool

// The units.
const (
	Celsius    Unit = false
	Fahrenheit Unit = true
)

// Sign is the sign of the unit.
func (u Unit) Sign() string {
	if u == Fahrenheit {
		return "°F"
	}
	return "°C"
}

// temperature spells a temperature; difference a distance between two.
func (u Unit) temperature(c frames.Figure) string {
	if u == Fahrenheit {
		c = c*1.8 + 32
	}
	return figure(c, "%.1f "+u.Sign())
}

func (u Unit) difference(c frames.Figure, form string) string {
	if u == Fahrenheit {
		c *= 1.8
	}
	return figure(c, form+" "+u.Sign())
}

func figure(f frames.Figure, form string) string {
	if !f.Known() {
		return NotRecorded
	}
	return withoutMinusZero.Replace(fmt.Sprintf(form, float64(f)))
}

// withoutMinusZero spells a figure that rounds to nothing without a side. The
// space after it tells it from the beginning of a longer one.
var withoutMinusZero = strings.NewReplacer("-0.0 ", "0.0 ", "+0.0 ", "0.0 ")

// Sheet is one shot in words.
type Sheet struct {
	Number int
	// At is when in the run, Clock by the wall.
	At, Clock string
	// Mould and Note are as typed; Mould says so when nothing was.
	Mould, Note string
	Verdicts    []shot.Verdict
	// Verdict is all of them in one line; "not judged" when there is none.
	Verdict            string
	Spoiled, Withdrawn bool
	Pots               []PotSheet
	Spread, DrawToPush string
	MouldTemp, Room    string
	// Lids says how the lids were; "" on a bench that has none.
	Lids string
	// Off says which pots were outside their bands, and how far, the furthest first; ""
	// when every pot was in its band, or nothing is known.
	Off string
	// Missed says which aims of the recipe were missed; "" for none.
	Missed string
	// Later is a word about a fault that only showed days later; "" without one.
	Later string
	// Estimated says what the estimates of the injectors take for granted and what follows
	// from them; "" where there is nothing to go by.
	Estimated string
	// Photos are those of it, a line each; none where there are none.
	Photos []string
	// From and To are the stretch to show around it.
	From, To time.Duration
}

// PotSheet is one pot of a shot in words.
type PotSheet struct {
	Colour, Name, State                 string
	Melt, Target, Band, Deviation       string
	Slope, Held, SinceStir, Plate, Draw string
	Dose                                string
	// Injector is what it lost from the draw to the push, as it is estimated.
	Injector string
	// Out is true when the pot is known to have been outside its band; OutWords say it.
	Out      bool
	OutWords string
}

// Sheets are the shots of the run in words.
func (r Review) Sheets(u Unit) []Sheet {
	var all []Sheet
	aims := r.pour()
	for _, s := range r.Shots {
		sheet := u.sheet(s)
		r.estimate(&sheet, s, u)
		sheet.Missed = u.Missed(aims, s.Card)
		all = append(all, sheet)
	}
	return all
}

func (u Unit) sheet(s history.Shot) Sheet {
	from, to := Around(s.At)
	out := Sheet{
		Number: s.Number, At: Clock(s.At), Clock: s.Wall.Format("15:04:05"), Mould: orNotRecorded(s.Mould), Note: s.Note,
		Verdicts: s.Verdicts, Verdict: VerdictLine(s.Verdicts), Spoiled: s.Spoiled(), Withdrawn: s.Withdrawn,
		Spread:     u.difference(s.Card.SpreadC, "%.1f"),
		DrawToPush: figure(s.Card.DrawToPushS, "%.0f s"),
		MouldTemp:  u.temperature(s.Card.MouldC), Room: u.temperature(s.Card.RoomC),
		Lids: lidWords(&s.Card),
		From: from, To: to,
	}
	if len(s.Photos) > 0 {
		out.Photos = PhotoLines(s.Photos)
	}
	for _, p := range s.Card.Pots {
		out.Pots = append(out.Pots, u.pot(p))
	}
	out.Off = u.off(s.Card)
	if slices.ContainsFunc(s.Verdicts, func(v shot.Verdict) bool { return v.Day > 0 && v.Fault != shot.Clean }) {
		out.Later = laterWords
	}
	return out
}

// lidWords say how the lids were.
func lidWords(c *shot.Card) string {
	var said []string
	for _, l := range c.Lids {
		words := string(l.State)
		if 0 < l.Pot && l.Pot <= len(c.Pots) {
			words = fmt.Sprintf("pot %s: %s", c.Pots[l.Pot-1].Name, words)
		}
		said = append(said, words)
	}
	return strings.Join(said, ", ")
}

// laterWords is what is known of faults that show only days later (the trade's
// common practice, no source).
const laterWords = "what shows only days later seldom comes from heat: look at the dye and the storage"

// off names the pots outside their bands.
func (u Unit) off(c shot.Card) string {
	out := slices.DeleteFunc(slices.Clone(c.Pots), func(p shot.Pot) bool { return !p.OutOfBand() })
	slices.SortStableFunc(out, func(a, b shot.Pot) int {
		return cmp.Compare(math.Abs(float64(b.DeviationC)), math.Abs(float64(a.DeviationC)))
	})
	var words []string
	for _, p := range out {
		word := p.Colour + " " + u.beside(p.DeviationC)
		if p.StillReady() {
			word += ", " + u.outWords(p)
		}
		words = append(words, word)
	}
	return strings.Join(words, "; ")
}

// outWords say how a pot was outside its band: one that was still called ready is told as on
// the bench's page.
func (u Unit) outWords(p shot.Pot) string {
	still := view.StillReady(float64(p.BandC))
	switch {
	case !p.StillReady():
		return view.Texts().OutOfBand
	case u == Fahrenheit:
		return still.F
	}
	return still.C
}

func (u Unit) pot(p shot.Pot) PotSheet {
	return PotSheet{
		Colour: p.Colour, Name: p.Name, State: p.State, Out: p.OutOfBand(), OutWords: u.outWords(p),
		Melt: u.temperature(p.MeltC), Target: u.temperature(p.TargetC), Band: u.difference(p.BandC, "± %.1f"),
		Deviation: u.difference(p.DeviationC, "%+.1f"),
		Slope:     u.difference(p.SlopeCPerMin, "%+.1f") + perMinute(p.SlopeCPerMin),
		Held:      held(p),
		SinceStir: figure(p.SinceStirS, "%.0f s"),
		Plate:     u.temperature(p.PlateC),
		Draw:      figure(p.DrawToPushS, "%.0f s before the push"),
		Dose:      figure(p.DoseMin, "%.1f equal min"),
	}
}

// held is how long the melt had been cured; of one that was curing that is known as well.
func held(p shot.Pot) string {
	if p.State == control.Curing.String() {
		return "not cured yet"
	}
	return figure(p.HeldMin, "%.0f min")
}

func perMinute(f frames.Figure) string {
	if !f.Known() {
		return ""
	}
	return "/min"
}

// beside says how far a melt was from its own target.
func (u Unit) beside(deviationC frames.Figure) string {
	side := "above"
	if deviationC < 0 {
		side = "below"
	}
	return u.difference(frames.Figure(math.Abs(float64(deviationC))), "%.1f") + " " + side + " its own target"
}

// VerdictLine is a set of verdicts in one line.
func VerdictLine(all []shot.Verdict) string {
	if len(all) == 0 {
		return "not judged"
	}
	var words []string
	for _, v := range all {
		words = append(words, v.String())
	}
	return strings.Join(words, "; ")
}

func orNotRecorded(typed string) string {
	if typed == "" {
		return NotRecorded
	}
	return typed
}

// Clock spells a time of the run as h:mm:ss.
func Clock(at time.Duration) string {
	s := int(at.Seconds())
	return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
}

// Heading names the run in one line.
func (r Review) Heading() string {
	what := ""
	if r.Run.FirstHeat {
		what = "first heat, "
	}
	return fmt.Sprintf("run %d · %s%s, version %d", r.Run.ID, what, r.Run.Recipe, r.Run.Version)
}

// Subheading says when it was and how it stands.
func (r Review) Subheading() string {
	took := time.Duration(r.Run.TookS * float64(time.Second)).Round(time.Minute)
	text := fmt.Sprintf("%s · %s · %s", r.Run.Began.Format("2006-01-02 15:04"), minutes(took), StateWords(r.Run.State))
	if r.Parts > 1 {
		text += fmt.Sprintf(" · in %d parts", r.Parts)
	}
	if r.Run.Invented {
		text += " · simulated bench, invented"
	}
	return text + kept(r.Run)
}

func minutes(d time.Duration) string {
	if d < time.Hour {
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
}

// StateWords is the state of a run in words.
func StateWords(s history.State) string {
	if s == history.Recording {
		return "being recorded"
	}
	return string(s)
}

// Line is an event in words.
type Line struct {
	At    string
	Where string // the colour, or "bench"
	What  string
	// Alarm is true for what the guard found.
	Alarm bool
}

// Lines are the events of the run in words. Stirs are left out on request: there
// are as many of them as of all others together.
func (r Review) Lines(withStirs bool) []Line {
	var lines []Line
	number := 0
	for _, e := range r.Events {
		if e.Kind == history.Stirred && !withStirs || isTick(e) {
			continue
		}
		what := EventWords(e)
		if e.Kind == history.ShotPushed {
			number++
			what = ShotWords(e, number)
		}
		lines = append(lines, Line{At: Clock(e.At), Where: r.colour(e.Pot), What: what,
			Alarm: e.Kind == history.Alarm || e.Kind == history.HeatTripped})
	}
	return lines
}

// ShotWords is a shot with its number and its mould.
func ShotWords(e history.Event, number int) string {
	words := fmt.Sprintf("shot %d", number)
	if e.Text != "" {
		words += ", mould: " + e.Text
	}
	return words + from(e)
}

// kindWords is a kind of event as its button has it. A history keeps the name it began with.
func kindWords(k history.Kind) string {
	if k == history.CameCured {
		return "already cured"
	}
	return string(k)
}

// EventWords is what happened, without when and where.
func EventWords(e history.Event) string {
	words, text := kindWords(e.Kind), e.Text
	if e.Kind == history.TakenBack {
		text = kindWords(history.Kind(text))
	}
	for _, more := range []string{text, e.Amount} {
		if more != "" {
			words += ", " + more
		}
	}
	if e.TakenBack {
		words += ", taken back later"
	}
	return words + from(e)
}

// from is what an event was said from, where that was not at the bench.
func from(e history.Event) string {
	if e.From == "" {
		return ""
	}
	return ", from afar: " + e.From
}

// Deviations is what was changed at the bench: the run is its recipe version plus
// these.
func (r Review) Deviations() []config.Deviation {
	var all []config.Deviation
	for _, e := range r.Events {
		if e.Pot < 0 || e.Pot >= len(r.Settings.Pots) || e.TakenBack {
			continue
		}
		d := config.Deviation{Pot: r.Settings.Pots[e.Pot].Name, SetpointC: math.NaN()}
		switch {
		case e.Kind == history.NewSetpoint:
			d.SetpointC = e.C
		case e.Kind == history.Addition && e.Text != "" && e.Amount != "":
			d.Addition = config.Colourant{Name: e.Text, Amount: e.Amount}
		default:
			continue
		}
		all = append(all, d)
	}
	return all
}

// LeftOut are the additions that no recipe can have, because what or how much was
// not recorded.
func (r Review) LeftOut() (lines []string) {
	for _, e := range r.Events {
		if e.Kind == history.Addition && !e.TakenBack && (e.Text == "" || e.Amount == "") {
			lines = append(lines, fmt.Sprintf("%s at %s: %s", r.colour(e.Pot), Clock(e.At), additionWords(e)))
		}
	}
	return lines
}

// DeviationLines are the deviations in words.
func (r Review) DeviationLines(u Unit) []string {
	var lines []string
	for _, e := range r.Events {
		switch {
		case e.Kind == history.NewSetpoint:
			lines = append(lines, fmt.Sprintf("%s at %s: set-point %s", r.colour(e.Pot), Clock(e.At), u.temperature(frames.Figure(e.C))))
		case e.Kind == history.Addition && !e.TakenBack:
			lines = append(lines, fmt.Sprintf("%s at %s: %s", r.colour(e.Pot), Clock(e.At), additionWords(e)))
		}
	}
	return lines
}

func additionWords(e history.Event) string {
	switch {
	case e.Text == "" && e.Amount == "":
		return "addition, what and how much " + NotRecorded
	case e.Amount == "":
		return e.Text + " added, how much " + NotRecorded
	}
	return strings.TrimSpace(e.Amount+" "+e.Text) + " added"
}

package evidence

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

// Sheet is a case in words, for page, report and terminal.
type Sheet struct {
	Heading, Subheading string
	Verdict             string
	// Off says which pots were outside their bands; "" where none is known to have been.
	Off      string
	Findings []FindingSheet
	// NoFinding says why there is none; "" where there are.
	NoFinding string
	Beside    *BesideSheet
	// NoBeside says why there is no other shot; "" where there is one.
	NoBeside string
}

// FindingSheet is a fault and its causes in words.
type FindingSheet struct {
	// Fault is the bare word, Words the verdict with what it concerns.
	Fault, Words string
	// Later says why no temperature is held against it; "" for one that was seen at
	// demould.
	Later string
	// Measure says how many clean shots it is held against, and where nothing fits.
	Measure string
	Groups  []Group
}

// Group are the causes of one standing.
type Group struct {
	Standing string
	Causes   []Line
	// Unseen is true for the causes that no thermometer sees.
	Unseen bool
}

// Line is a cause, and the numbers for and against it.
type Line struct{ Cause, Numbers string }

// BesideSheet is the other shot in words.
type BesideSheet struct {
	Place   string
	Verdict string
	// Aside says that no figure is charged with a fault of days later; "" where a fault was
	// seen at demould, or there is none.
	Aside string
	Rows  []Row
	// Alike and NotRecorded are figures by name.
	Alike, NotRecorded []string
	// Words are the differences that are no figures.
	Words []Words
}

// Row is one figure of two shots.
type Row struct {
	Name, This, Other, Apart, Times string
	// Faults are those of the shot for which the trade names the figure as a cause; ""
	// where there is none.
	Faults string
}

// Words are lines under a head.
type Words struct {
	Head  string   `json:"head"`
	Lines []string `json:"lines"`
}

// Fixed words of every sheet.
const (
	// NoVerdict stands above hypotheses.
	NoVerdict = "Hypotheses, no verdict. The order is how far this shot was from the clean ones, not how likely a cause is. Each is held by itself: of several, one often fits by chance."
	// UnseenHead is the head of what no thermometer sees.
	UnseenHead = "no thermometer sees"
	// NothingFits is added where it is so.
	NothingFits = "Nothing that was recorded fits."
	// NoFigure stands for a fault that no figure of a shot has a say in.
	NoFigure = "No figure that is kept with a shot shows a cause of it."
	// NotCharged stands above figures where every fault was first seen days later.
	NotCharged = "The two shots differ in what follows; none of it is charged with a fault that was first seen days later."
	// NothingApart stands for an empty table of differences.
	NothingApart = "No figure differs by more than its uncertainty."
)

// RowHeads are the heads of a table of differences.
func RowHeads() []string {
	return []string{"figure", "this shot", "the other", "apart", "in uncertainties", "may cause"}
}

// Sheet is the case in words.
func (c Case) Sheet(u review.Unit) Sheet {
	own := c.Review
	own.Shots = []history.Shot{c.Shot}
	card := own.Sheets(u)[0]
	s := Sheet{
		Heading:    fmt.Sprintf("shot %d of %s", c.Shot.Number, own.Heading()),
		Subheading: own.Subheading(), Verdict: card.Verdict, Off: card.Off,
	}
	for _, f := range c.Findings {
		s.Findings = append(s.Findings, f.sheet(u, c.Clean))
	}
	switch {
	case c.Shot.Withdrawn:
		s.Findings, s.NoFinding = nil, "It was taken back: it counts as no shot."
	case len(c.Shot.Verdicts) == 0:
		s.NoFinding = "Nobody has said how it came out. Say that first."
	case len(c.Findings) == 0:
		s.NoFinding = "It is called clean: there is no fault to look for."
	}
	if s.Beside = c.besideSheet(u); s.Beside == nil {
		s.NoBeside = "There is no clean shot of this recipe before it. Choose another shot, or judge more of them."
	}
	return s
}

func (f Finding) sheet(u review.Unit, clean int) FindingSheet {
	out := FindingSheet{Fault: f.Verdict.Fault, Words: f.Verdict.String(), Later: f.later(), Measure: measureWords(clean)}
	switch fits := func(h Hypothesis) bool { return h.Standing == Fits }; {
	case f.Late:
		out.Measure = ""
	case len(f.Hypotheses) == 0:
		out.Measure = NoFigure
	case !slices.ContainsFunc(f.Hypotheses, fits):
		out.Measure += " " + NothingFits
	}
	group := func(standing Standing) Group {
		g := Group{Standing: string(standing)}
		for _, h := range f.Hypotheses {
			if h.Standing == standing {
				g.Causes = append(g.Causes, Line{h.Cause.Name, h.Numbers(u)})
			}
		}
		return g
	}
	unseen := Group{Standing: UnseenHead, Unseen: true}
	for _, words := range f.Unseen {
		unseen.Causes = append(unseen.Causes, Line{Cause: words})
	}
	// What no thermometer sees stands right after what fits, and is never put last.
	for _, g := range []Group{group(Fits), unseen, group(Against), group(OpenLeft)} {
		if len(g.Causes) > 0 {
			out.Groups = append(out.Groups, g)
		}
	}
	return out
}

// few clean shots are so few that chance alone makes a cause fit more often than once in
// ten.
const few = 9

func measureWords(clean int) string {
	switch {
	case clean == 0:
		return "There is no clean shot of this recipe to hold it against."
	case clean == 1:
		return "Held against the only clean shot of this recipe: that is little to go by."
	case clean < few:
		return fmt.Sprintf("Held against the only %d clean shots of this recipe: that is little to go by.", clean)
	}
	return fmt.Sprintf("Held against the %d clean shots of this recipe nearest in time.", clean)
}

// later says why a fault is not charged to temperature (the trade's common practice, no
// source).
func (f Finding) later() string {
	if !f.Late {
		return ""
	}
	words := fmt.Sprintf("First seen on day %d, not at demould. ", f.Verdict.Day)
	if f.Verdict.Fault == bled {
		words += "Colour that moves over days is a fault of its own: it comes from colourant and storage, so no temperature is charged with it."
	} else {
		words += "What shows only days later seldom comes from heat, so no temperature is charged with it."
	}
	if !f.AtDemould {
		words += " Nobody has said how it was at demould: if it was so then, say it with day 0."
	}
	return words
}

// Numbers say what speaks for or against a cause.
func (h Hypothesis) Numbers(u review.Unit) string {
	k := h.Cause.Figure.Kind
	value := h.Cause.Figure.Name + " " + u.Spell(k, h.Value)
	if len(h.NotCured) > 0 {
		return fmt.Sprintf("not cured yet: %s; of %d clean shots %d had such a pot", strings.Join(h.NotCured, " and "), h.Clean.Count, h.AsFar)
	}
	if !h.Value.Known() {
		return h.Cause.Figure.Name + " " + review.NotRecorded + " at this shot"
	}
	if h.Clean.Count == 0 {
		return value + "; " + review.NotRecorded + " at any clean shot"
	}
	words := value + "; " + h.Clean.words(u, k) + ": " + h.apart(u)
	for _, p := range h.Setpoints {
		words += fmt.Sprintf("; but the set-point of %s itself was %s, at the clean shots %s in the median",
			p.Colour, u.Spell(cause.Temperature, p.C), u.Spell(cause.Temperature, p.CleanC))
	}
	return words
}

func (c Usual) words(u review.Unit, k cause.Kind) string {
	least, median, most := u.Spell(k, c.Least), u.Spell(k, c.Median), u.Spell(k, c.Most)
	switch {
	case c.Count == 1:
		return "the one clean shot " + median
	case least == most && c.Count == 2:
		return "both clean shots " + median
	case least == most:
		return fmt.Sprintf("all %d clean shots %s", c.Count, median)
	}
	return fmt.Sprintf("%d clean shots %s in the median, %s to %s", c.Count, median, least, most)
}

func (h Hypothesis) apart(u review.Unit) string {
	k := h.Cause.Figure.Kind
	within := u.Apart(k, frames.Figure(h.Cause.Figure.Within))
	more, less, as := "more", "less", "as much"
	if h.Cause.Side == cause.Low {
		more, less, as = less, more, "as little"
	}
	switch {
	case h.Times >= -1 && h.Times <= 1:
		return "no difference that could be told (uncertainty " + within + ")"
	case h.Times < -1:
		return fmt.Sprintf("%s %s, %.1f times the uncertainty of %s", u.Apart(k, h.Beyond), less, -h.Times, within)
	}
	words := fmt.Sprintf("%s %s, %.1f times the uncertainty of %s", u.Apart(k, h.Beyond), more, h.Times, within)
	if h.AsFar == 0 {
		words += "; no clean shot had " + as
	} else {
		words += fmt.Sprintf("; of the clean shots %d had %s", h.AsFar, as)
	}
	return words + fmt.Sprintf("; by chance about 1 shot in %d", h.ByChance())
}

func (c Case) besideSheet(u review.Unit) *BesideSheet {
	if c.Beside == nil {
		return nil
	}
	b := c.Beside
	out := &BesideSheet{Place: b.Place.String(), Verdict: review.VerdictLine(b.Shot.Verdicts), Words: c.words(u)}
	if onlyLate(c.Findings) {
		out.Aside = NotCharged
	}
	for _, d := range b.Apart {
		out.Rows = append(out.Rows, Row{
			Name: d.Name, This: u.Spell(d.Kind, d.This), Other: u.Spell(d.Kind, d.Other), Apart: d.side() + u.Apart(d.Kind, d.By()),
			Times:  fmt.Sprintf("%.1f × %s", d.Times(), u.Apart(d.Kind, frames.Figure(d.Within))),
			Faults: c.faultsOf(d),
		})
	}
	for _, d := range b.Alike {
		out.Alike = append(out.Alike, fmt.Sprintf("%s (%s, %s)", d.Name, u.Spell(d.Kind, d.This), u.Spell(d.Kind, d.Other)))
	}
	for _, d := range b.NotRecorded {
		out.NotRecorded = append(out.NotRecorded, d.Name+" ("+d.missing(u)+")")
	}
	return out
}

// onlyLate reports whether every fault, and there is one, was first seen days later.
func onlyLate(all []Finding) bool {
	return len(all) > 0 && !slices.ContainsFunc(all, func(f Finding) bool { return !f.Late })
}

// faultsOf are the faults of the shot for which the trade names a figure, on the side on
// which this shot was.
func (c Case) faultsOf(d Difference) string {
	var words []string
	for _, f := range c.Findings {
		names := func(h Hypothesis) bool {
			return slices.Contains(d.causes, h.Cause.Figure) && frames.Figure(h.Cause.Side)*d.By() > 0
		}
		concerns := d.colour == "" || len(f.Verdict.Colours) == 0 || slices.Contains(f.Verdict.Colours, d.colour)
		if concerns && slices.ContainsFunc(f.Hypotheses, names) && !slices.Contains(words, f.Verdict.Fault) {
			words = append(words, f.Verdict.Fault)
		}
	}
	return strings.Join(words, ", ")
}

func (d Difference) side() string {
	if d.By() < 0 {
		return "-"
	}
	return "+"
}

// missing says at which of the two shots a figure is missing.
func (d Difference) missing(u review.Unit) string {
	one := func(f frames.Figure, curing bool) string {
		if curing && !f.Known() {
			return "not cured yet"
		}
		return u.Spell(d.Kind, f)
	}
	if a, b := one(d.This, d.thisCuring), one(d.Other, d.otherCuring); a != b {
		return "this shot: " + a + ", the other: " + b
	}
	return "at either shot"
}

// words are the differences that are no figures: recipe, bench, mould, set-points,
// states.
func (c Case) words(u review.Unit) []Words {
	b := c.Beside
	all := []Words{recipeWords(c.Review, b.Review)}
	if b.Run == c.Review.Run.ID {
		from, to := b.Shot.At, c.Shot.At
		all = append(all, Words{"changed at the bench between the two", changed(c.Review, min(from, to), max(from, to), u)})
	} else {
		all = append(all,
			Words{"changed at the bench before this shot", changed(c.Review, 0, c.Shot.At, u)},
			Words{"changed at the bench before the other", changed(b.Review, 0, b.Shot.At, u)})
	}
	all = append(all, Words{"mould, set-points and states", c.otherLines(u)})
	return slices.DeleteFunc(all, isEmpty)
}

func isEmpty(w Words) bool { return len(w.Lines) == 0 }

// BetweenRuns is what differs between two whole runs in what was typed.
func BetweenRuns(own, other review.Review, u review.Unit) []Words {
	return slices.DeleteFunc([]Words{
		recipeWords(own, other), {"changed at the bench here", own.DeviationLines(u)}, {"changed at the bench there", other.DeviationLines(u)},
	}, isEmpty)
}

func recipeWords(own, other review.Review) Words {
	return Words{fmt.Sprintf("recipe, from version %d there to version %d here", other.Run.Version, own.Run.Version), recipeLines(other.Recipe, own.Recipe)}
}

func recipeLines(from, to history.Version) []string {
	if from.Fingerprint == to.Fingerprint {
		return nil
	}
	old, err := config.ParseRecipe("recipe", []byte(from.Source))
	if err != nil {
		return []string{"what differs can not be told: " + err.Error()}
	}
	recent, err := config.ParseRecipe("recipe", []byte(to.Source))
	if err != nil {
		return []string{"what differs can not be told: " + err.Error()}
	}
	return config.Differences(old, recent)
}

// changed is what was changed at the bench in a stretch of a run.
func changed(r review.Review, from, to time.Duration, u review.Unit) []string {
	var within []history.Event
	for _, e := range r.Events {
		if from <= e.At && e.At <= to {
			within = append(within, e)
		}
	}
	r.Events = within
	return r.DeviationLines(u)
}

func (c Case) otherLines(u review.Unit) []string {
	var lines []string
	add := func(what, this, other string) {
		if this != other {
			lines = append(lines, what+": "+this+", the other "+other)
		}
	}
	add("mould", orNotRecorded(c.Shot.Mould), orNotRecorded(c.Beside.Shot.Mould))
	for _, p := range c.Shot.Card.Pots {
		q, found := potOf(c.Beside.Shot.Card, p.Colour)
		if !found {
			lines = append(lines, p.Colour+": no such colour in the other run")
			continue
		}
		add(p.Colour+" set-point", u.Spell(cause.Temperature, p.TargetC), u.Spell(cause.Temperature, q.TargetC))
		add(p.Colour, stateWords(p), stateWords(q))
	}
	return lines
}

func stateWords(p shot.Pot) string { return orNotRecorded(p.State) }

func orNotRecorded(typed string) string {
	if strings.TrimSpace(typed) == "" {
		return review.NotRecorded
	}
	return typed
}

package plan

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/control"
)

// Sheet is a plan in words, for page, paper and terminal.
type Sheet struct {
	Title, Subtitle string
	// Answer is how long it takes, or why that is not foreseen.
	Answer   string
	Cautions []string
	Sections []Section
}

// Section is a part of a sheet; of its contents some may be empty.
type Section struct {
	Title string
	Lines []string
	Ticks []string // to be ticked off by hand
	Head  []string // of the table
	Rows  [][]string
	Load  []Load
}

// Load is what the circuit carries in a stretch of time.
type Load struct {
	When, Watts string
	// Percent is the share of what it carries for long.
	Percent int
}

// version is what the lists call the recipe's version, or its fingerprint.
func (p *Plan) version() string {
	if p.Version > 0 {
		return fmt.Sprint(p.Version)
	}
	return p.Recipe.Fingerprint()
}

// Sheet returns the plan in words, temperatures in degrees Fahrenheit if so wanted.
func (p *Plan) Sheet(fahrenheit bool) Sheet {
	u := unit(fahrenheit)
	s := Sheet{
		Title:    "Plan: " + p.Recipe.Name,
		Subtitle: fmt.Sprintf("on %s, recipe version %s", p.Bench.Name, p.version()),
		Answer:   p.answer(), Cautions: cautions,
		Sections: []Section{{Title: "Before any heat", Ticks: p.checks(u)}, p.amounts(u)},
	}
	if p.foreseen() {
		s.Sections = append(s.Sections, p.steps(u), p.pots(), p.load())
	}
	s.Sections = append(s.Sections, p.basis(u))
	return s
}

// foreseen reports whether it is known when all is ready.
func (p *Plan) foreseen() bool { return p.Ready.Middle > 0 }

func (p *Plan) answer() string {
	switch {
	case p.Course == nil && slices.ContainsFunc(p.Settings.Pots, func(s control.PotSettings) bool { return s.Controller.Is() }):
		return "When all is ready is not foreseen: a controller of its own heats a pot, and nobody knows what it gives."
	case p.Course == nil:
		return "When all is ready is not foreseen: a pot has one probe only, and how it comes along rests on what a person reads."
	case !p.foreseen():
		return "When all is ready is not foreseen: by what is known of the pots, two hours are not enough."
	}
	e := p.Ready
	said := fmt.Sprintf("Ready about %s after the press, estimated; in 8 of 10 from %.0f to %.0f min.", minutes(e.Middle), e.From.Minutes(), e.To.Minutes())
	if !p.Begin.IsZero() {
		said = fmt.Sprintf("Press at %s and all is ready about %s, estimated; in 8 of 10 from %s to %s.",
			clock(p.Begin), clock(p.Begin.Add(e.Middle)), clock(p.Begin.Add(e.From)), clock(p.Begin.Add(e.To)))
	}
	if !p.ReadyAt.IsZero() {
		said += fmt.Sprintf(" To be ready by %s in 9 of 10, press at %s.", clock(p.ReadyAt), p.ReadyAt.Add(-e.To).Format("15:04"))
	}
	if first := p.firstHeats(); first != nil {
		said += " This is a first heat of " + strings.Join(first, ", ") + ": nothing is known of that yet, so the range is wide."
	} else if warmed := p.warmedOnly(); warmed != nil {
		said += " The range is wide: no more is known of " + strings.Join(warmed, ", ") + " than from a first heat."
	}
	return said
}

// when is a time after the press: on the clock where it is known when that is.
func (p *Plan) when(after time.Duration) string {
	said := fmt.Sprintf("+%.0f min", after.Minutes())
	if after < 0 {
		said = fmt.Sprintf("−%.0f min", -after.Minutes())
	}
	if p.Begin.IsZero() {
		return said
	}
	return clock(p.Begin.Add(after)) + " (" + said + ")"
}

// clock is a time to the nearest minute.
func clock(t time.Time) string { return t.Round(time.Minute).Format("15:04") }

func minutes(d time.Duration) string { return fmt.Sprintf("%.0f min", d.Minutes()) }

// unit is how temperatures are shown: true is Fahrenheit.
type unit bool

func (u unit) temperature(c float64) string {
	if u {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", c)
}

func (u unit) difference(c float64) string {
	if u {
		return fmt.Sprintf("%.0f °F", c*9/5)
	}
	return fmt.Sprintf("%.0f °C", c)
}

func (p *Plan) amounts(u unit) Section {
	s := Section{
		Title: "Amounts, as typed, in the order they go in", Head: []string{"colour", "pot", "goes in", "cure", "held at"},
		Lines: []string{
			"The recipe does not say when each goes in. Common practice: softener and hardener into the cold base; colour, flake, salt and scent, free of water and warm, into the clear melt.",
			"Mark what you stir in, with its amount: a cold addition makes the melt dip, and the heat for it then starts before the probe shows it.",
		},
	}
	for _, c := range p.Recipe.Colours {
		s.Rows = append(s.Rows, []string{
			join(", ", c.Name, c.Position), c.Pot, strings.Join(Amounts(c), "; "),
			fmt.Sprintf("%s for %.0f s", u.temperature(c.CureC), c.Dwell.Seconds()),
			fmt.Sprintf("%s ± %s", u.temperature(c.SetpointC), u.difference(c.BandC)),
		})
	}
	if order := p.order(); order != "" {
		s.Lines = append(s.Lines, "Order of the pots, as the recipe has it: "+order+".")
	}
	return s
}

// order is what the recipe says of the turn of each pot.
func (p *Plan) order() string {
	var said []string
	for _, c := range p.Recipe.Colours {
		if c.Order != "" {
			said = append(said, c.Name+" "+c.Order)
		}
	}
	return strings.Join(said, ", ")
}

// pots is each pot's way. Who waits is decided by the bench, pot by pot, as it goes.
func (p *Plan) pots() Section {
	s := Section{
		Title: "The pots, as foreseen", Head: []string{"colour", "pot", "heated from", "waits for the others", "at cure temperature", "dwell over", "in its band"},
		Lines: []string{"One press heats all pots. The program serves first who takes longest, and lets who is early wait below its cure temperature, where it does not age. That follows the readings, so a pot may wait at other times than these, or not at all."},
	}
	last := 0
	for i, c := range p.Course.Pots {
		if c.Cures > p.Course.Pots[last].Cures {
			last = i
		}
		set := &p.Settings.Pots[i]
		s.Rows = append(s.Rows, []string{
			set.Colour, set.Name, p.point(c.Heated), p.waits(c), p.point(c.Cures), p.point(c.Dwelled), p.point(c.Ready),
		})
	}
	s.Lines = append(s.Lines, p.Settings.Pots[last].Colour+" is the last at its cure temperature, as foreseen: what makes it quicker makes the evening quicker.")
	return s
}

// point is a time of the rehearsal; one that never comes is a dash.
func (p *Plan) point(foreseen time.Duration) string {
	if foreseen < 0 {
		return "–"
	}
	return p.when(p.likely(foreseen))
}

// leastWait is the shortest wait that is worth telling (E).
const leastWait = time.Minute

func (p *Plan) waits(c PotCourse) string {
	var said []string
	for _, w := range c.Waits {
		if w.To-w.From >= leastWait {
			said = append(said, fmt.Sprintf("from %s for %s", p.point(w.From), minutes(p.likely(w.To)-p.likely(w.From))))
		}
	}
	if said == nil {
		return "does not wait"
	}
	return strings.Join(said, "; ")
}

// loadEvery is how many minutes a line of the circuit's load is.
const loadEvery = 3

func (p *Plan) load() Section {
	c, rated := p.Course, p.Settings.Circuit
	share := func(w, of float64) int { return int(100*w/of + 0.5) }
	s := Section{Title: "Circuit", Lines: []string{
		fmt.Sprintf("Peak %.0f W, %d %% of the breaker's %.0f W. Busiest minute %.0f W, %d %% of the %.0f W that may flow for long; mean of the way up %.0f W.",
			c.PeakW, share(c.PeakW, rated.MaxW), rated.MaxW, c.BusiestW, share(c.BusiestW, rated.ContinuousW), rated.ContinuousW, c.MeanW),
		"Heaters only: nothing else belongs on this circuit meanwhile, unless the breaker has room for it.",
	}}
	for from := 0; from < len(c.MinuteW); from += loadEvery {
		part := c.MinuteW[from:min(from+loadEvery, len(c.MinuteW))]
		sum := 0.0
		for _, w := range part {
			sum += w
		}
		w := sum / float64(len(part))
		s.Load = append(s.Load, Load{p.point(time.Duration(from) * time.Minute), fmt.Sprintf("%.0f W", w), share(w, rated.ContinuousW)})
	}
	return s
}

// basis is what the plan rests on.
func (p *Plan) basis(u unit) Section {
	s := Section{Title: "What this rests on"}
	for i, known := range p.Recalled {
		s.Lines = append(s.Lines, fmt.Sprintf("%s: %s.", p.Settings.Pots[i].Colour, known))
	}
	room := "as it was read"
	if p.RoomAssumed {
		room = "assumed: nobody measured it"
	}
	s.Lines = append(s.Lines, fmt.Sprintf("Cold pots of raw plastisol in a room of %s, %s. Remelted plastisol and warm pots are quicker.", u.temperature(p.RoomC), room))
	if p.foreseen() {
		s.Lines = append(s.Lines, p.corrected())
	}
	for _, e := range p.Earlier[:min(len(p.Earlier), MostEarlier)] {
		s.Lines = append(s.Lines, e.String())
	}
	return s
}

// corrected says how the rehearsal was corrected.
func (p *Plan) corrected() string {
	e := p.Ready
	said := fmt.Sprintf("The program's own control, rehearsed on pots like these, takes %s.", minutes(e.Foreseen))
	if e.Runs == 0 {
		return said + " No earlier run on this bench says how far that is off; the range is assumed (E: our estimate)."
	}
	return said + fmt.Sprintf(" Earlier runs, hands included, took %.2f to %.2f times what it makes of them (runs: %d); so this one is expected to take %.2f times that.", e.Least, e.Most, e.Runs, e.Ratio)
}

// String says what an earlier run took.
func (e Earlier) String() string {
	said := fmt.Sprintf("Run %d, %s: all ready %.0f min after the press", e.Run, e.Began.Format(time.DateOnly), e.Took.Minutes())
	if e.Foreseen > 0 {
		said += fmt.Sprintf(", rehearsed %.0f min", e.Foreseen.Minutes())
	}
	return said + "."
}

// Package scale makes more or less of a recipe: every colour by its new volume. Volumes,
// masses and shares follow in proportion. Drops are rounded to whole ones and never
// turned into a volume, a pinch stays a pinch, and what has no unit is left to the eye.
// Heating does not follow: heater, plate and wall stay what they are.
package scale

import (
	"fmt"
	"slices"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/config/strict"
)

// Want is what is asked for, as typed: one of Times, Volumes and Shots.
type Want struct {
	Times   string  // of every colour, such as 1.5
	Volumes []Named // what goes into the pots; others stay
	// Shots are how many, PerShot what one takes of a colour, with runner and spill, and
	// Stays what is left in the pot after the last: where nothing is typed, as much as
	// covers its probe.
	Shots   string
	PerShot []Named
	Stays   []Named
}

// Named is a volume as typed, of one colour or, where that is "", of every colour.
type Named struct{ Colour, Volume string }

// Scaling is a recipe made larger or smaller.
type Scaling struct {
	Recipe  string   `json:"recipe"`
	Colours []Colour `json:"colours"`
	// Notes are what holds for all of it.
	Notes []string `json:"notes"`
	// Text is the recipe's file with the new amounts in it.
	Text []byte `json:"-"`
}

// Colour is one colour of it.
type Colour struct {
	Name  string  `json:"name"`
	Pot   string  `json:"pot"`
	Times float64 `json:"times"`
	ML    float64 `json:"mL"` // what goes into the pot
	// Why tells where the volume comes from, "" where it was typed.
	Why string `json:"why,omitempty"`
	// Fill tells how full the pot may be.
	Fill string `json:"fill"`
	Rows []Row  `json:"rows"`
}

// Words tells in one line how much there is to be.
func (c Colour) Words() string {
	words := fmt.Sprintf("×%.3g, %.1f mL", c.Times, c.ML)
	if c.Why != "" {
		words += ": " + c.Why
	}
	return words
}

// Row is one amount of a colour, before and afterwards.
type Row struct {
	What string `json:"what"`
	From string `json:"from"`
	To   string `json:"to"`
	Flag string `json:"flag,omitempty"` // what to look at, "" for nothing
}

// Of scales a recipe. Pots are those of the bench, with how full they may be; nil says
// that no bench is known. The error is a *strict.Error: about what is asked for, or about
// a volume that does not fit its pot.
func Of(r *config.Recipe, pots []config.Pot, w Want) (*Scaling, error) {
	s := scaling{recipe: r, pots: pots, want: w}
	if s.check() {
		for i := range r.Colours {
			s.colour(i)
		}
	}
	if len(s.problems) > 0 {
		return nil, &strict.Error{Problems: s.problems}
	}
	s.done.Recipe, s.done.Notes = r.Name, s.notes()
	var err error
	s.done.Text, err = config.Edit(r.Typed, s.changes)
	if err != nil {
		return nil, err
	}
	return &s.done, nil
}

// scaling is one under way.
type scaling struct {
	recipe   *config.Recipe
	pots     []config.Pot
	want     Want
	times    float64 // as asked for, 0 for not at all; so shots
	shots    float64
	done     Scaling
	changes  []config.Change
	manners  []quantity.Manner // of every amount
	problems []strict.Problem
}

// colour scales one colour.
func (s *scaling) colour(i int) {
	c := s.recipe.Colours[i]
	pot, known := s.pot(c.Pot)
	typed, why := s.wanted(c, pot)
	if typed == "" {
		return
	}
	ml, ok := s.volume(c.Name+".volume", typed, leastPotML)
	if !ok {
		return
	}
	if wrong, fix := pot.Misfit(ml); wrong != "" {
		s.complain(c.Name+".volume", typed, wrong, fix)
		return
	}
	done := Colour{
		Name: c.Name, Pot: c.Pot, Times: ml / c.Volume.ML, ML: ml, Why: why, Fill: fillOf(pot, known),
		Rows: []Row{{What: "volume", From: c.Volume.Typed, To: typed}},
	}
	path := fmt.Sprintf("colours[%d].", i+1)
	s.changes = append(s.changes, config.Change{Path: path + "volume", Value: typed})
	for _, a := range amountsOf(c) {
		scaled := quantity.Scale(a.typed, done.Times)
		done.Rows = append(done.Rows, Row{What: a.what, From: a.typed, To: scaled.Text, Flag: flag(scaled)})
		s.manners = append(s.manners, scaled.Manner)
		if scaled.Text != a.typed {
			s.changes = append(s.changes, config.Change{Path: path + a.path, Value: scaled.Text})
		}
	}
	s.done.Colours = append(s.done.Colours, done)
}

// wanted is the volume of a colour as it is to stand in the recipe, "" where it stays
// what it is or can not be told, and where it comes from.
func (s *scaling) wanted(c config.Colour, pot config.Pot) (typed, why string) {
	if s.times > 0 {
		return quantity.Scale(c.Volume.Typed, s.times).Text, ""
	}
	if s.shots == 0 {
		return of(s.want.Volumes, c.Name), ""
	}
	perShot := of(s.want.PerShot, c.Name)
	if perShot == "" {
		s.complain("per-shot", "", "nothing for "+c.Name, "say how much one shot takes of it, such as 18 mL")
		return "", ""
	}
	each, ok := s.volume("per-shot", perShot, leastShotML)
	if !ok {
		return "", ""
	}
	why = fmt.Sprintf("%g shots of %s", s.shots, perShot)
	stays := pot.LeastFillML
	switch left := of(s.want.Stays, c.Name); {
	case left != "":
		if stays, ok = s.volume("stays", left, 0); !ok {
			return "", ""
		}
		why += ", and " + left + " that stays in the pot"
		if stays < pot.LeastFillML {
			why += "; that is less than covers its probe (" + quantity.FormatVolume(pot.LeastFillML) + "): it reads too low in the last shots"
		}
	case stays > 0:
		why += ", and " + quantity.FormatVolume(stays) + " that stays in the pot and covers its probe"
	default:
		why += "; what has to stay in the pot is not recorded, and nothing was added for it"
	}
	return quantity.Scale(c.Volume.Typed, (s.shots*each+stays)/c.Volume.ML).Text, why
}

// pot is the bench's pot of a name, and whether the bench is known.
func (s *scaling) pot(name string) (config.Pot, bool) {
	i := slices.IndexFunc(s.pots, func(p config.Pot) bool { return p.Name == name })
	if i < 0 {
		return config.Pot{Name: name}, false
	}
	return s.pots[i], true
}

// amount is something that goes into a pot besides the base.
type amount struct{ what, path, typed string }

func amountsOf(c config.Colour) []amount {
	all := []amount{{"softener", "softener", c.Softener}, {"hardener", "hardener", c.Hardener}}
	for i, colourant := range c.Colourants {
		all = append(all, amount{colourant.Name, fmt.Sprintf("colourants[%d].amount", i+1), colourant.Amount})
	}
	flake := "flake"
	if c.FlakeCut != "" {
		flake = "flake.amount"
	}
	all = append(all, amount{"flake", flake, c.Flake}, amount{"pearl", "pearl", c.Pearl}, amount{"salt", "salt", c.Salt}, amount{"scent", "scent", c.Scent})
	return slices.DeleteFunc(all, func(a amount) bool { return a.typed == "" })
}

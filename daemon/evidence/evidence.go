// Package evidence answers "why did it bleed?" as far as what was recorded goes: it holds
// a shot beside a clean one of the same recipe, each figure against its own uncertainty,
// and every cause that the trade knows of its faults against what the clean shots had.
//
// A cause is a hypothesis that fits, that something speaks against, or of which nothing
// can be told; there is never one verdict, and the causes that no thermometer sees stand
// beside the others. A fault that was first seen days later is never charged to
// temperature.
package evidence

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

// Place is where a shot is kept: its run and its number in it.
type Place struct {
	Run  int64 `json:"run"`
	Shot int   `json:"shot"`
}

// String is the place in words.
func (p Place) String() string { return fmt.Sprintf("run %d, shot %d", p.Run, p.Shot) }

// Typed is the place as it is typed: 5/2.
func (p Place) Typed() string { return fmt.Sprintf("%d/%d", p.Run, p.Shot) }

// ErrPlace is wrapped by the error about a place that can not be read.
var ErrPlace = errors.New("write the run and the shot, like 5/2")

// ParsePlace reads a place as it is typed.
func ParsePlace(typed string) (Place, error) {
	run, number, _ := strings.Cut(typed, "/")
	r, errRun := strconv.ParseInt(run, 10, 64)
	n, errShot := strconv.Atoi(number)
	if errRun != nil || errShot != nil || r < 1 || n < 1 {
		return Place{}, fmt.Errorf("beside %q: %w", typed, ErrPlace)
	}
	return Place{r, n}, nil
}

// Case is a shot and all that it can be held against.
type Case struct {
	Review review.Review `json:"-"`
	Shot   history.Shot  `json:"shot"`
	// Findings are its faults; none of a shot that is clean or not judged.
	Findings []Finding `json:"findings"`
	// Beside is the other shot; nil where there is none.
	Beside *Beside `json:"beside"`
	// Clean is how many clean shots of the recipe it was held against.
	Clean int `json:"clean_shots"`
	// Choices are shots that it can be put beside, those of its own run first.
	Choices []Choice `json:"-"`
}

// Place is where the shot of the case is kept.
func (c Case) Place() Place { return Place{c.Review.Run.ID, c.Shot.Number} }

// Beside is the shot that another one is held against.
type Beside struct {
	Place
	Review review.Review `json:"-"`
	Shot   history.Shot  `json:"-"`
	Figures
	// Words are the differences that are no figures, in degrees Celsius.
	Words []Words `json:"in_words"`
}

// Choice is a shot to choose, and what became of it.
type Choice struct {
	Place
	Words string
}

// mostClean is how many clean shots a cause is held against: those nearest in time, so
// that neither a bench of long ago counts nor a page grows slow.
const mostClean = 100

// Of gathers the case of a shot, held beside another one; the zero Place takes the last
// clean one of its run before it, or else the next in its run, or else the last before it
// with the same recipe. The error wraps history.ErrNoRun or history.ErrNoShot where there
// is none, and ErrPlace where it would stand beside itself.
func Of(s *history.Store, at, beside Place) (Case, error) {
	var c Case
	var err error
	if c.Review, err = review.Of(s, at.Run); err != nil {
		return c, err
	}
	if c.Shot, err = shotOf(c.Review, at.Shot); err != nil {
		return c, err
	}
	if beside == at {
		return c, fmt.Errorf("beside %d/%d: that is the shot itself; %w", at.Run, at.Shot, ErrPlace)
	}
	clean, err := s.CleanShots(c.Review.Run.Recipe, c.Shot.Wall, mostClean+1)
	if err != nil {
		return c, err
	}
	clean = slices.DeleteFunc(clean, func(o history.ShotOf) bool { return o.Run == at.Run && o.Number == at.Shot })
	c.judge(clean[:min(len(clean), mostClean)])
	if beside == (Place{}) {
		beside = c.nearestClean(clean)
	}
	if beside == (Place{}) {
		return c, nil
	}
	return c, c.put(s, beside)
}

func shotOf(r review.Review, number int) (history.Shot, error) {
	i := slices.IndexFunc(r.Shots, func(s history.Shot) bool { return s.Number == number })
	if i < 0 {
		return history.Shot{}, fmt.Errorf("run %d, shot %d: %w", r.Run.ID, number, history.ErrNoShot)
	}
	return r.Shots[i], nil
}

// judge holds the faults of the shot against the clean shots of its recipe.
func (c *Case) judge(clean []history.ShotOf) {
	var held []cause.Shot
	for _, o := range clean {
		held = append(held, cause.Shot{Card: o.Card, Number: o.Number})
	}
	c.Clean, c.Choices = len(clean), c.choices(clean)
	c.Findings = findings(c.Shot.Verdicts, c.Shot.Card, c.Shot.Number, held)
}

// mostChoices is how many shots of other runs are offered.
const mostChoices = 30

func (c *Case) choices(clean []history.ShotOf) []Choice {
	var all []Choice
	own := c.Review.Run.ID
	for _, s := range c.Review.Shots {
		if s.Number != c.Shot.Number && !s.Withdrawn {
			all = append(all, Choice{Place{own, s.Number}, choiceWords(Place{own, s.Number}, s)})
		}
	}
	for _, o := range clean {
		if at := (Place{o.Run, o.Number}); o.Run != own && len(all) < mostChoices {
			all = append(all, Choice{at, choiceWords(at, o.Shot)})
		}
	}
	return all
}

func choiceWords(at Place, s history.Shot) string {
	return fmt.Sprintf("%s · %s · %s", at, s.Wall.Format("2006-01-02"), review.VerdictLine(s.Verdicts))
}

// nearestClean is the clean shot that this one is held beside unless the maker chooses
// another; the zero Place where there is none.
func (c *Case) nearestClean(clean []history.ShotOf) Place {
	before, after := Place{}, Place{}
	for _, s := range c.Review.Shots {
		switch at := (Place{c.Review.Run.ID, s.Number}); {
		case s.Withdrawn || !isClean(s):
		case s.Number < c.Shot.Number:
			before = at
		case s.Number > c.Shot.Number && after == (Place{}):
			after = at
		}
	}
	if before != (Place{}) {
		return before
	}
	if after != (Place{}) {
		return after
	}
	for _, o := range clean { // the nearest in time comes first
		if o.Run != c.Review.Run.ID && !o.Wall.After(c.Shot.Wall) {
			return Place{o.Run, o.Number}
		}
	}
	return Place{}
}

// isClean reports whether a shot is called clean and nothing else, days later either.
func isClean(s history.Shot) bool {
	return !s.Spoiled() && slices.ContainsFunc(s.Verdicts, func(v shot.Verdict) bool { return v.Fault == shot.Clean })
}

// put holds the shot beside another one.
func (c *Case) put(s *history.Store, at Place) error {
	b := Beside{Place: at, Review: c.Review}
	var err error
	if at.Run != c.Review.Run.ID {
		if b.Review, err = review.Of(s, at.Run); err != nil {
			return err
		}
	}
	if b.Shot, err = shotOf(b.Review, at.Shot); err != nil {
		return err
	}
	b.Figures = compare(cause.Shot{Card: c.Shot.Card, Number: c.Shot.Number}, cause.Shot{Card: b.Shot.Card, Number: b.Shot.Number})
	c.Beside = &b
	b.Words = c.words(review.Celsius)
	if !slices.ContainsFunc(c.Choices, func(o Choice) bool { return o.Place == at }) {
		c.Choices = append(c.Choices, Choice{at, choiceWords(at, b.Shot)})
	}
	return nil
}

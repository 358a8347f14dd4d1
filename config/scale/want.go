package scale

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/config/strict"
)

// What can be believed, E: beyond it a typing mistake.
const (
	leastTimes, mostTimes = 0.01, 100.0
	mostShots             = 10_000
	leastPotML            = 1.0 // a recipe asks for more
	leastShotML           = 0.1
)

func (s *scaling) complain(key, value, wrong, fix string) {
	s.problems = append(s.problems, strict.Problem{File: "scaling", Key: key, Value: value, Wrong: wrong, Fix: fix})
}

// check reads what is asked for, and reports whether colours can be worked out by it.
func (s *scaling) check() bool {
	w := s.want
	byShots := w.Shots != "" || len(w.PerShot) > 0
	switch {
	case w.Times != "" && len(w.Volumes) == 0 && !byShots:
		if s.times = number(w.Times); !(s.times >= leastTimes && s.times <= mostTimes) {
			s.complain("times", w.Times, "no number to multiply by", fmt.Sprintf("write one from %g to %g, such as 1.5", leastTimes, mostTimes))
		}
	case w.Times == "" && len(w.Volumes) > 0 && !byShots:
		s.checkNames("volume", w.Volumes)
	case w.Times == "" && len(w.Volumes) == 0 && byShots:
		if s.shots = number(w.Shots); !(s.shots >= 1 && s.shots <= mostShots) || s.shots != math.Trunc(s.shots) {
			s.complain("shots", w.Shots, "no number of shots", fmt.Sprintf("write a whole number from 1 to %d", mostShots))
		}
		s.checkNames("per-shot", w.PerShot)
		s.checkNames("stays", w.Stays)
	default:
		s.complain("", "", "not clear how much is wanted", "give one of times, a volume, or shots with the volume of one")
	}
	return len(s.problems) == 0
}

// number is not a number for a text that is none.
func number(text string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func (s *scaling) checkNames(key string, list []Named) {
	var known []string
	for _, c := range s.recipe.Colours {
		known = append(known, c.Name)
	}
	for _, n := range list {
		if n.Colour == "" || slices.Contains(known, n.Colour) {
			continue
		}
		fix := "write one of " + strings.Join(known, ", ")
		if near, ok := strict.Nearest(n.Colour, known); ok {
			fix = fmt.Sprintf("did you mean %q?", near)
		}
		s.complain(key, n.Colour, "no colour has this name", fix)
	}
}

// of is what is typed for a colour, its own before that of every colour.
func of(list []Named, colour string) string {
	typed := ""
	for _, n := range list {
		if n.Colour == colour || n.Colour == "" && typed == "" {
			typed = n.Volume
		}
	}
	return strings.TrimSpace(typed)
}

// volume reads a volume in mL, and reports whether it is one of at least so much.
func (s *scaling) volume(key, typed string, leastML float64) (ml float64, ok bool) {
	v, err := quantity.ParseVolume(typed)
	if err == nil && v.ML < leastML {
		err = &quantity.Fault{Wrong: "too little", Fix: fmt.Sprintf("write at least %g mL", leastML)}
	}
	var f *quantity.Fault
	if errors.As(err, &f) {
		s.complain(key, typed, f.Wrong, f.Fix)
		return 0, false
	}
	return v.ML, true
}

// noteworthyRounding is a share that a rounded amount may be off by without a word: the
// least that is seen in a colour (C).
const noteworthyRounding = 0.05

// flag says what to look at in a scaled amount.
func flag(a quantity.Scaled) string {
	switch {
	case a.Manner == quantity.Pinches:
		return "a pinch can not be scaled: by eye"
	case a.Manner == quantity.NoAmount:
		return "no amount with a unit: by eye"
	case a.Manner == quantity.Share:
		return "a share of the base stays"
	case math.Abs(a.Rounding) > noteworthyRounding:
		return fmt.Sprintf("%.3g before rounding, so %+.0f %%: weigh it, or choose a volume that comes out even", a.Exact, 100*a.Rounding)
	}
	return ""
}

// fillOf says how full a pot may be.
func fillOf(p config.Pot, known bool) string {
	if !known {
		return "not recorded how full the pot may be: no bench file is known here"
	}
	least, most := "not recorded", "not recorded"
	if p.LeastFillML > 0 {
		least = quantity.FormatVolume(p.LeastFillML)
	}
	if p.MostFillML > 0 {
		most = quantity.FormatVolume(p.MostFillML)
	}
	return fmt.Sprintf("least fill that covers the probe: %s; most: %s", least, most)
}

// notes are what holds for all of a scaling.
func (s *scaling) notes() []string {
	notes := []string{"Heating time does not follow the volume: heater, plate and wall stay what they are. Go by the bench, not by the clock."}
	if slices.Contains(s.manners, quantity.Drops) {
		notes = append(notes, fmt.Sprintf("Drops are counted and not turned into millilitres. One differs from the next by ±%.0f %% at the least, "+
			"with dropper and liquid by far more: weigh them where the shade matters.", 100*quantity.DropSpread))
	}
	if s.shots > 0 {
		notes = append(notes, "What a shot takes has to count runner, sprue and spill; weigh a whole shot to know it.")
	}
	return notes
}

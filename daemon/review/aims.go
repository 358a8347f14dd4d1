package review

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// Aims says what a recipe aims at in the push; "" where it has no aim. Temperatures are
// in both units, for a page that shows either.
func Aims(p config.Pour) string {
	both := func(c float64) string {
		f := strconv.FormatFloat(math.Round(10*(c*1.8+32))/10, 'f', -1, 64)
		return quantity.FormatTemperature(c) + " (" + f + " °F)"
	}
	var aims []string
	if p.DrawWithin > 0 {
		aims = append(aims, "push within "+span(p.DrawWithin)+" of the first draw")
	}
	if p.MouldAtLeastC > 0 {
		aims = append(aims, "mould at least "+both(p.MouldAtLeastC))
	}
	if p.MouldAtMostC > 0 {
		aims = append(aims, "mould at most "+both(p.MouldAtMostC))
	}
	if p.HeldAtMost > 0 {
		aims = append(aims, "draw within "+span(p.HeldAtMost)+" of the cure")
	}
	if len(aims) == 0 {
		return ""
	}
	return "aim: " + strings.Join(aims, "; ")
}

// span is a time in whole minutes or seconds.
func span(d time.Duration) string {
	if d >= time.Minute && d%time.Minute == 0 {
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d s", int(d.Seconds()))
}

// Missed says which aims a shot is known to have missed by more than can be told from
// how they are measured; "" for none.
func (u Unit) Missed(p config.Pour, s shot.Card) string {
	var all []string
	of := cause.Shot{Card: s}
	check := func(f *cause.Figure, side, aim float64, word string) {
		if v := f.Of(of); aim > 0 && side*float64(v) > side*aim+f.Within {
			all = append(all, fmt.Sprintf("%s %s (%s %s)", f.Name, u.Spell(f.Kind, v), word, u.Spell(f.Kind, frames.Figure(aim))))
		}
	}
	check(cause.Draw, 1, p.DrawWithin.Seconds(), "at most")
	check(cause.Mould, -1, p.MouldAtLeastC, "at least")
	check(cause.Mould, 1, p.MouldAtMostC, "at most")
	check(cause.Held, 1, p.HeldAtMost.Minutes(), "at most")
	return strings.Join(all, "; ")
}

// pour is what the recipe of the run aims at; no aim where its text can not be read.
func (r Review) pour() config.Pour {
	if r.Recipe.Source == "" {
		return config.Pour{}
	}
	recipe, err := config.ParseRecipe("recipe", []byte(r.Recipe.Source))
	if err != nil {
		return config.Pour{}
	}
	return recipe.Pour
}

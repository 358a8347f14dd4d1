package plan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// step is something that hands do, or that happens by itself.
type step struct {
	at   time.Duration // after the press, as it is to be expected
	hand bool
	what string
}

// checksTake is how long the checks before any heat are given (C).
const checksTake = 15 * time.Minute

func (p *Plan) steps(u unit) Section {
	all := []step{
		{-checksTake, true, "go through the checks above, measure what goes into each pot"},
		{0, true, "press the enable button: leave it alone for a second, hold it for about a second, release it. Nothing else enables heat"},
		{0, true, fmt.Sprintf("from now on stir each pot about every %.0f s, and mark it; ready asks for a stir within %.0f s", stirEvery.Seconds(), p.Recipe.StirWithin.Seconds())},
	}
	for i := range p.Course.Pots {
		all = append(all, p.potSteps(u, i)...)
	}
	all = append(all, step{p.Ready.Middle, true, p.pour()})
	slices.SortStableFunc(all, func(a, b step) int { return cmp.Compare(a.at, b.at) })
	s := Section{Title: "What happens when, as foreseen", Head: []string{"when", "by", "what"}}
	for _, x := range all {
		by := "itself"
		if x.hand {
			by = "hand"
		}
		s.Rows = append(s.Rows, []string{p.when(x.at), by, x.what})
	}
	return s
}

func (p *Plan) potSteps(u unit, i int) (all []step) {
	c, set := p.Course.Pots[i], &p.Settings.Pots[i]
	add := func(at time.Duration, hand bool, what string) {
		if at >= 0 {
			all = append(all, step{p.likely(at), hand, set.Colour + ": " + what})
		}
	}
	for _, w := range c.Waits {
		if w.To-w.From >= leastWait {
			add(w.From, false, fmt.Sprintf("waits for the other pots, until about %s", p.point(w.To)))
		}
	}
	add(c.Cures, false, fmt.Sprintf("at its cure temperature of %s; %.0f s of dwell", u.temperature(set.CureC), set.Dwell.Seconds()))
	add(c.Dwelled, true, "look at it; once it is clear, press Melt is clear, and stir in what belongs there")
	add(c.Ready, false, fmt.Sprintf("in its band around %s", u.temperature(set.SetpointC)))
	return all
}

// pour is what follows once all is ready.
func (p *Plan) pour() string {
	said := []string{"all ready: mould complete with its inserts and clamped, face shield on; stir, draw, push together"}
	if order := p.order(); order != "" {
		said = append(said, "in this order: "+order)
	}
	if w := p.Recipe.Pour.DrawWithin; w > 0 {
		said = append(said, fmt.Sprintf("from the first draw to the push within %.0f s", w.Seconds()))
	}
	return strings.Join(said, "; ")
}

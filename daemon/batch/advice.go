package batch

import (
	"slices"

	"meltwarden/daemon/exact"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// yellowed is the verdict on a bait that had too much heat.
const yellowed = "scorched"

// Advice holds the doses of the maker's batches that yellowed against those of the
// others.
type Advice struct {
	// Yellowed are the doses at which a batch was first called scorched, Others the highest
	// at which one that never was had been judged; in equal minutes, from the least.
	Yellowed []float64 `json:"yellowed_min"`
	Others   []float64 `json:"others_min"`
	// NoColour counts the shots called scorched that do not say which colour; LeftOut those
	// whose dose is not known, or was reckoned with another activation energy.
	NoColour int `json:"scorched_without_colour"`
	LeftOut  int `json:"left_out"`
	// Chance is how likely yellowed batches would be to lie as high as they do if heat had
	// nothing to do with it (exact rank-sum test, one-sided: heat only adds); unknown
	// without batches of both kinds.
	Chance frames.Figure `json:"chance"`
}

// tells is the largest Chance that is taken for a word (E): less than the usual one time in
// twenty, because it is looked at anew with every batch that is judged
// (TestNumbersOfLookingAnew).
const tells = 0.01

// Enough reports whether so many batches could say anything at all.
func (a Advice) Enough() bool { return enough(len(a.Yellowed), len(a.Others)) }

// enough asks for the chance of the clearest of outcomes.
func enough(yellow, others int) bool {
	return yellow > 0 && others > 0 && 1/exact.Choose(yellow+others, yellow) <= tells
}

// Speaks reports whether the yellowed batches have had clearly more heat than the others.
func (a Advice) Speaks() bool { return a.Enough() && float64(a.Chance) <= tells }

// reaches reports whether a dose is one at which batches yellowed.
func (a Advice) reaches(d frames.Figure) bool {
	return a.Speaks() && float64(d) >= a.Yellowed[0]
}

// Below is how many of the others had less than the least that yellowed.
func (a Advice) Below() int {
	n := 0
	for n < len(a.Others) && len(a.Yellowed) > 0 && a.Others[n] < a.Yellowed[0] {
		n++
	}
	return n
}

// seen is what is known of one batch.
type seen struct{ yellow, other frames.Figure }

// adviceOf goes through the judged shots. What showed only days later is left out: it has
// other causes than heat.
func adviceOf(batches []Batch, judged []history.Judged, kJ float64) Advice {
	a := Advice{Yellowed: []float64{}, Others: []float64{}, Chance: frames.Unknown()}
	of := placesOf(batches)
	all := make([]seen, len(batches))
	for i := range all {
		all[i] = seen{frames.Unknown(), frames.Unknown()}
	}
	for _, j := range judged {
		j.Verdicts = slices.DeleteFunc(slices.Clone(j.Verdicts), func(v shot.Verdict) bool { return v.Day > 0 })
		named, unnamed := scorchedColours(j)
		if unnamed {
			a.NoColour++
		}
		if unnamed || len(j.Verdicts) == 0 {
			continue
		}
		for pot, p := range j.Pots {
			at, ok := of[place{j.Run, pot}]
			if !ok {
				continue
			}
			d := frames.Unknown()
			if at.kJ == kJ {
				d = p.RunDoseMin + at.before.DoseMin(kJ)
			}
			if !d.Known() {
				a.LeftOut++
				continue
			}
			all[at.batch].take(d, slices.Contains(named, p.Colour))
		}
	}
	for _, s := range all {
		switch {
		case s.yellow.Known():
			a.Yellowed = append(a.Yellowed, float64(s.yellow))
		case s.other.Known():
			a.Others = append(a.Others, float64(s.other))
		}
	}
	slices.Sort(a.Yellowed)
	slices.Sort(a.Others)
	if len(a.Yellowed) > 0 && len(a.Others) > 0 {
		a.Chance = frames.Figure(chance(len(a.Yellowed), len(a.Others), a.against()))
	}
	return a
}

// take takes in the dose of a batch at a judged shot.
func (s *seen) take(d frames.Figure, yellow bool) {
	switch {
	case yellow && !(s.yellow <= d):
		s.yellow = d
	case !yellow && !(s.other >= d):
		s.other = d
	}
}

// scorchedColours are the colours that a shot was called scorched in; unnamed is true where
// it was and nobody said in which.
func scorchedColours(j history.Judged) (named []string, unnamed bool) {
	for _, v := range j.Verdicts {
		switch {
		case v.Fault != yellowed:
		case len(v.Colours) > 0:
			named = append(named, v.Colours...)
		case len(j.Pots) == 1:
			named = append(named, j.Pots[0].Colour)
		default:
			unnamed = true
		}
	}
	return named, unnamed && len(named) == 0
}

// place is a pot, an index, of a run.
type place struct {
	run int64
	pot int
}

// standing is a batch in a place, with what it had had before.
type standing struct {
	batch  int // an index
	before shot.Heat
	kJ     float64
}

func placesOf(batches []Batch) map[place]standing {
	all := map[place]standing{}
	for i, b := range batches {
		var before shot.Heat
		for _, h := range b.Heats {
			all[place{h.Run, h.Pot}] = standing{i, before, h.KJ}
			before = before.Plus(h.Heat)
		}
	}
	return all
}

// against counts the pairs of a yellowed batch and another one that had as much or more.
func (a Advice) against() int {
	n := 0
	for _, y := range a.Yellowed {
		for _, o := range a.Others {
			if o >= y {
				n++
			}
		}
	}
	return n
}

// chance is the probability that of m + n values in random order, m of which are marked,
// no more than u pairs have an unmarked value above a marked one: the lower tail of the
// exact rank-sum distribution (Mann and Whitney 1947). Its counts are the coefficients of
// the Gaussian binomial, the product of (1 - x^(n+i)) / (1 - x^i) for i from 1 to m: that
// is quick with a thousand batches, where exact.Compare, which knows ties, takes minutes.
// Here a tie counts against.
func chance(m, n, u int) float64 {
	counts := make([]float64, m*n+1)
	counts[0] = 1
	for i := 1; i <= m; i++ {
		for k := m * n; k >= n+i; k-- {
			counts[k] -= counts[k-n-i]
		}
		for k := i; k <= m*n; k++ {
			counts[k] += counts[k-i]
		}
	}
	all, tail := 0.0, 0.0
	for k, c := range counts {
		all += c
		if k <= u {
			tail += c
		}
	}
	return max(0, tail/all)
}

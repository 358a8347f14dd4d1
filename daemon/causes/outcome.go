package causes

import (
	"math"
	"slices"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/exact"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// run is one run with the shots that came out with the fault or clean.
type run struct {
	Run
	shots []judged
}

// judged is a shot with its outcome. Its figures are those of the whole bait for every
// shot, whichever colours the verdict names: the hottest of two pots is seldom as hot as
// the hottest of three, and like has to be held against like.
type judged struct {
	cause.Shot
	mould  string
	faulty bool
}

func (r run) counts() (faulty, clean int) {
	for _, s := range r.shots {
		if s.faulty {
			faulty++
		} else {
			clean++
		}
	}
	return faulty, clean
}

// Why a shot is left out.
const (
	whyWithdrawn = "taken back"
	whyUnjudged  = "not judged"
	whyLater     = "a fault days later and nothing said at demould, never charged to temperature"
	whyOther     = "another fault"
)

// outcomes are the shots that are looked at for a fault, and those that are not.
func outcomes(fault string, runs []Run) (seen []run, left []LeftOut) {
	reasons := []string{whyOther, whyUnjudged, whyLater, whyWithdrawn}
	out := make([]LeftOut, len(reasons))
	for _, r := range runs {
		kept := run{Run: r}
		for _, s := range r.Shots {
			faulty, why := outcome(fault, s)
			if why == "" {
				kept.shots = append(kept.shots, judged{cause.Shot{Card: s.Card, Number: s.Number}, s.Mould, faulty})
				continue
			}
			i := slices.Index(reasons, why)
			out[i].Why, out[i].Shots = why, append(out[i].Shots, Ref{r.ID, s.Number})
		}
		if len(kept.shots) > 0 {
			seen = append(seen, kept)
		}
	}
	return seen, slices.DeleteFunc(out, func(l LeftOut) bool { return l.Why == "" })
}

// outcome is whether a shot has the fault or is clean at demould, or why it is neither. A
// bait that was clean at demould counts as that, whatever showed days later; one that
// was found clean days later was clean at demould.
func outcome(fault string, s history.Shot) (faulty bool, why string) {
	if s.Withdrawn {
		return false, whyWithdrawn
	}
	clean, other, later := false, false, false
	for _, v := range s.Verdicts {
		switch {
		case v.Fault == fault && v.Day == 0:
			return true, ""
		case v.Fault == shot.Clean:
			clean = true
		case v.Day == 0:
			other = true
		default:
			later = true
		}
	}
	switch {
	case other:
		return false, whyOther
	case clean:
		return false, ""
	case later:
		return false, whyLater
	}
	return false, whyUnjudged
}

// later are the shots that had a fault at a re-inspection and not at demould.
func later(fault string, runs []Run) []Ref {
	found := []Ref{}
	for _, r := range runs {
		for _, s := range r.Shots {
			had := func(atDemould bool) bool {
				return slices.ContainsFunc(s.Verdicts, func(v shot.Verdict) bool { return v.Fault == fault && (v.Day == 0) == atDemould })
			}
			if !s.Withdrawn && had(false) && !had(true) {
				found = append(found, Ref{r.ID, s.Number})
			}
		}
	}
	return found
}

// both are the counts of each run among the shots that have a figure; nil takes all.
func both(seen []run, figure *cause.Figure) (counts [][2]int) {
	for _, r := range seen {
		var c [2]int
		for _, s := range r.shots {
			if figure != nil && !figure.Of(s.Shot).Known() {
				continue
			}
			if s.faulty {
				c[0]++
			} else {
				c[1]++
			}
		}
		counts = append(counts, c)
	}
	return counts
}

// ranks are the centred midranks of a figure within a run; NaN for what is not recorded.
func (r run) ranks(figure *cause.Figure) []float64 {
	var known []float64
	scores := make([]float64, len(r.shots))
	for i, s := range r.shots {
		scores[i] = float64(figure.Of(s.Shot))
		if figure.Of(s.Shot).Known() {
			known = append(known, scores[i])
		}
	}
	ranks := exact.Midranks(known)
	next := 0
	for i, v := range scores {
		if scores[i] = math.NaN(); frames.Figure(v).Known() {
			scores[i] = ranks[next] - float64(len(known)+1)/2
			next++
		}
	}
	return scores
}

// groups are the runs with both outcomes, for exact.Largest.
func groups(seen []run, figures []*cause.Figure) (all []exact.Group) {
	for _, r := range seen {
		if faulty, clean := r.counts(); faulty == 0 || clean == 0 {
			continue
		}
		g := exact.Group{}
		for _, s := range r.shots {
			g.With, g.Scores = append(g.With, s.faulty), append(g.Scores, make([]float64, len(figures)))
		}
		for j, figure := range figures {
			for i, score := range r.ranks(figure) {
				if !math.IsNaN(score) {
					g.Scores[i][j] = score
				}
			}
		}
		all = append(all, g)
	}
	return all
}

// apart is the rank correlation within runs from which on two figures are not told apart
// (E: from there on they go the same way in two pairs of three).
const apart = 0.5

// together tells of every two figures whether they go up or down with one another within
// runs.
func together(seen []run, figures []*cause.Figure) [][]bool {
	alike := make([][]bool, len(figures))
	ranks := make([][]float64, len(figures))
	for j, figure := range figures {
		for _, r := range seen {
			ranks[j] = append(ranks[j], r.ranks(figure)...)
		}
		alike[j] = make([]bool, len(figures))
	}
	for j := range figures {
		for k := range figures {
			alike[j][k] = math.Abs(correlation(ranks[j], ranks[k])) >= apart
		}
	}
	return alike
}

// correlation is that of the scores that both have; zero where one does not vary.
func correlation(x, y []float64) float64 {
	var xx, yy, xy float64
	for i := range x {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		xx, yy, xy = xx+x[i]*x[i], yy+y[i]*y[i], xy+x[i]*y[i]
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// across compares the runs as wholes: how often the fault came in each, against the mean
// of every figure in it. The number of a shot is left out: its mean says only how long a
// run was.
func across(rows []Row, seen []run, figures []*cause.Figure) {
	var often []float64
	for _, r := range seen {
		faulty, clean := r.counts()
		often = append(often, float64(faulty)/float64(faulty+clean))
	}
	if exact.ReachBetween(len(seen)) > Level {
		return
	}
	means := make([][]float64, len(figures))
	for j, figure := range figures {
		for _, r := range seen {
			means[j] = append(means[j], r.mean(figure))
		}
		if figure == cause.Number {
			clear(means[j])
		}
	}
	correlations, chances := exact.Between(often, means, seed)
	for j := range rows {
		if figures[j] != cause.Number && correlations[j] != 0 {
			rows[j].Between, rows[j].BetweenChance = frames.Figure(correlations[j]), frames.Chance(chances[j])
		}
	}
}

// mean is that of the shots that have a figure; NaN where none has.
func (r run) mean(figure *cause.Figure) float64 {
	sum, n := 0.0, 0.0
	for _, s := range r.shots {
		if v := figure.Of(s.Shot); v.Known() {
			sum, n = sum+float64(v), n+1
		}
	}
	return sum / n
}

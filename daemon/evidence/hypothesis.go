package evidence

import (
	"cmp"
	"encoding/json"
	"slices"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// Standing is how a cause stands with what was recorded.
type Standing string

// The standings. There is none that says "this it was".
const (
	Fits     Standing = "fits"
	Against  Standing = "against"
	OpenLeft Standing = "can not be told"
)

// Usual is what the clean shots of a recipe had of one figure.
type Usual struct {
	// Count is how many of them have it recorded; the other figures are unknown at zero.
	Count  int           `json:"count"`
	Median frames.Figure `json:"median"`
	Least  frames.Figure `json:"least"`
	Most   frames.Figure `json:"most"`
}

// Hypothesis is one cause, and what a shot has to say for or against it.
type Hypothesis struct {
	Cause    cause.Cause   `json:"-"`
	Standing Standing      `json:"standing"`
	Value    frames.Figure `json:"value"`
	Clean    Usual         `json:"clean"`
	// Beyond is how far the shot is from the median of the clean ones, on the side that
	// the cause asks for, and Times the same in multiples of the figure's uncertainty.
	Beyond frames.Figure `json:"beyond"`
	Times  frames.Figure `json:"times_uncertainty"`
	// AsFar is how many clean shots were as far to that side, for all that can be
	// measured.
	AsFar int `json:"clean_as_far"`
	// NotCured are the pots that were still curing, of a cause that asks for a short time
	// since the cure: there was none, which no figure tells.
	NotCured []string `json:"not_cured,omitempty"`
	// Setpoints are the pots, of a cause that looks at a pot beside its own target, whose
	// target itself was further to the cause's side than the clean shots': the figure does
	// not see that, so that it then speaks against nothing.
	Setpoints []Setpoint `json:"set_points,omitempty"`
}

// Setpoint is a pot whose set-point is not what it was at the clean shots.
type Setpoint struct {
	Colour string        `json:"colour"`
	C      frames.Figure `json:"c"`
	CleanC frames.Figure `json:"clean_median_c"`
}

// ByChance says in how many shots, if all were alike but for chance, one is as far: the
// shot's rank among the clean ones and itself.
func (h Hypothesis) ByChance() int { return (h.Clean.Count + 1) / (h.AsFar + 1) }

type plainHypothesis Hypothesis

// hypothesisJSON is a hypothesis as JSON has it.
type hypothesisJSON struct {
	Cause  string `json:"cause"`  // its name in the trade's table
	Figure string `json:"figure"` // what of a shot it looks at
	// Within is how far two shots may be apart in that for no other reason than how it is
	// measured.
	Within float64 `json:"uncertainty"`
	plainHypothesis
}

// JSONShape is the type that JSON has it as.
func (Hypothesis) JSONShape() any { return hypothesisJSON{} }

// MarshalJSON implements json.Marshaler.
func (h Hypothesis) MarshalJSON() ([]byte, error) {
	return json.Marshal(hypothesisJSON{h.Cause.Name, h.Cause.Figure.Name, h.Cause.Figure.Within, plainHypothesis(h)})
}

// tooMany is the part of the clean shots, one in so many, from which on a figure that
// they had as well tells nothing (E). It bounds how often a cause that had no part in it
// fits by chance alone.
const tooMany = 10

// weigh holds one cause against a shot and the clean ones. A figure speaks for it that
// is further to the cause's side than the clean shots' median by more than its
// uncertainty, unless many of them were as far; one that is not further speaks against
// it.
func weigh(c cause.Cause, own cause.Shot, clean []cause.Shot) Hypothesis {
	h := Hypothesis{Cause: c, Standing: OpenLeft, Value: c.Figure.Of(own), Clean: usualOf(c.Figure, clean), Beyond: frames.Unknown(), Times: frames.Unknown()}
	if c.Figure == cause.HeldLeast {
		if h.NotCured = curing(own); len(h.NotCured) > 0 {
			return h.amongCured(clean)
		}
	}
	if !h.Value.Known() || h.Clean.Count == 0 {
		return h
	}
	side, within := frames.Figure(c.Side), frames.Figure(c.Figure.Within)
	h.Beyond = side * (h.Value - h.Clean.Median)
	h.Times = h.Beyond / within
	for _, s := range clean {
		if f := c.Figure.Of(s); f.Known() && side*f >= side*h.Value-within {
			h.AsFar++
		}
	}
	h.Setpoints = otherSetpoints(c, own, clean)
	switch {
	case h.Times <= 1 && len(h.Setpoints) == 0:
		h.Standing = Against
	case h.Times <= 1:
	case h.AsFar*tooMany < h.Clean.Count:
		h.Standing = Fits
	}
	return h
}

// otherSetpoints are the pots whose target was to the cause's side of the clean shots'.
func otherSetpoints(c cause.Cause, own cause.Shot, clean []cause.Shot) (all []Setpoint) {
	if c.Figure != cause.Hottest && c.Figure != cause.Coldest {
		return nil
	}
	for _, p := range own.Card.Pots {
		usual := usualBy(clean, func(s cause.Shot) frames.Figure {
			q, found := potOf(s.Card, p.Colour)
			if !found {
				return frames.Unknown()
			}
			return q.TargetC
		})
		concerns := len(own.Colours) == 0 || slices.Contains(own.Colours, p.Colour)
		if concerns && float64(c.Side)*float64(p.TargetC-usual.Median) > c.Figure.Within {
			all = append(all, Setpoint{p.Colour, p.TargetC, usual.Median})
		}
	}
	return all
}

// curing are the colours, of those that a fault concerns, that were not cured yet.
func curing(s cause.Shot) (colours []string) {
	for _, p := range s.Card.Pots {
		if isCuring(p) && (len(s.Colours) == 0 || slices.Contains(s.Colours, p.Colour)) {
			colours = append(colours, p.Colour)
		}
	}
	return colours
}

// amongCured weighs a shot of a melt that was not cured by how many clean ones were of
// such a melt too.
func (h Hypothesis) amongCured(clean []cause.Shot) Hypothesis {
	for _, s := range clean {
		if len(curing(s)) > 0 {
			h.AsFar++
		}
	}
	if h.AsFar*tooMany < len(clean) {
		h.Standing = Fits
	}
	h.Clean = Usual{len(clean), frames.Unknown(), frames.Unknown(), frames.Unknown()}
	return h
}

func usualOf(f *cause.Figure, clean []cause.Shot) Usual { return usualBy(clean, f.Of) }

func usualBy(clean []cause.Shot, of func(cause.Shot) frames.Figure) Usual {
	var known []frames.Figure
	for _, s := range clean {
		if v := of(s); v.Known() {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return Usual{Median: frames.Unknown(), Least: frames.Unknown(), Most: frames.Unknown()}
	}
	slices.Sort(known)
	n := len(known)
	return Usual{n, (known[(n-1)/2] + known[n/2]) / 2, known[0], known[n-1]}
}

// Finding is one fault of a shot, and its causes.
type Finding struct {
	Verdict shot.Verdict `json:"verdict"`
	// Hypotheses are the causes that show in a figure: those that fit first, then those
	// against, and what can not be told; in each the furthest from the clean shots
	// first. Unseen are those that no thermometer sees.
	Hypotheses []Hypothesis `json:"hypotheses"`
	Unseen     []string     `json:"unseen"`
	// Late says that the fault was first seen at a re-inspection: it then has no
	// Hypotheses. AtDemould says that somebody had looked at the shot at demould.
	Late      bool `json:"late"`
	AtDemould bool `json:"judged_at_demould"`
}

// findings are the faults of a shot, each once for what it concerns, by the day on
// which it was first seen.
func findings(verdicts []shot.Verdict, own shot.Card, number int, clean []cause.Shot) []Finding {
	all := []Finding{}
	atDemould := slices.ContainsFunc(verdicts, func(v shot.Verdict) bool { return v.Day == 0 })
	ordered := slices.Clone(verdicts)
	slices.SortStableFunc(ordered, func(a, b shot.Verdict) int { return cmp.Compare(a.Day, b.Day) })
	for i, v := range ordered {
		if v.Fault == shot.Clean || slices.ContainsFunc(ordered[:i], func(before shot.Verdict) bool { return covers(before, v) }) {
			continue
		}
		f := Finding{Verdict: v, Hypotheses: []Hypothesis{}, Late: v.Day > 0, AtDemould: atDemould}
		known, _ := cause.Of(v.Fault) // the verdicts and the table have the same words
		switch {
		case f.Late && v.Fault == bled:
			f.Unseen = cause.Migration()
		case f.Late:
			f.Unseen = append(slices.Clone(known.Unseen), "how the bait was kept since")
		default:
			f.Unseen = known.Unseen
			f.Hypotheses = weighAll(known.Seen, cause.Shot{Card: own, Number: number, Colours: v.Colours}, clean)
		}
		all = append(all, f)
	}
	return all
}

// bled is the fault that has another one of its own, days later.
const bled = "bled"

// covers reports whether a verdict that was given on an earlier day, or before on the
// same one, says all that another one does of when a fault began.
func covers(before, v shot.Verdict) bool {
	return before.Fault == v.Fault && before.Day < v.Day &&
		(len(before.Colours) == 0 || len(v.Colours) == 0 || slices.Equal(before.Colours, v.Colours)) &&
		(before.Cavity == "" || v.Cavity == "" || before.Cavity == v.Cavity)
}

func weighAll(causes []cause.Cause, own cause.Shot, clean []cause.Shot) []Hypothesis {
	about := slices.Clone(clean)
	for i := range about {
		about[i].Colours = own.Colours
	}
	all := []Hypothesis{}
	for _, c := range causes {
		all = append(all, weigh(c, own, about))
	}
	order := []Standing{Fits, Against, OpenLeft}
	slices.SortStableFunc(all, func(a, b Hypothesis) int {
		return cmp.Or(cmp.Compare(slices.Index(order, a.Standing), slices.Index(order, b.Standing)), largestFirst(a.Times, b.Times))
	})
	return all
}

// largestFirst puts what is not known last.
func largestFirst(a, b frames.Figure) int { return -cmp.Compare(a, b) }

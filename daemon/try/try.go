// Package try proposes what to change after a fault, and judges later whether it helped.
//
// A proposal is one bounded change to the recipe for one cause that fits, with its reason
// and others to choose from: never two at once, or nobody could tell which it was. It
// goes no further than the figures of this package let it, and never past the limits of
// the recipe and the bench; more heat only where nothing in the run casts a doubt on the
// pot's thermometer. Nothing is proposed where nothing recorded speaks for it, for
// a fault that was first seen days later, and for what was tried before without help.
// Nothing is changed until a person accepts it, as a new version of the recipe; and then
// nothing but its shots, held against those before, says that it helped.
package try

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/causes"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

// Situation is what a change is proposed from.
type Situation struct {
	// Recipe is the version that the shot was made with, Settings those of its run, with
	// the limits of its bench.
	Recipe   *config.Recipe
	Settings control.Settings
	Card     shot.Card
	Finding  evidence.Finding
	// Events are those of the run, and At the time of the shot in it.
	Events []history.Event
	At     time.Duration
	// Over is what the shots of the recipe nearest in time say about the fault; nil is
	// nothing.
	Over *causes.Finding
	// Before are the attempts at this recipe against this fault, the newest first.
	Before []Attempt
	Unit   review.Unit
}

// Choice is one change that can be accepted.
type Choice struct {
	Number int    `json:"number"` // from 1
	Cause  string `json:"cause"`
	Kind   string `json:"kind"`
	// Colour is the one that is changed; "" is the whole recipe.
	Colour string `json:"colour"`
	// Change is what differs in the recipe, in words; Text is the recipe so changed.
	Change string `json:"change"`
	Reason string `json:"reason"`
	// Over is what the shots of the recipe nearest in time say about its cause; "" is
	// nothing.
	Over  string `json:"over_shots"`
	Bound string `json:"bound"`
	// Mind is what to make sure of first; "" is nothing.
	Mind string `json:"mind"`
	// Aim says that the change is an aim of the maker's hands, which nothing enforces.
	Aim  bool   `json:"aim"`
	Text []byte `json:"-"`
}

// Aside is a cause that fits and to which no change belongs.
type Aside struct {
	Cause string `json:"cause"`
	Why   string `json:"why"`
}

// Advice is what to try next after one fault of a shot.
type Advice struct {
	Fault string `json:"fault"`
	// Words are the fault with what it concerns.
	Words string `json:"words"`
	// First is what to mind before any change; "" is nothing.
	First string `json:"first"`
	// Basis says which version is changed, where there is a newer one; else "".
	Basis   string   `json:"basis"`
	Choices []Choice `json:"choices"`
	Asides  []Aside  `json:"asides"`
	// Unseen is what no thermometer sees: look at that as well.
	Unseen []string `json:"unseen"`
	// None says why there is no choice; "" where there is one.
	None string `json:"none"`
	// Wanted are figures that nobody recorded and that could speak for a change.
	Wanted []string `json:"not_recorded"`
}

// Propose says what to try next. The first choice is that of a cause that more shots of
// the recipe name, else of the one that this shot was furthest out in.
func (s Situation) Propose() Advice {
	f := s.Finding
	a := Advice{Fault: f.Verdict.Fault, Words: f.Verdict.String(), Choices: []Choice{}, Asides: []Aside{}, Unseen: f.Unseen, Wanted: []string{}}
	switch on := s.stillOn(); {
	case f.Late:
		a.None = lateWords
	case on != nil:
		a.None = fmt.Sprintf(stillOnWords, on.ID, on.Change, on.ID)
	default:
		a.First = s.first()
		s.fill(&a)
	}
	return a
}

// first names pots that were drawn outside their bands: no recipe keeps a hand from that.
func (s Situation) first() string {
	var names []string
	for _, p := range s.pots() {
		if p.OutOfBand() {
			names = append(names, p.Colour)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf(firstWords, strings.Join(names, " and "))
}

// fill adds a choice or an aside for every cause that fits.
func (s Situation) fill(a *Advice) {
	ordered := slices.Clone(s.Finding.Hypotheses)
	slices.SortStableFunc(ordered, func(a, b evidence.Hypothesis) int { return s.unnamed(a) - s.unnamed(b) })
	for _, h := range ordered {
		if !h.Value.Known() {
			a.Wanted = append(a.Wanted, h.Cause.Figure.Name)
		}
		if h.Standing != evidence.Fits {
			continue
		}
		c, err := s.choice(h)
		if err == nil && slices.ContainsFunc(a.Choices, func(o Choice) bool { return o.Change == c.Change }) {
			continue // two causes that lead to the same change
		}
		if err != nil {
			a.Asides = append(a.Asides, Aside{h.Cause.Name, err.Error()})
			continue
		}
		c.Number = len(a.Choices) + 1
		a.Choices = append(a.Choices, c)
	}
	switch {
	case len(a.Choices) > 0:
	case len(a.Asides) > 0:
		a.None = onlyAsidesWords
	case len(s.Finding.Hypotheses) == 0:
		a.None = noFigureWords
	default:
		a.None = nothingWords
	}
}

// row is what more shots say about a cause; nil is nothing.
func (s Situation) row(h evidence.Hypothesis) *causes.Row {
	if s.Over == nil {
		return nil
	}
	i := slices.IndexFunc(s.Over.Causes, func(r causes.Row) bool { return r.Cause == h.Cause.Name && r.Says != causes.NotRecorded })
	if i < 0 {
		return nil
	}
	return &s.Over.Causes[i]
}

// unnamed is 0 for a cause that more shots name, and 1 for the others.
func (s Situation) unnamed(h evidence.Hypothesis) int {
	if r := s.row(h); r != nil && r.Says == causes.Named {
		return 0
	}
	return 1
}

// stillOn is an attempt at this recipe that waits for its shots; nil is none.
func (s Situation) stillOn() *Attempt {
	for i := range s.Before {
		if s.Before[i].Outcome.On() {
			return &s.Before[i]
		}
	}
	return nil
}

// choice is the change for a cause that fits. The error says why there is none.
func (s Situation) choice(h evidence.Hypothesis) (Choice, error) {
	st, err := s.step(h)
	if err != nil {
		return Choice{}, err
	}
	c := Choice{
		Cause: h.Cause.Name, Kind: kindOf(h.Cause.Try), Colour: st.colour, Bound: st.bound, Mind: st.mind, Aim: st.aim,
		Reason: h.Numbers(s.Unit),
	}
	if r := s.row(h); r != nil {
		if r.Says == causes.Opposite {
			return c, errors.New(oppositeWords)
		}
		u := causes.Unit(s.Unit)
		c.Over = fmt.Sprintf(overWords, s.Over.Faulty+s.Over.Clean, s.Over.Faulty, s.Over.Fault, r.Verdict(u), r.Facts(u))
	}
	for _, b := range s.Before {
		if b.Kind == c.Kind && b.Colour == c.Colour && b.Fault == s.Finding.Verdict.Fault && b.Outcome.NoHelp() {
			return c, fmt.Errorf(triedWords, b.ID, b.Outcome.word())
		}
	}
	if c.Text, err = st.text(s.Recipe.Typed); err != nil {
		return c, err
	}
	after, err := config.ParseRecipe("recipe", c.Text)
	if err != nil {
		return c, err
	}
	c.Change = oneLine(config.Differences(s.Recipe, after))
	return c, nil
}

// kinds are the words for what is changed.
var kinds = map[cause.Try]string{
	cause.Cooler: "a cooler pot", cause.Warmer: "a warmer pot", cause.MatchPots: "a narrower band", cause.CoolMould: "a cooler mould",
	cause.WarmMould: "a warmer mould", cause.PushSooner: "a sooner push", cause.HoldLess: "a shorter hold", cause.StirFirst: "a stir before the draw",
	cause.CureLonger: "a longer cure", cause.LowerPlate: "a cooler plate",
}

func kindOf(t cause.Try) string { return kinds[t] }

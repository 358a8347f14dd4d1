package causes

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/history"
)

// Question narrows what is looked over; the zero value takes every run and every fault.
type Question struct {
	Fault  string
	Recipe string // its name; every version of it
	Mould  string // as typed
}

// ErrQuestion is wrapped by the error about a question that nothing can answer.
var ErrQuestion = errors.New("nothing was looked over")

// Answer is what the shots of a question say.
type Answer struct {
	Question Question  `json:"-"`
	Findings []Finding `json:"findings"`
	Shots    int       `json:"shots"`
	Runs     int       `json:"runs"`
	// Invented is true when runs of a simulated bench are among them.
	Invented bool `json:"invented"`
	// Recipes and Moulds are the names that can be asked for.
	Recipes []string `json:"-"`
	Moulds  []string `json:"-"`
}

// Of looks over what is kept. A fault that is asked for is corrected for the others as
// well, so that the answer is the same however it is asked for. Its error wraps
// ErrQuestion when there is no such fault, recipe or mould.
func Of(s *history.Store, q Question) (Answer, error) {
	a := Answer{Question: q, Findings: []Finding{}}
	if _, ok := cause.Of(q.Fault); q.Fault != "" && !ok {
		return a, fmt.Errorf("fault %q: not known; write one of: %s (%w)", q.Fault, strings.Join(cause.Names(), ", "), ErrQuestion)
	}
	kept, err := s.Runs(history.Filter{})
	if err != nil {
		return a, err
	}
	var runs []Run
	slices.Reverse(kept) // the oldest first, as a plot goes
	for _, r := range kept {
		a.Recipes = append(a.Recipes, r.Recipe)
		if r.Shots == 0 || q.Recipe != "" && r.Recipe != q.Recipe {
			continue
		}
		shots, err := s.Shots(r.ID)
		if err != nil {
			return a, err
		}
		for _, sh := range shots {
			a.Moulds = append(a.Moulds, sh.Mould)
		}
		if shots = ofMould(shots, q.Mould); len(shots) > 0 {
			runs = append(runs, Run{ID: r.ID, Began: r.Began, Recipe: r.Recipe, Version: r.Version, Shots: shots})
			a.Runs, a.Shots, a.Invented = a.Runs+1, a.Shots+len(shots), a.Invented || r.Invented
		}
	}
	a.Recipes, a.Moulds = names(a.Recipes), names(a.Moulds)
	if err := mustBeOf("recipe", q.Recipe, a.Recipes); err != nil {
		return a, err
	}
	if err := mustBeOf("mould", q.Mould, a.Moulds); err != nil {
		return a, err
	}
	for _, f := range Look(runs) {
		if q.Fault == "" || f.Fault == q.Fault {
			a.Findings = append(a.Findings, f)
		}
	}
	return a, nil
}

func ofMould(shots []history.Shot, mould string) []history.Shot {
	if mould == "" {
		return shots
	}
	return slices.DeleteFunc(shots, func(s history.Shot) bool { return s.Mould != mould })
}

// names are those that were typed, each once.
func names(all []string) []string {
	slices.Sort(all)
	return slices.DeleteFunc(slices.Compact(all), func(s string) bool { return s == "" })
}

// mustBeOf returns why a name that was typed is none of those kept.
func mustBeOf(what, typed string, kept []string) error {
	if typed == "" || slices.Contains(kept, typed) {
		return nil
	}
	if len(kept) == 0 {
		return fmt.Errorf("%s %q: no shot kept has one; leave it out (%w)", what, typed, ErrQuestion)
	}
	return fmt.Errorf("%s %q: no shot kept has it; write one of: %s (%w)", what, typed, strings.Join(kept, ", "), ErrQuestion)
}

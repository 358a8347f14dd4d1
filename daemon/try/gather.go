package try

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/causes"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

// ErrChoice is wrapped by the error about a choice that can not be accepted.
var ErrChoice = errors.New("nothing was accepted")

// Attempt is a change that was accepted, with its versions and how it stands.
type Attempt struct {
	history.Attempt
	// Number is that of the version that came of it, From that of the one before.
	Number  int     `json:"version_number"`
	From    int     `json:"before_number"`
	Outcome Outcome `json:"outcome"`
	// Missed is how many of its shots missed an aim of the recipe.
	Missed int `json:"aims_missed"`
}

// Attempts lists every attempt with how it stands, the newest first.
func Attempts(s *history.Store) ([]Attempt, error) {
	kept, err := s.Attempts()
	if err != nil || len(kept) == 0 {
		return []Attempt{}, err
	}
	versions, err := s.Versions()
	if err != nil {
		return nil, err
	}
	numberOf := func(fingerprint string) int {
		i := slices.IndexFunc(versions, func(v history.Version) bool { return v.Fingerprint == fingerprint })
		if i < 0 {
			return 0
		}
		return versions[i].Number
	}
	all := []Attempt{}
	for _, k := range kept {
		a := Attempt{Attempt: k, Number: numberOf(k.Version), From: numberOf(k.Before)}
		before, err := s.TallyOf(k.Before, k.Fault, time.Time{})
		if err != nil {
			return nil, err
		}
		// A change can lead back to a version that was there before: its old shots are none
		// that were made since.
		since, err := s.TallyOf(k.Version, k.Fault, k.Accepted)
		if err != nil {
			return nil, err
		}
		a.Outcome = Judge(before, since)
		a.Outcome.Ended = k.Ended != nil
		if since.Judged > 0 {
			if a.Missed, err = missed(s, k); err != nil {
				return nil, err
			}
		}
		all = append(all, a)
	}
	return all, nil
}

// missed counts the shots since an attempt that missed one of its version's aims.
func missed(s *history.Store, k history.Attempt) (n int, err error) {
	v, err := s.Version(k.Version)
	if err != nil {
		return 0, err
	}
	recipe, unreadable := config.ParseRecipe("recipe", []byte(v.Source))
	if unreadable != nil || recipe.Pour == (config.Pour{}) {
		return 0, nil
	}
	runs, err := s.Runs(history.Filter{Recipe: k.Recipe})
	if err != nil {
		return 0, err
	}
	for _, r := range runs {
		if r.Fingerprint != k.Version {
			continue
		}
		shots, err := s.Shots(r.ID)
		if err != nil {
			return 0, err
		}
		for _, sh := range shots {
			if !sh.Withdrawn && !sh.Wall.Before(k.Accepted) && review.Celsius.Missed(recipe.Pour, sh.Card) != "" {
				n++
			}
		}
	}
	return n, nil
}

// Of is what to try next after each fault of a case.
func Of(s *history.Store, c evidence.Case, u review.Unit) ([]Advice, error) {
	if c.Shot.Withdrawn || len(c.Findings) == 0 {
		return nil, nil
	}
	run := c.Review.Run
	attempts, err := Attempts(s)
	if err != nil {
		return nil, err
	}
	near, err := nearest(s, run)
	if err != nil {
		return nil, err
	}
	over := causes.Look(near)
	newest, err := s.Newest(run.Recipe)
	if err != nil {
		return nil, err
	}
	of := slices.DeleteFunc(attempts, func(a Attempt) bool { return a.Recipe != run.Recipe })
	recipe, unreadable := config.ParseRecipe(fmt.Sprintf("recipe version %d", run.Version), []byte(c.Review.Recipe.Source))
	var all []Advice
	for _, f := range c.Findings {
		if unreadable != nil {
			all = append(all, Advice{Fault: f.Verdict.Fault, Words: f.Verdict.String(), Unseen: f.Unseen, None: unreadableWords + " " + unreadable.Error()})
			continue
		}
		advice := Situation{
			Over: about(over, f.Verdict.Fault), Recipe: recipe, Settings: c.Review.Settings, Card: c.Shot.Card, Finding: f,
			Events: c.Review.Events, At: c.Shot.At, Before: of, Unit: u,
		}.Propose()
		if newest > run.Version {
			advice.Basis = fmt.Sprintf(basisWords, run.Version, newest)
		}
		all = append(all, advice)
	}
	return all, nil
}

// mostShots is how many shots are looked over for a cause that goes with the fault: those
// nearest in time, so that a page does not grow slow.
const mostShots = 60

// nearest are the runs of the same recipe that are nearest in time, the oldest first.
func nearest(s *history.Store, own history.Run) ([]causes.Run, error) {
	runs, err := s.Runs(history.Filter{Recipe: own.Recipe})
	if err != nil {
		return nil, err
	}
	runs = slices.DeleteFunc(runs, func(r history.Run) bool { return r.Recipe != own.Recipe || r.Shots == 0 })
	slices.SortStableFunc(runs, func(a, b history.Run) int {
		return cmp.Compare(a.Began.Sub(own.Began).Abs(), b.Began.Sub(own.Began).Abs())
	})
	var near []causes.Run
	for i, shots := 0, 0; i < len(runs) && shots < mostShots; i++ {
		r := causes.Run{ID: runs[i].ID, Began: runs[i].Began, Recipe: runs[i].Recipe, Version: runs[i].Version}
		if r.Shots, err = s.Shots(r.ID); err != nil {
			return nil, err
		}
		near, shots = append(near, r), shots+len(r.Shots)
	}
	slices.SortFunc(near, func(a, b causes.Run) int { return a.Began.Compare(b.Began) })
	return near, nil
}

// about is what shots say about a fault; nil is nothing.
func about(all []causes.Finding, fault string) *causes.Finding {
	i := slices.IndexFunc(all, func(f causes.Finding) bool { return f.Fault == fault })
	if i < 0 {
		return nil
	}
	return &all[i]
}

// Accept keeps a choice as a new version of the recipe, and as an attempt to be judged.
// fault may be "" where the shot has only one. The error wraps ErrChoice where there is
// no such choice.
func Accept(s *history.Store, c evidence.Case, fault string, number int, now time.Time) (Attempt, error) {
	advice, err := Of(s, c, review.Celsius)
	if err != nil {
		return Attempt{}, err
	}
	a, err := AdviceOn(advice, fault)
	if err != nil {
		return Attempt{}, err
	}
	if number < 1 || number > len(a.Choices) {
		return Attempt{}, fmt.Errorf("choice %d: %s; %w", number, choicesWords(a), ErrChoice)
	}
	chosen := a.Choices[number-1]
	recipe, err := config.ParseRecipe("recipe", chosen.Text)
	if err != nil {
		return Attempt{}, err
	}
	kept := history.Attempt{
		Recipe: recipe.Name, Version: recipe.Fingerprint(), Before: c.Review.Recipe.Fingerprint, Run: c.Review.Run.ID, Shot: c.Shot.Number,
		Fault: a.Fault, Cause: chosen.Cause, Kind: chosen.Kind, Colour: chosen.Colour, Change: chosen.Change, Reason: chosen.Reason, Accepted: now,
	}
	id, err := s.KeepAttempt(history.Version{
		Name: recipe.Name, Fingerprint: kept.Version, Source: string(chosen.Text), Parent: kept.Before,
	}, kept)
	if err != nil {
		return Attempt{}, err
	}
	all, err := Attempts(s)
	if err != nil {
		return Attempt{}, err
	}
	i := slices.IndexFunc(all, func(a Attempt) bool { return a.ID == id })
	return all[i], nil
}

// AdviceOn is the advice on a verdict as it is spelt, "bled: slate and ivory"; its fault is
// enough where no other verdict of the shot has it, and "" where there is one advice.
func AdviceOn(all []Advice, fault string) (Advice, error) {
	var words []string
	var of []Advice
	for _, a := range all {
		if a.Words == fault {
			return a, nil
		}
		if a.Fault == fault || fault == "" {
			of = append(of, a)
		}
		words = append(words, strconv.Quote(a.Words))
	}
	if len(of) == 1 {
		return of[0], nil
	}
	if len(words) == 0 {
		return Advice{}, fmt.Errorf("no fault was seen on this shot; %w", ErrChoice)
	}
	return Advice{}, fmt.Errorf("fault %q: write one of: %s; %w", fault, strings.Join(words, ", "), ErrChoice)
}

func choicesWords(a Advice) string {
	switch len(a.Choices) {
	case 0:
		return strings.TrimSuffix(a.None, ".")
	case 1:
		return "there is only choice 1"
	}
	return fmt.Sprintf("choose from 1 to %d", len(a.Choices))
}

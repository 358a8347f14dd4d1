package api

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/report"
	"meltwarden/daemon/review"
	"meltwarden/daemon/try"
	"meltwarden/daemon/view"
)

// tryPart is what to try next after a case.
func (s *server) tryPart(r *http.Request, c evidence.Case) (report.Try, error) {
	advice, err := try.Of(s.History, c, unitOf(r))
	part := report.TryOf(advice)
	part.Here, part.Address = fromHere(r), fmt.Sprintf("/api/v1/runs/%d/shots/%d/try", c.Review.Run.ID, c.Shot.Number)
	return part, err
}

// attemptsPart is what the part of a page is filled with that says what was tried.
type attemptsPart struct {
	Labels   view.Labels
	JudgedBy string
	Attempts []attemptRow
	Here     bool
}

// attemptRow is an attempt with its addresses.
type attemptRow struct {
	try.Attempt
	Address, EndAddress string
	// Start is the command that starts with its version; "" where the page is of another.
	Start string
}

// attemptsPart lists the attempts that pass.
func (s *server) attemptsPart(r *http.Request, h head, pass func(try.Attempt) bool) (attemptsPart, error) {
	p := attemptsPart{Labels: h.Labels, JudgedBy: try.JudgeWords, Here: fromHere(r)}
	all, err := try.Attempts(s.History)
	for _, a := range all {
		if pass(a) {
			p.Attempts = append(p.Attempts, attemptRow{
				Attempt: a, Address: "/recipes/" + a.Version + h.Carry, EndAddress: fmt.Sprintf("/api/v1/attempts/%d/end", a.ID),
			})
		}
	}
	return p, err
}

// attemptsOf are the attempts that a recipe version came of or was the ground of, with
// the command that starts with it.
func (s *server) attemptsOf(r *http.Request, h head, fingerprint string) (*attemptsPart, error) {
	p, err := s.attemptsPart(r, h, func(a try.Attempt) bool { return a.Version == fingerprint || a.Before == fingerprint })
	if err != nil || len(p.Attempts) == 0 {
		return nil, err
	}
	where := review.Where(s.History)
	for i := range p.Attempts {
		if a := &p.Attempts[i]; a.Version == fingerprint {
			a.Start = try.Start(a.Kept(), s.Simulated, where)
		}
	}
	return &p, nil
}

// adviceList is what to try next, for each fault of a shot.
type adviceList struct {
	Advice []try.Advice `json:"advice"`
}

// attemptMade is a change that was accepted.
type attemptMade struct {
	Attempt try.Attempt `json:"attempt"`
}

// attemptList are the attempts, with what came of them.
type attemptList struct {
	Attempts []try.Attempt `json:"attempts"`
}

// attemptEnded is the number of an attempt that was ended.
type attemptEnded struct {
	Ended int64 `json:"ended"`
}

// nextTry is what to try next after a shot, as data.
func (s *server) nextTry(w http.ResponseWriter, r *http.Request) {
	c, ok := s.caseOf(w, r)
	if !ok {
		return
	}
	advice, err := try.Of(s.History, c, review.Celsius)
	if err != nil {
		pastProblem(w, err)
		return
	}
	if advice == nil {
		advice = []try.Advice{}
	}
	writeJSON(w, http.StatusOK, adviceList{advice})
}

// accept keeps the form's choice as a new version of the recipe: "choice" by its number,
// "fault" where the shot has several, and "change" to be sure that it is still the one
// that was shown.
func (s *server) accept(w http.ResponseWriter, r *http.Request) {
	c, ok := s.caseOf(w, r)
	if !ok {
		return
	}
	number, err := strconv.Atoi(r.PostFormValue("choice"))
	if err != nil {
		refuseFor(w, wrongField, wrong("choice", r.PostFormValue("choice"), "write the number of the choice"))
		return
	}
	if err := s.stillShown(c, r.PostFormValue("fault"), number, r.PostFormValue("change")); err != nil {
		tryProblem(w, err)
		return
	}
	a, err := try.Accept(s.History, c, r.PostFormValue("fault"), number, time.Now())
	if err != nil {
		tryProblem(w, err)
		return
	}
	if wantsPage(r) {
		http.Redirect(w, r, fmt.Sprintf("/recipes/%s#attempt-%d", a.Version, a.ID), http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusOK, attemptMade{a})
}

// stillShown holds a choice against the change that was shown; "" is not asked.
func (s *server) stillShown(c evidence.Case, fault string, number int, change string) error {
	if change == "" {
		return nil
	}
	all, err := try.Of(s.History, c, review.Celsius)
	if err != nil {
		return err
	}
	a, err := try.AdviceOn(all, fault)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(a.Choices, func(o try.Choice) bool { return o.Number == number && o.Change == change }) {
		return fmt.Errorf("what is proposed has changed meanwhile, because more was said of the shots: look at it again; %w", try.ErrChoice)
	}
	return nil
}

// attempts lists every attempt, as data.
func (s *server) attempts(w http.ResponseWriter, _ *http.Request) {
	all := []try.Attempt{}
	if s.History != nil {
		var err error
		if all, err = try.Attempts(s.History); err != nil {
			pastProblem(w, err)
			return
		}
	}
	writeJSON(w, http.StatusOK, attemptList{all})
}

// endAttempt writes down that a person ended an attempt, with the form's "why".
func (s *server) endAttempt(w http.ResponseWriter, r *http.Request) {
	id, err := strconv.ParseInt(r.PathValue("attempt"), 10, 64)
	if err != nil || s.History == nil {
		refuseFor(w, noAttempt, history.ErrNoAttempt)
		return
	}
	why, err := typed(r, "why")
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	if err := s.History.EndAttempt(id, time.Now(), why); err != nil {
		tryProblem(w, err)
		return
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/recipes#attempts", http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusOK, attemptEnded{id})
}

// tryProblem answers an error about what is tried.
func tryProblem(w http.ResponseWriter, err error) {
	switch {
	case errors.Is(err, history.ErrNoAttempt):
		refuseFor(w, noAttempt, err)
	case errors.Is(err, try.ErrChoice):
		refuseFor(w, changedMeanwhile, err)
	default:
		pastProblem(w, err)
	}
}

func tryOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/runs/{run}/shots/{shot}/try", Group: groupTry, Does: "What to try next after a spoiled shot",
			In:      []describe.Field{besideField},
			Answers: []describe.Answer{{Status: 200, Body: adviceList{}, Says: "The advice"}}, Problems: kinds(shotKinds, doesNotFit),
		},
		{
			Route: "POST /api/v1/runs/{run}/shots/{shot}/try", Group: groupTry, Does: "Accept a change as a new version of the recipe", HereOnly: true,
			Form: []describe.Field{
				{Name: "choice", Says: "the number of the choice, from 1", Is: describe.Whole, Least: 1, Needed: true, Example: "1"},
				{Name: "fault", Says: "the fault, where the shot has several", Example: "bled"},
				{Name: "change", Says: "the change that was shown, to be sure that it is still the one that is proposed"},
			},
			Answers: answers(200, attemptMade{}, "The attempt"), Problems: kinds(shotKinds, benchOnly, wrongField, changedMeanwhile, noAttempt, doesNotFit),
		},
		{
			Route: "GET /api/v1/attempts", Group: groupTry, Does: "Every attempt, and whether it helped",
			Answers: []describe.Answer{{Status: 200, Body: attemptList{}, Says: "The attempts"}}, Problems: []*describe.Kind{notReadable},
		},
		{
			Route: "POST /api/v1/attempts/{attempt}/end", Group: groupTry, Does: "End an attempt", HereOnly: true,
			Form:    []describe.Field{{Name: "why", Says: "why, in a line", Most: mostTyped, Example: "too dull"}},
			Answers: answers(200, attemptEnded{}, "It is over"), Problems: []*describe.Kind{benchOnly, noAttempt, wrongField, notReadable, changedMeanwhile},
		},
	}
}

package api

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"meltwarden/daemon/causes"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

// live is the word for the run that is being recorded, in place of a number.
const live = "now"

// runOf is the number of the run that a route names, or zero after an answer that
// says why there is none.
func (s *server) runOf(w http.ResponseWriter, r *http.Request) int64 {
	if s.History == nil {
		refuse(w, nothingKept, "nothing is kept here")
		return 0
	}
	name := r.PathValue("run")
	if name == live {
		if run := s.History.Live(); run != 0 {
			return run
		}
		refuse(w, notRecording, "nothing is being recorded now")
		return 0
	}
	run, err := strconv.ParseInt(name, 10, 64)
	if err != nil || run < 1 {
		refuse(w, noRun, "there is no such run; runs are numbered from 1")
		return 0
	}
	return run
}

// pastKinds are the kinds of problem of errors about the past.
var pastKinds = []struct {
	err  error
	kind *describe.Kind
}{
	{history.ErrNoRun, noRun}, {history.ErrNoShot, noShot}, {history.ErrNoVersion, noVersion}, {history.ErrNoBatch, noBatch}, {history.ErrNoPhoto, noPhoto},
	{history.ErrVerdict, doesNotFit}, {history.ErrBatch, doesNotFit}, {history.ErrFilter, doesNotFit}, {causes.ErrQuestion, doesNotFit},
	{evidence.ErrPlace, doesNotFit}, {review.ErrNoMoment, doesNotFit}, {history.ErrNotBrought, wrongFile},
}

// pastProblem answers an error of history: what is not there, or can not be read now.
func pastProblem(w http.ResponseWriter, err error) {
	for _, k := range pastKinds {
		if errors.Is(err, k.err) {
			refuseFor(w, k.kind, err)
			return
		}
	}
	refuseFor(w, notReadable, err)
}

// runList are runs, the newest first.
type runList struct {
	Runs []history.Run `json:"runs"`
}

// runAnswer is everything about one run but its cycles.
type runAnswer struct {
	Run    history.Run     `json:"run"`
	Recipe history.Made    `json:"recipe"` // the version that it was made with
	Events []history.Event `json:"events"`
	Shots  []history.Shot  `json:"shots"`
}

// recipeList are the versions of every recipe.
type recipeList struct {
	Recipes []history.Made `json:"recipes"`
}

// runChanged says what was changed.
type runChanged struct {
	Run  int64 `json:"run"`
	Shot int   `json:"shot"` // from 1; zero where it was no shot
}

// runs lists the runs that pass the filter in the address: text, recipe, mould, lot,
// state, fault, spoiled, since and until (dates).
func (s *server) runs(w http.ResponseWriter, r *http.Request) {
	runs, err := s.filtered(r)
	if err != nil {
		pastProblem(w, err)
		return
	}
	writeJSON(w, http.StatusOK, runList{runs})
}

func (s *server) filtered(r *http.Request) ([]history.Run, error) {
	f, err := filterOf(r.URL.Query())
	if err != nil || s.History == nil {
		return []history.Run{}, err
	}
	return s.History.Runs(f)
}

func filterOf(q url.Values) (history.Filter, error) {
	f := history.Filter{
		Text: q.Get("text"), Recipe: q.Get("recipe"), Mould: q.Get("mould"), Lot: q.Get("lot"),
		State: history.State(q.Get("state")), Fault: q.Get("fault"), Spoiled: q.Get("spoiled") != "",
	}
	return f, f.Between(q.Get("since"), q.Get("until"))
}

// run answers with one run.
func (s *server) run(w http.ResponseWriter, r *http.Request) {
	id := s.runOf(w, r)
	if id == 0 {
		return
	}
	found, err := review.Of(s.History, id)
	if err != nil {
		pastProblem(w, err)
		return
	}
	made, err := found.Made(s.History)
	if err != nil {
		pastProblem(w, err)
		return
	}
	writeJSON(w, http.StatusOK, runAnswer{found.Run, made, found.Events, found.Shots})
}

func (s *server) recipes(w http.ResponseWriter, _ *http.Request) {
	versions := []history.Made{}
	if s.History != nil {
		var err error
		if versions, err = s.History.Made(); err != nil {
			pastProblem(w, err)
			return
		}
	}
	writeJSON(w, http.StatusOK, recipeList{versions})
}

// runNote replaces a run's note by the form field "note".
func (s *server) runNote(w http.ResponseWriter, r *http.Request) {
	id := s.runOf(w, r)
	if id == 0 {
		return
	}
	note, err := typed(r, "note")
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	s.changed(w, r, id, 0, s.History.SetNote(id, note))
}

// shotOf is the number of the shot that a route names, or zero after an answer.
func (s *server) shotOf(w http.ResponseWriter, r *http.Request) (run int64, number int) {
	if run = s.runOf(w, r); run == 0 {
		return 0, 0
	}
	number, err := strconv.Atoi(r.PathValue("shot"))
	if err != nil || number < 1 {
		refuse(w, noShot, "there is no such shot; shots are numbered from 1 in their run")
		return 0, 0
	}
	return run, number
}

// changeShot writes down what the form says of a shot: "mould", "note", and
// "withdrawn" as yes or no.
func (s *server) changeShot(w http.ResponseWriter, r *http.Request) {
	run, number := s.shotOf(w, r)
	if number == 0 {
		return
	}
	var c history.ShotChange
	for field, to := range map[string]**string{"mould": &c.Mould, "note": &c.Note} {
		text, err := typed(r, field)
		if err != nil {
			refuseFor(w, wrongField, err)
			return
		}
		if r.PostForm.Has(field) {
			*to = &text
		}
	}
	if r.PostForm.Has("withdrawn") {
		yes := r.PostForm.Get("withdrawn") == "yes"
		if !yes && r.PostForm.Get("withdrawn") != "no" {
			refuseFor(w, wrongField, wrong("withdrawn", r.PostForm.Get("withdrawn"), "write yes or no"))
			return
		}
		c.Withdrawn = &yes
	}
	if c == (history.ShotChange{}) {
		refuse(w, wrongField, "nothing to change: write mould, note or withdrawn")
		return
	}
	s.changed(w, r, run, number, s.History.ChangeShot(run, number, c))
}

// judge adds the form's verdict to a shot, or with "take-back" takes it away:
// "fault", "colour" (none, one, or the two that meet), "cavity" and "day".
func (s *server) judge(w http.ResponseWriter, r *http.Request) {
	run, number := s.shotOf(w, r)
	if number == 0 {
		return
	}
	v := shot.Verdict{Fault: r.PostFormValue("fault"), Cavity: r.PostFormValue("cavity"), At: time.Now()}
	for _, c := range r.PostForm["colour"] {
		if c != "" {
			v.Colours = append(v.Colours, c)
		}
	}
	if day := r.PostForm.Get("day"); day != "" {
		var err error
		if v.Day, err = strconv.Atoi(day); err != nil {
			refuseFor(w, wrongField, wrong("day", day, "write a number of days, 0 for at demould"))
			return
		}
	}
	say := s.History.Judge
	if r.PostForm.Has("take-back") {
		say = s.History.Unjudge
	}
	s.changed(w, r, run, number, say(run, number, v))
}

// changed answers a change of what is kept; a form without script is sent back to
// the run.
func (s *server) changed(w http.ResponseWriter, r *http.Request, run int64, number int, err error) {
	if err != nil {
		pastProblem(w, err)
		return
	}
	if wantsPage(r) {
		to := fmt.Sprintf("/runs/%d", run)
		if number > 0 {
			to += fmt.Sprintf("#shot-%d", number)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusOK, runChanged{run, number})
}

func pastOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "GET /api/v1/runs", Group: groupPast, Does: "The runs that pass a filter, the newest first", In: filterFields(),
			Answers: []describe.Answer{{Status: 200, Body: runList{}, Says: "The runs"}}, Problems: []*describe.Kind{doesNotFit, notReadable},
		},
		{
			Route: "GET /api/v1/runs/{run}", Group: groupPast, Does: "One run: its recipe, events and shots",
			Answers: []describe.Answer{{Status: 200, Body: runAnswer{}, Says: "The run"}}, Problems: runKinds,
		},
		{
			Route: "GET /api/v1/recipes", Group: groupRecipes, Does: "Every version of every recipe",
			Answers: []describe.Answer{{Status: 200, Body: recipeList{}, Says: "The versions"}}, Problems: []*describe.Kind{notReadable},
		},
	}
}

func filterFields() []describe.Field {
	states := []string{string(history.Recording), string(history.Finished), string(history.Interrupted)}
	return []describe.Field{
		{Name: "text", Says: "words that stand anywhere in it", Example: "eel"}, {Name: "recipe", Says: "a part of the recipe's name"},
		{Name: "mould", Says: "a part of a mould's name"}, {Name: "lot", Says: "a part of a lot's number"},
		{Name: "state", Says: "how it stands", Choices: states}, {Name: "fault", Says: "a fault that one of its shots has", Example: "bled"},
		{Name: "spoiled", Says: "anything here leaves out runs without a spoiled shot", Example: "yes"},
		{Name: "since", Says: "the first day, as year-month-day", Example: "2026-01-01"}, {Name: "until", Says: "the last day"},
	}
}

func judgeOperations() []describe.Operation {
	return []describe.Operation{
		{
			Route: "POST /api/v1/runs/{run}/note", Group: groupJudge, Does: "Replace a run's note",
			Form:    []describe.Field{{Name: "note", Says: "the note, in a line; empty takes it away", Most: mostTyped, Example: "damp"}},
			Answers: answers(200, runChanged{}, "It is written down"), Problems: kinds(runKinds, wrongField),
		},
		{
			Route: "POST /api/v1/runs/{run}/shots/{shot}", Group: groupJudge, Does: "Correct a shot; what is left out stays",
			Form: []describe.Field{
				mouldField, {Name: "note", Says: "a note, in a line", Most: mostTyped, Example: "dropped it"},
				{Name: "withdrawn", Says: "whether it was no shot", Choices: []string{"yes", "no"}, Example: "no"},
			},
			Answers: answers(200, runChanged{}, "It is written down"), Problems: kinds(shotKinds, wrongField),
		},
		{
			Route: "POST /api/v1/runs/{run}/shots/{shot}/verdict", Group: groupJudge, Does: "Say how the bait came out",
			More: "A verdict is one fault, or clean; a shot can have several. A bleed that is first seen days later is said with its day: it is colour that moves.",
			Form: []describe.Field{
				{Name: "fault", Says: "the fault", Choices: shot.Verdicts(), Needed: true, Example: "bled"},
				{Name: "colour", Says: "the colour it concerns, or the two that meet", Many: true, Example: "slate"},
				{Name: "cavity", Says: "the mould's cavity", Most: mostTyped, Example: "2"},
				{Name: "day", Says: "days after the shot; 0 is at demould", Is: describe.Whole, Most: shot.LastDay, Example: "0"},
				{Name: "take-back", Says: "anything here takes this verdict back"},
			},
			Answers: answers(200, runChanged{}, "It is written down"), Problems: kinds(shotKinds, wrongField, doesNotFit),
		},
	}
}

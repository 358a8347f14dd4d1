package api

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
	"meltwarden/daemon/view"
)

// runsPage is what the template of the list of runs is filled with.
type runsPage struct {
	head
	Rows                   []runRow
	Filter                 history.Filter
	SinceTyped, UntilTyped string
	Filtered               bool // fewer runs than there may be
	MoreFiltered           bool // by what is folded away where there is little room
	WithoutStore           bool // nothing is ever kept
	Verdicts               []string
	States                 []stateChoice
	ToReinspect            []link
}

type stateChoice struct {
	State history.State
	Words string
}

// runRow is one run of a list.
type runRow struct {
	history.Run
	Labels                       view.Labels
	Address, Heading, Subheading string
	FaultWords                   string
}

// runsPage lists the past runs, the newest first.
func (s *server) runsPage(w http.ResponseWriter, r *http.Request) {
	found, err := s.filtered(r)
	if err != nil {
		pastProblem(w, err)
		return
	}
	q := r.URL.Query()
	filter, _ := filterOf(q) // it has been read before
	p := runsPage{
		head: s.unitless(r, view.Texts().PastRuns, "/runs"), Filter: filter, SinceTyped: q.Get("since"), UntilTyped: q.Get("until"),
		WithoutStore: s.History == nil, Verdicts: shot.Verdicts(),
	}
	p.Filtered = p.Filter != history.Filter{}
	p.MoreFiltered = p.Filter != history.Filter{Text: p.Filter.Text, Spoiled: p.Filter.Spoiled}
	for _, state := range []history.State{history.Recording, history.Finished, history.Interrupted} {
		p.States = append(p.States, stateChoice{state, review.StateWords(state)})
	}
	p.Rows = rowsOf(found, p.head)
	if p.ToReinspect, err = s.toReinspect(p.head); err != nil {
		pastProblem(w, err)
		return
	}
	show(w, http.StatusOK, "runs.html", p)
}

func rowsOf(runs []history.Run, h head) []runRow {
	var rows []runRow
	for _, run := range runs {
		about := review.Review{Run: run}
		rows = append(rows, runRow{
			Run: run, Labels: h.Labels, Heading: about.Heading(), Subheading: about.Subheading(),
			Address: fmt.Sprintf("/runs/%d%s", run.ID, h.Carry), FaultWords: strings.Join(run.Faults, "; "),
		})
	}
	return rows
}

// mostReinspected is how many baits a page asks to look at again, a dozen by its words.
const mostReinspected = 12

func (s *server) toReinspect(h head) ([]link, error) {
	if s.History == nil {
		return nil, nil
	}
	found, err := s.History.Reinspections(time.Now(), mostReinspected)
	var links []link
	for _, r := range found {
		links = append(links, link{
			Words: review.ReinspectionWords(r), Address: fmt.Sprintf("/runs/%d%s#shot-%d", r.Run, h.Carry, r.Shot),
		})
	}
	return links, err
}

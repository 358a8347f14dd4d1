package api

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// mostHits is how many hits of one kind a page shows.
const mostHits = 20

// findPage is what the template of the search is filled with.
type findPage struct {
	head
	Words, Empty, Count string
	Groups              []hitGroup
}

// hitGroup are hits of one kind, the newest first; More is how many are left out.
type hitGroup struct {
	Head string
	Hits []hit
	More int
}

type hit struct{ Title, When, Words, Address string }

// find looks for words in all that is kept and in what the guard looks for.
func (s *server) findPage(w http.ResponseWriter, r *http.Request) {
	l := view.Texts()
	p := findPage{head: s.head(r, l.FindNow, "/find"), Words: strings.TrimSpace(r.URL.Query().Get("words"))}
	p.OtherUnit = "" // no temperature is shown
	if len(p.Words) > mostTyped*4 {
		problem(w, http.StatusBadRequest, fmt.Sprintf("words: more than a line or %d letters; write less", mostTyped))
		return
	}
	words := history.WordsOf(p.Words)
	if len(words) == 0 {
		p.Empty = l.FindFirst
		show(w, http.StatusOK, "find.html", p)
		return
	}
	if s.History != nil {
		for _, look := range []func(history.Words, *findPage) error{s.findRuns, s.findShots, s.findRecipes, s.findBatches, s.findAlarms} {
			if err := look(words, &p); err != nil {
				pastProblem(w, err)
				return
			}
		}
	}
	p.findRules(words)
	p.tell()
	show(w, http.StatusOK, "find.html", p)
}

// tell says how much was found.
func (p *findPage) tell() {
	all := 0
	for _, g := range p.Groups {
		all += len(g.Hits) + g.More
	}
	if p.Count = fmt.Sprintf(p.Labels.Found, all); all == 0 {
		p.Count, p.Empty = "", p.Labels.FoundNothing
	}
}

// add puts a group on the page, if it has hits.
func (p *findPage) add(head string, hits []hit) {
	if len(hits) == 0 {
		return
	}
	shown := min(len(hits), mostHits)
	p.Groups = append(p.Groups, hitGroup{head, hits[:shown], len(hits) - shown})
}

func (s *server) findRuns(words history.Words, p *findPage) error {
	runs, err := s.History.RunsWith(words)
	var hits []hit
	for _, row := range rowsOf(runs, p.head) {
		hits = append(hits, hit{row.Heading, row.Subheading, strings.Join(slices.DeleteFunc([]string{row.FaultWords, row.Note}, isEmpty), "; "), row.Address})
	}
	p.add(p.Labels.FoundRuns, hits)
	return err
}

func isEmpty(s string) bool { return s == "" }

func (s *server) findShots(words history.Words, p *findPage) error {
	shots, err := s.History.ShotsWith(words)
	var hits []hit
	for _, h := range shots {
		said := strings.Join(slices.DeleteFunc([]string{h.Faults, h.Mould, h.Note}, isEmpty), "; ")
		hits = append(hits, hit{fmt.Sprintf(p.Labels.FoundIn, h.Run, h.Number), moment(h.Wall), said, fmt.Sprintf("/runs/%d%s#shot-%d", h.Run, p.Carry, h.Number)})
	}
	p.add(p.Labels.FoundShots, hits)
	return err
}

func moment(at time.Time) string { return at.Format("2006-01-02 15:04") }

// findRecipes looks in what was typed of each version, and shows the first line with a
// word.
func (s *server) findRecipes(words history.Words, p *findPage) error {
	versions, err := s.History.Versions()
	var hits []hit
	for _, v := range versions {
		if !words.In(v.Name, v.Source, v.Fingerprint) {
			continue
		}
		lines := strings.Split(v.Source, "\n")
		said := ""
		if i := slices.IndexFunc(lines, func(line string) bool { return words[:1].In(line) }); i >= 0 {
			said = strings.TrimSpace(lines[i])
		}
		row := versionRowOf(v, p.head)
		hits = append(hits, hit{v.Name + ", " + fmt.Sprintf(p.Labels.Version, v.Number), row.AddedOn, said, row.Address})
	}
	p.add(p.Labels.FoundRecipes, hits)
	return err
}

func (s *server) findBatches(words history.Words, p *findPage) error {
	batches, err := s.History.Batches()
	var hits []hit
	for _, b := range slices.Backward(batches) {
		if !words.In(b.Colour, b.Base, b.Lot, b.Made, b.Note) {
			continue
		}
		said := strings.Join(slices.DeleteFunc([]string{b.Base, b.Lot, b.Made, b.Note}, isEmpty), "; ")
		hits = append(hits, hit{fmt.Sprintf(p.Labels.FoundBatch, b.ID, b.Colour), moment(b.Heats[0].Began), said, fmt.Sprintf("/batches/%d%s", b.ID, p.Carry)})
	}
	p.add(p.Labels.FoundBatches, hits)
	return err
}

func (s *server) findAlarms(words history.Words, p *findPage) error {
	alarms, err := s.History.AlarmsWith(words)
	var hits []hit
	for _, a := range alarms {
		hits = append(hits, hit{fmt.Sprintf(p.Labels.RunNumber, a.Run), moment(a.Wall), a.Text, fmt.Sprintf("/runs/%d%s#events", a.Run, p.Carry)})
	}
	p.add(p.Labels.FoundAlarms, hits)
	return err
}

// findRules looks in what the guard looks for, with the instructions.
func (p *findPage) findRules(words history.Words) {
	var hits []hit
	for _, c := range guard.Codes() {
		if words.In(c.Title(), c.Instruction()) {
			hits = append(hits, hit{c.Title(), view.ActionWords(c.Rule()), c.Instruction(), "/alarms" + p.Carry + "#rule-" + c.String()})
		}
	}
	p.add(p.Labels.FoundRules, hits)
}

package api

import (
	"fmt"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"meltwarden/daemon/find"
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

// hitGroup are hits of one kind, the newest first; All is how many there are, More how many
// of them are left out.
type hitGroup struct {
	Head      string
	Hits      []hitRow
	All, More int
}

type hitRow struct {
	find.Hit
	Address string
}

// findWithin is how long a search may take (E: a second of a desk computer for five hundred
// runs).
const findWithin = time.Minute

// findPage looks for words in all that is kept and in what the guard looks for.
func (s *server) findPage(w http.ResponseWriter, r *http.Request) {
	l := view.Texts()
	p := findPage{head: s.unitless(r, l.FindNow, "/find"), Words: strings.TrimSpace(r.URL.Query().Get("words"))}
	if utf8.RuneCountInString(p.Words) > mostTyped {
		refuseFor(w, wrongField, wrong("words", p.Words, fmt.Sprintf("write at most %d letters", mostTyped)))
		return
	}
	words := history.WordsOf(p.Words)
	if len(words) > 0 && fromElsewhere(w, r) {
		return
	}
	if len(words) == 0 {
		p.Empty = l.FindFirst
		show(w, http.StatusOK, "find.html", p)
		return
	}
	done, ok := s.turn(w, r, findWithin)
	if !ok {
		tooMany(w)
		return
	}
	defer done()
	groups, err := find.Of(s.History, words)
	if err != nil {
		pastProblem(w, err)
		return
	}
	p.fill(groups)
	show(w, http.StatusOK, "find.html", p)
}

func (p *findPage) fill(groups []find.Group) {
	if len(groups) == 0 {
		p.Empty = p.Labels.FoundNothing
		return
	}
	p.Count = fmt.Sprintf(p.Labels.Found, find.Count(groups))
	for _, g := range groups {
		shown := min(len(g.Hits), mostHits)
		group := hitGroup{Head: g.Head, All: len(g.Hits), More: len(g.Hits) - shown}
		for _, h := range g.Hits[:shown] {
			group.Hits = append(group.Hits, hitRow{h, p.addressOf(h)})
		}
		p.Groups = append(p.Groups, group)
	}
}

// addressOf is where a hit stands.
func (h head) addressOf(hit find.Hit) string {
	switch {
	case hit.Finding != "":
		return "/alarms" + h.Carry + "#rule-" + hit.Finding
	case hit.Batch != 0:
		return fmt.Sprintf("/batches/%d%s", hit.Batch, h.Carry)
	case hit.Recipe != "":
		return "/recipes/" + hit.Recipe + h.Carry
	case hit.Shot != 0:
		return fmt.Sprintf("/runs/%d%s#shot-%d", hit.Run, h.Carry, hit.Shot)
	case hit.Event:
		return fmt.Sprintf("/runs/%d%s#events", hit.Run, h.Carry)
	}
	return fmt.Sprintf("/runs/%d%s", hit.Run, h.Carry)
}

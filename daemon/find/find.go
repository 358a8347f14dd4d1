// Package find looks for words in everything that is kept: runs, shots, recipe versions,
// batches and alarms, and in what the guard looks for. It promises that whatever it finds
// says where it stands, so that page and terminal only have to lead there, and that every
// word asked for is in what it names.
package find

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// Hit is one thing with the words. Which of Run, Batch, Recipe and Finding is not zero says
// what it is; a Run with a Shot is that shot.
type Hit struct {
	Run     int64  `json:"run,omitempty"`
	Shot    int    `json:"shot,omitempty"` // from 1 in its run
	Event   bool   `json:"event,omitempty"`
	Batch   int64  `json:"batch,omitempty"`
	Recipe  string `json:"recipe,omitempty"`  // the fingerprint of a version
	Finding string `json:"finding,omitempty"` // the guard's code
	Title   string `json:"title"`
	When    string `json:"when"` // or what it does to heat
	Said    string `json:"said"` // as typed, or in the program's words
}

// Group is hits of one kind, the newest first.
type Group struct {
	Head string `json:"head"`
	Hits []Hit  `json:"hits"`
}

// Of looks for words; a store of nil has nothing kept.
func Of(s *history.Store, words history.Words) ([]Group, error) {
	l := view.Texts()
	var groups []Group
	add := func(head string, hits []Hit) {
		if len(hits) > 0 {
			groups = append(groups, Group{head, hits})
		}
	}
	if s != nil {
		for _, place := range []struct {
			head string
			in   func(*history.Store, history.Words) ([]Hit, error)
		}{
			{l.FoundRuns, runs}, {l.FoundShots, shots}, {l.FoundRecipes, recipes}, {l.FoundBatches, batches}, {l.FoundAlarms, alarms},
		} {
			hits, err := place.in(s, words)
			if err != nil {
				return nil, err
			}
			add(place.head, hits)
		}
	}
	add(l.FoundRules, findings(words))
	return groups, nil
}

// Count is how many hits there are.
func Count(groups []Group) int {
	n := 0
	for _, g := range groups {
		n += len(g.Hits)
	}
	return n
}

func runs(s *history.Store, words history.Words) ([]Hit, error) {
	found, err := s.RunsWith(words)
	var hits []Hit
	for _, r := range found {
		about := review.Review{Run: r}
		hits = append(hits, Hit{Run: r.ID, Title: about.Heading(), When: about.Subheading(), Said: joined(append(slices.Clone(r.Faults), r.Note)...)})
	}
	return hits, err
}

func shots(s *history.Store, words history.Words) ([]Hit, error) {
	found, err := s.ShotsWith(words)
	var hits []Hit
	for _, h := range found {
		hits = append(hits, Hit{
			Run: h.Run, Shot: h.Number, Title: fmt.Sprintf(view.Texts().FoundIn, h.Run, h.Number), When: moment(h.Wall), Said: joined(h.Faults, h.Mould, h.Note),
		})
	}
	return hits, err
}

// recipes looks in what was typed of each version, and shows the first line with the first
// word.
func recipes(s *history.Store, words history.Words) ([]Hit, error) {
	versions, err := s.Versions()
	var hits []Hit
	for _, v := range versions {
		if !words.In(v.Name, v.Source, v.Fingerprint) {
			continue
		}
		h := Hit{Recipe: v.Fingerprint, Title: v.Name + ", " + fmt.Sprintf(view.Texts().Version, v.Number), When: v.Added.Format(time.DateOnly)}
		typed := strings.Split(v.Source, "\n")
		if i := slices.IndexFunc(typed, func(line string) bool { return words[:1].In(line) }); i >= 0 {
			h.Said = strings.TrimSpace(typed[i])
		}
		hits = append(hits, h)
	}
	return hits, err
}

func batches(s *history.Store, words history.Words) ([]Hit, error) {
	all, err := s.Batches()
	var hits []Hit
	for _, b := range slices.Backward(all) {
		if words.In(b.Colour, b.Base, b.Lot, b.Made, b.Note) {
			hits = append(hits, Hit{
				Batch: b.ID, Title: fmt.Sprintf(view.Texts().FoundBatch, b.ID, b.Colour), When: moment(b.Heats[0].Began), Said: joined(b.Base, b.Lot, b.Made, b.Note),
			})
		}
	}
	return hits, err
}

func alarms(s *history.Store, words history.Words) ([]Hit, error) {
	found, err := s.AlarmsWith(words)
	var hits []Hit
	for _, a := range found {
		hits = append(hits, Hit{Run: a.Run, Event: true, Title: fmt.Sprintf(view.Texts().RunNumber, a.Run), When: moment(a.Wall), Said: a.Text})
	}
	return hits, err
}

func findings(words history.Words) []Hit {
	var hits []Hit
	for _, c := range guard.Codes() {
		if words.In(c.Title(), c.Instruction()) {
			hits = append(hits, Hit{Finding: c.String(), Title: c.Title(), When: view.ActionWords(c.Rule()), Said: c.Instruction()})
		}
	}
	return hits
}

func moment(at time.Time) string { return at.Format("2006-01-02 15:04") }

// joined are the lines that say something.
func joined(all ...string) string {
	return strings.Join(slices.DeleteFunc(all, func(line string) bool { return line == "" }), "; ")
}

// WriteText writes what was found for a terminal.
func WriteText(out io.Writer, groups []Group) error {
	t := lines.To(out)
	if len(groups) == 0 {
		t.Line("%s", view.Texts().FoundNothing)
	}
	for i, g := range groups {
		if i > 0 {
			t.Line("")
		}
		t.Line("%s", g.Head)
		for _, h := range g.Hits {
			t.Line("%s", lines.Hang("  ", "    ", h.Title+" · "+h.When))
			if h.Said != "" {
				t.Line("%s", lines.Hang("    ", "    ", h.Said))
			}
		}
	}
	return t.Err()
}

// WriteJSON writes what was found for a program.
func WriteJSON(out io.Writer, groups []Group) error {
	return json.NewEncoder(out).Encode(map[string]any{"found": Count(groups), "groups": append([]Group{}, groups...)})
}

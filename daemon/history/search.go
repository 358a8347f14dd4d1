package history

import (
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"meltwarden/daemon/shot"
)

// Filter narrows a list of runs; the zero value lets every run through. Texts are looked
// for anywhere in what was typed, in capitals or not.
type Filter struct {
	// Text is in the title, recipe, version, state, a fault, a mould, or a note about the
	// run, a shot or a moment.
	Text   string
	Recipe string // in its name; or the name with the version, like "slate eel v2"
	Mould  string // of any shot
	Lot    string // in the base or lot of any colour, by the recipe or the batch
	State  State
	Fault  string // of any shot
	// Spoiled lets through what has a fault of any kind.
	Spoiled bool
	// Since and Until are when it began; Until itself is left out.
	Since, Until time.Time
}

// ErrFilter is wrapped by the error about a filter that can not be read.
var ErrFilter = errors.New("nothing was looked for")

// Between sets the days, the last one included, on which a run may have begun, as typed,
// like 2026-01-31; "" is no bound.
func (f *Filter) Between(since, until string) error {
	for _, x := range []struct {
		name, typed string
		days        int
		to          *time.Time
	}{{"since", since, 0, &f.Since}, {"until", until, 1, &f.Until}} {
		if x.typed == "" {
			continue
		}
		day, err := time.ParseInLocation(time.DateOnly, x.typed, time.Local)
		if err != nil {
			return fmt.Errorf("%s %q: write a date like 2026-01-31; %w", x.name, x.typed, ErrFilter)
		}
		*x.to = day.AddDate(0, 0, x.days)
	}
	if !f.Until.IsZero() && !f.Until.After(f.Since) {
		return fmt.Errorf("until %q: before since, %q; %w", until, since, ErrFilter)
	}
	return nil
}

// Runs lists the runs that pass the filter, the newest first.
func (s *Store) Runs(f Filter) ([]Run, error) {
	all, err := s.runs("", nil)
	if err != nil {
		return nil, err
	}
	typed, err := s.typedOf(f)
	if err != nil {
		return nil, err
	}
	runs := []Run{}
	for _, r := range all {
		if f.passes(r, typed[r.ID]) {
			runs = append(runs, r)
		}
	}
	return runs, nil
}

func (f Filter) passes(r Run, t typed) bool {
	return f.hasText(r, t) && f.hasRecipe(r) && contains(t.moulds, f.Mould) && contains(t.lots, f.Lot) &&
		(f.State == "" || r.State == f.State) &&
		(f.Fault == "" || slices.Contains(r.Faults, f.Fault) || slices.Contains(r.Faults, f.Fault+Later) || f.Fault == shot.Clean && r.Clean > 0) &&
		(!f.Spoiled || len(r.Faults) > 0) &&
		!r.Began.Before(f.Since) && (f.Until.IsZero() || r.Began.Before(f.Until))
}

func (f Filter) hasText(r Run, t typed) bool {
	return contains(r.lines(), f.Text) || contains(t.notes, f.Text) || contains(t.moulds, f.Text)
}

// lines are what a run says of itself in words.
func (r Run) lines() []string {
	return append([]string{r.Title, r.Recipe, r.Fingerprint, string(r.State), r.Note}, r.Faults...)
}

func (f Filter) hasRecipe(r Run) bool {
	return contains([]string{r.Recipe}, f.Recipe) || strings.EqualFold(fmt.Sprintf("%s v%d", r.Recipe, r.Version), f.Recipe)
}

// contains reports whether any of the lines has the text in it; "" is in all.
func contains(lines []string, text string) bool {
	text = strings.ToLower(text)
	return text == "" || slices.ContainsFunc(lines, func(line string) bool { return strings.Contains(strings.ToLower(line), text) })
}

// typed is what people have typed about a run, as far as a filter asks for it.
type typed struct{ notes, moulds, lots []string }

// typedOf looks up, run by run, what a filter needs.
func (s *Store) typedOf(f Filter) (map[int64]typed, error) {
	all := map[int64]typed{}
	if f.Text != "" || f.Mould != "" {
		if err := s.addNotes(all); err != nil {
			return nil, err
		}
	}
	if f.Lot == "" {
		return all, nil
	}
	return all, s.addLots(all)
}

// addNotes looks up moulds and notes. What is noted at a moment is the run's note as
// well, until somebody types another in its place.
func (s *Store) addNotes(all map[int64]typed) error {
	return s.each(func(rows *sql.Rows) error {
		var run int64
		var note, mould string
		err := rows.Scan(&run, &note, &mould)
		t := all[run]
		t.notes, t.moulds = append(t.notes, note), append(t.moulds, mould)
		all[run] = t
		return err
	}, `SELECT run, note, CASE WHEN withdrawn THEN '' ELSE mould END FROM shot WHERE note <> '' OR mould <> ''
		UNION ALL SELECT run, text, '' FROM event WHERE kind = ?`, Note)
}

func (s *Store) addLots(all map[int64]typed) error {
	read := map[string][]string{} // by the recipe file, of which few are many runs'
	err := s.each(func(rows *sql.Rows) error {
		var run int64
		var source string
		if err := rows.Scan(&run, &source); err != nil {
			return err
		}
		lots, known := read[source]
		if !known {
			lots = lotsOf(source)
			read[source] = lots
		}
		t := all[run]
		t.lots = lots
		all[run] = t
		return nil
	}, `SELECT run.id, CASE run.source WHEN '' THEN recipe.source ELSE run.source END FROM run JOIN recipe ON recipe.fingerprint = run.recipe`)
	if err != nil {
		return err
	}
	return s.each(func(rows *sql.Rows) error {
		var run int64
		var base, lot string
		err := rows.Scan(&run, &base, &lot)
		t := all[run]
		t.lots = append(slices.Clip(t.lots), base, lot)
		all[run] = t
		return err
	}, `SELECT potful.run, base, lot FROM potful JOIN batch ON batch.id = potful.batch`)
}

// lotsOf are the bases and lots that a recipe file names, also one that this program
// would not take any more.
func lotsOf(source string) (lots []string) {
	var recipe struct{ Colours []struct{ Base, Lot string } }
	if yaml.Unmarshal([]byte(source), &recipe) != nil {
		return nil
	}
	for _, c := range recipe.Colours {
		lots = append(lots, c.Base, c.Lot)
	}
	return lots
}

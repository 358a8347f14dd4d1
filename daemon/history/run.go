package history

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/shot"
)

// State is how a run stands.
type State string

// The states of a run.
const (
	Recording   State = "open"        // being recorded
	Finished    State = "finished"    // ended in order
	Interrupted State = "interrupted" // the program was gone before it could end it
)

// Start is what a run begins with. Recipe and bench are frozen copies.
type Start struct {
	Title string
	// Recipe is the recipe file as typed, and Fingerprint its version.
	Recipe, RecipeName, Fingerprint string
	Bench                           string // the bench file as typed
	Settings                        control.Settings
	// Potfuls are what the recipe puts into each pot, in the order of the settings; nil
	// keeps no batches. DoseKJ is the activation energy of heat doses, in kJ/mol.
	Potfuls []Potful
	DoseKJ  float64
	// Invented marks a run of the simulated bench.
	Invented bool
	// Apart begins a run of its own, whatever was interrupted before.
	Apart bool
	// Program is version and processor: replay is exact on the same two.
	Program string
	// Corrected is what calibrations add to the readings, in words: the readings of the run
	// have it in them.
	Corrected string
}

// resumeWithin is how long ago an interrupted run may have been, to go on.
const resumeWithin = 12 * time.Hour

// begin opens a part for a run: of the last one, if that was interrupted not long
// ago with the same recipe on the same bench, otherwise of a new one. Whatever
// else is still open is marked interrupted.
func (s *Store) begin(at time.Time, o Start, settings string, mayResume bool) (run, part int64, resumed bool, err error) {
	err = s.do(func(tx *sql.Tx) error {
		if _, err := tx.Exec(`UPDATE run SET state = 'interrupted' WHERE state = 'open'`); err != nil {
			return err
		}
		if mayResume && !o.Apart {
			if run, err = resumable(tx, at, o, settings); err != nil {
				return err
			}
		}
		if resumed = run != 0; !resumed {
			if run, err = insertRun(tx, at, o, settings); err != nil {
				return err
			}
		} else if _, err := tx.Exec(`UPDATE run SET state = 'open' WHERE id = ?`, run); err != nil {
			return err
		}
		part, err = insert(tx, `INSERT INTO part (run, program, began_ms, last_ms, corrected) VALUES (?, ?, ?, ?, ?)`, run, o.Program, ms(at), ms(at), o.Corrected)
		return err
	})
	return run, part, resumed, err
}

// resumable returns the run that may go on, or zero.
func resumable(tx *sql.Tx, at time.Time, o Start, settings string) (int64, error) {
	var id int64
	err := tx.QueryRow(`SELECT id FROM run WHERE state = 'interrupted' AND recipe = ? AND bench = ? AND settings = ?
		AND id = (SELECT max(id) FROM run WHERE brought_ms = 0) AND (SELECT max(last_ms) FROM part WHERE part.run = run.id) > ?`,
		o.Fingerprint, o.Bench, settings, ms(at.Add(-resumeWithin))).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return id, err
}

func insertRun(tx *sql.Tx, at time.Time, o Start, settings string) (int64, error) {
	if err := insertVersion(tx, at, Version{Name: o.RecipeName, Fingerprint: o.Fingerprint, Source: o.Recipe}); err != nil {
		return 0, err
	}
	session, err := sessionAt(tx, at)
	if err != nil {
		return 0, err
	}
	run, err := insert(tx, `INSERT INTO run (session, recipe, source, title, bench, settings, invented, began_ms, state)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, 'open')`, session, o.Fingerprint, o.Recipe, o.Title, o.Bench, settings, o.Invented, ms(at))
	if err != nil {
		return 0, err
	}
	return run, insertPotfuls(tx, run, at, o.DoseKJ, o.Potfuls, make([]shot.Heat, len(o.Potfuls)))
}

// sessionWithin is how long after a run the next one is still of the same evening (C).
const sessionWithin = 3 * time.Hour

// sessionAt is the session of a run that begins now: that of the last run, or a new
// one.
func sessionAt(tx *sql.Tx, at time.Time) (id int64, err error) {
	err = tx.QueryRow(`SELECT run.session FROM run JOIN part ON part.run = run.id WHERE brought_ms = 0 AND part.last_ms BETWEEN ? AND ?
		ORDER BY part.last_ms DESC LIMIT 1`, ms(at.Add(-sessionWithin)), ms(at)).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return insert(tx, `INSERT INTO session (began_ms) VALUES (?)`, ms(at))
	}
	return id, err
}

func insert(tx *sql.Tx, query string, args ...any) (int64, error) {
	r, err := tx.Exec(query, args...)
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

// Run is one run as the list shows it.
type Run struct {
	ID          int64  `json:"id"`
	Session     int64  `json:"session"`
	Title       string `json:"title"`
	Recipe      string `json:"recipe"`
	Fingerprint string `json:"recipe_fingerprint"`
	Version     int    `json:"recipe_version"`
	Invented    bool   `json:"invented"`
	// Began and Ended are wall times; Ended is that of the last cycle where nobody
	// saw the end, and nil while the run goes on.
	Began  time.Time  `json:"began"`
	Ended  *time.Time `json:"ended"`
	State  State      `json:"state"`
	Cycles int64      `json:"cycles"`
	// TookS is how long it was recorded, in seconds of bench time.
	TookS float64 `json:"took_s"`
	// Shots are those that were not taken back; Clean how many of them are called
	// clean and nothing else, days later either; Faults every fault named, the most frequent first, with Later after it
	// where it only showed days later.
	Shots  int      `json:"shots"`
	Clean  int      `json:"clean"`
	Faults []string `json:"faults"`
	Note   string   `json:"note"`
	// Brought is when it was brought from another history, nil for one recorded here, and
	// BroughtFrom the name of the bench it was made on. Nothing that heats goes by it.
	Brought     *time.Time `json:"brought"`
	BroughtFrom string     `json:"brought_from,omitempty"`
	// Thinned is when most of its cycles were dropped, nil while all are there.
	Thinned *time.Time `json:"thinned"`
	// FirstHeat is true for a bench's first heat, in which raw paste is warmed a little: no
	// evening, and nothing is shot.
	FirstHeat bool `json:"first_heat"`
}

// Later stands after a fault that only showed at a re-inspection: what does has
// other causes than heat.
const Later = ", days later"

// runQuery has the columns that scanRun takes.
const runQuery = `SELECT run.id, run.session, run.title, recipe.name, run.recipe,
	(SELECT count(*) FROM recipe AS r WHERE r.name = recipe.name AND r.rowid <= recipe.rowid),
	run.invented, run.began_ms, run.ended_ms, run.state, run.note,
	coalesce(sum(part.cycles), 0), coalesce(sum(part.bench_ms), 0), coalesce(max(part.last_ms), run.began_ms),
	(SELECT count(*) FROM shot WHERE shot.run = run.id AND NOT withdrawn), brought_ms, brought_from, thinned_ms, instr(run.settings, '"FirstHeat":{') > 0
	FROM run JOIN recipe ON recipe.fingerprint = run.recipe LEFT JOIN part ON part.run = run.id`

// Run is one run. Its error wraps ErrNoRun when there is none.
func (s *Store) Run(id int64) (Run, error) {
	runs, err := s.runs("WHERE run.id = ?", id)
	if err == nil && len(runs) == 0 {
		err = fmt.Errorf("run %d: %w", id, ErrNoRun)
	}
	if err != nil {
		return Run{}, err
	}
	return runs[0], nil
}

// runs are those of a condition, the newest first; a nil argument is none.
func (s *Store) runs(where string, arg any) (runs []Run, err error) {
	var args []any
	if arg != nil {
		args = append(args, arg)
	}
	faults, err := s.faultsOfRuns(where, args)
	if err != nil {
		return nil, err
	}
	recorded := s.recorded()
	err = s.each(func(rows *sql.Rows) error {
		r, err := s.scanRun(rows, recorded)
		r.takeFaults(faults[r.ID])
		runs = append(runs, r)
		return err
	}, runQuery+" "+where+` GROUP BY run.id ORDER BY run.began_ms DESC, run.id DESC`, args...)
	return runs, err
}

func (s *Store) scanRun(rows *sql.Rows, recorded bool) (r Run, err error) {
	var began, took, last, brought, thinned int64
	var ended sql.NullInt64
	err = rows.Scan(&r.ID, &r.Session, &r.Title, &r.Recipe, &r.Fingerprint, &r.Version, &r.Invented, &began, &ended, &r.State, &r.Note,
		&r.Cycles, &took, &last, &r.Shots, &brought, &r.BroughtFrom, &thinned, &r.FirstHeat)
	r.Brought, r.Thinned = orNever(brought), orNever(thinned)
	r.Began, r.TookS = time.UnixMilli(began), float64(took)/1000
	r.State = s.stateOf(r.ID, r.State, recorded)
	if r.State != Recording {
		at := time.UnixMilli(last)
		if ended.Valid {
			at = time.UnixMilli(ended.Int64)
		}
		r.Ended = &at
	}
	return r, err
}

// stateOf is how a run stands that is kept as in a state, by whether anybody records.
func (s *Store) stateOf(run int64, kept State, recorded bool) State {
	if kept == Recording && (!recorded || s.records && run != s.live.Load()) {
		return Interrupted // its program is gone and nobody has said so yet
	}
	return kept
}

// orNever is a time, nil for zero.
func orNever(ms int64) *time.Time {
	if ms == 0 {
		return nil
	}
	at := time.UnixMilli(ms)
	return &at
}

// count is how many shots of a run have a fault.
type count struct {
	fault string
	shots int
}

func (r *Run) takeFaults(counts []count) {
	slices.SortStableFunc(counts, func(a, b count) int { return b.shots - a.shots })
	r.Faults = []string{}
	for _, c := range counts {
		if c.fault == shot.Clean {
			r.Clean = c.shots
		} else {
			r.Faults = append(r.Faults, c.fault)
		}
	}
}

func (s *Store) faultsOfRuns(where string, args []any) (map[int64][]count, error) {
	all := map[int64][]count{}
	err := s.each(func(rows *sql.Rows) error {
		var run int64
		var c count
		var later bool
		if err := rows.Scan(&run, &c.fault, &later, &c.shots); err != nil {
			return err
		}
		if later && c.fault != shot.Clean {
			c.fault += Later
		}
		if !later || c.fault != shot.Clean { // clean is said at demould
			all[run] = append(all[run], c)
		}
		return nil
	}, `SELECT shot.run, fault.fault, fault.day > 0, count(DISTINCT CASE WHEN fault.fault <> 'clean' OR NOT EXISTS
			(SELECT 1 FROM fault AS other WHERE other.shot = shot.id AND other.fault <> 'clean') THEN shot.id END) FROM run
		JOIN shot ON shot.run = run.id AND NOT shot.withdrawn JOIN fault ON fault.shot = shot.id `+where+
		` GROUP BY 1, 2, 3 ORDER BY 1, 2, 3`, args...)
	return all, err
}

// SetNote replaces the note of a run.
func (s *Store) SetNote(run int64, note string) error {
	return s.do(func(tx *sql.Tx) error {
		done, err := tx.Exec(`UPDATE run SET note = ? WHERE id = ?`, note, run)
		return orNone(done, err, fmt.Errorf("run %d: %w", run, ErrNoRun))
	})
}

// orNone turns an update that found no row into an error.
func orNone(done sql.Result, err, none error) error {
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n > 0 {
		return err
	}
	return none
}

func settingsText(o Start) (string, error) {
	text, err := json.Marshal(o.Settings)
	if err != nil {
		return "", fmt.Errorf("history: settings: %w", err)
	}
	return string(text), nil
}

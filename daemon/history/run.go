package history

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"meltwarden/control"
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
	// Invented marks a run of the simulated bench.
	Invented bool
	// Program is version and processor: replay is exact on the same two.
	Program string
}

// resumeWithin is how long ago an interrupted run may have been, to go on.
const resumeWithin = 12 * time.Hour

// begin opens a part for a run: of the last one, if that was interrupted not long
// ago with the same recipe on the same bench, otherwise of a new one. Whatever
// else is still open is marked interrupted.
func (s *Store) begin(at time.Time, o Start) (run, part int64, err error) {
	settings, err := json.Marshal(o.Settings)
	if err != nil {
		return 0, 0, fmt.Errorf("history: settings: %w", err)
	}
	err = s.do(func(tx *sql.Tx) error {
		if _, err := tx.Exec(`UPDATE run SET state = 'interrupted' WHERE state = 'open'`); err != nil {
			return err
		}
		if run, err = resumable(tx, at, o, string(settings)); err != nil {
			return err
		}
		if run == 0 {
			if run, err = insertRun(tx, at, o, string(settings)); err != nil {
				return err
			}
		} else if _, err := tx.Exec(`UPDATE run SET state = 'open' WHERE id = ?`, run); err != nil {
			return err
		}
		part, err = insert(tx, `INSERT INTO part (run, program, began_ms) VALUES (?, ?, ?)`, run, o.Program, ms(at))
		return err
	})
	return run, part, err
}

// resumable returns the run that may go on, or zero.
func resumable(tx *sql.Tx, at time.Time, o Start, settings string) (int64, error) {
	var id int64
	err := tx.QueryRow(`SELECT id FROM run WHERE state = 'interrupted' AND recipe = ? AND bench = ? AND settings = ?
		AND id = (SELECT max(id) FROM run) AND began_ms > ?`,
		o.Fingerprint, o.Bench, settings, ms(at.Add(-resumeWithin))).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return id, err
}

func insertRun(tx *sql.Tx, at time.Time, o Start, settings string) (int64, error) {
	_, err := tx.Exec(`INSERT INTO recipe (fingerprint, name, source, added_ms) VALUES (?, ?, ?, ?)
		ON CONFLICT (fingerprint) DO NOTHING`, o.Fingerprint, o.RecipeName, o.Recipe, ms(at))
	if err != nil {
		return 0, err
	}
	session, err := insert(tx, `INSERT INTO session (began_ms) VALUES (?)`, ms(at))
	if err != nil {
		return 0, err
	}
	return insert(tx, `INSERT INTO run (session, recipe, title, bench, settings, invented, began_ms, state)
		VALUES (?, ?, ?, ?, ?, ?, ?, 'open')`, session, o.Fingerprint, o.Title, o.Bench, settings, o.Invented, ms(at))
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
	ID          int64      `json:"id"`
	Title       string     `json:"title"`
	Recipe      string     `json:"recipe"`
	Fingerprint string     `json:"recipe_version"`
	Invented    bool       `json:"invented"`
	Began       time.Time  `json:"began"`
	Ended       *time.Time `json:"ended"` // nil while open, or where nobody saw the end
	State       State      `json:"state"`
	Cycles      int64      `json:"cycles"`
}

// Runs lists the runs whose title, recipe or state contains the text, the newest
// first; an empty text finds all.
func (s *Store) Runs(text string) ([]Run, error) {
	rows, err := s.read.Query(`SELECT run.id, run.title, recipe.name, run.recipe, run.invented, run.began_ms, run.ended_ms, run.state,
		(SELECT coalesce(sum(cycles), 0) FROM block JOIN part ON block.part = part.id WHERE part.run = run.id)
		FROM run JOIN recipe ON recipe.fingerprint = run.recipe
		WHERE instr(lower(run.title || ' ' || recipe.name || ' ' || run.recipe || ' ' || run.state), lower(?)) > 0
		ORDER BY run.id DESC`, text)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	runs := []Run{}
	for rows.Next() {
		r, err := scanRun(rows)
		if err != nil {
			return nil, err
		}
		runs = append(runs, r)
	}
	return runs, rows.Err()
}

func scanRun(rows *sql.Rows) (r Run, err error) {
	var began int64
	var ended sql.NullInt64
	err = rows.Scan(&r.ID, &r.Title, &r.Recipe, &r.Fingerprint, &r.Invented, &began, &ended, &r.State, &r.Cycles)
	r.Began = time.UnixMilli(began)
	if ended.Valid {
		at := time.UnixMilli(ended.Int64)
		r.Ended = &at
	}
	return r, err
}

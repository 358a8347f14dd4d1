package history

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// ErrNoAttempt is returned for an attempt that does not exist.
var ErrNoAttempt = errors.New("there is no such attempt; the command attempts lists them")

// Attempt is one change to a recipe that was accepted, to see whether it helps against a
// fault.
type Attempt struct {
	ID     int64  `json:"id"`
	Recipe string `json:"recipe"` // its name
	// Version is the fingerprint of the recipe version that came of it, Before that of
	// the one that was changed.
	Version string `json:"version"`
	Before  string `json:"before"`
	// Run and Shot are what led to it.
	Run   int64  `json:"run"`
	Shot  int    `json:"shot"`
	Fault string `json:"fault"`
	// Cause is the hypothesis it goes by, Kind what is changed and Colour of which; ""
	// is the whole recipe. Change is the change itself in words, and Reason what speaks
	// for it.
	Cause    string    `json:"cause"`
	Kind     string    `json:"kind"`
	Colour   string    `json:"colour"`
	Change   string    `json:"change"`
	Reason   string    `json:"reason"`
	Accepted time.Time `json:"accepted"`
	// Ended is when a person ended it, nil while nobody has, and EndedWhy their words.
	Ended    *time.Time `json:"ended"`
	EndedWhy string     `json:"ended_why"`
}

// KeepAttempt keeps an attempt and the version that comes of it, and returns its number.
func (s *Store) KeepAttempt(v Version, a Attempt) (id int64, err error) {
	err = s.do(func(tx *sql.Tx) error {
		if err := insertVersion(tx, a.Accepted, v); err != nil {
			return err
		}
		id, err = insert(tx, `INSERT INTO attempt (recipe, before, run, shot, fault, cause, kind, colour, change, reason, accepted_ms)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			v.Fingerprint, v.Parent, a.Run, a.Shot, a.Fault, a.Cause, a.Kind, a.Colour, a.Change, a.Reason, ms(a.Accepted))
		return err
	})
	return id, err
}

// EndAttempt writes down that a person ended an attempt that nobody had ended, and why.
func (s *Store) EndAttempt(id int64, at time.Time, why string) error {
	return s.do(func(tx *sql.Tx) error {
		done, err := tx.Exec(`UPDATE attempt SET ended_ms = ?, ended_why = ? WHERE id = ? AND ended_ms IS NULL`, ms(at), why, id)
		return orNone(done, err, fmt.Errorf("attempt %d that is still on: %w", id, ErrNoAttempt))
	})
}

// Attempts lists every attempt, the newest first.
func (s *Store) Attempts() ([]Attempt, error) {
	all := []Attempt{}
	err := s.each(func(rows *sql.Rows) error {
		var a Attempt
		var accepted int64
		var ended *int64
		err := rows.Scan(&a.ID, &a.Recipe, &a.Version, &a.Before, &a.Run, &a.Shot, &a.Fault, &a.Cause, &a.Kind, &a.Colour, &a.Change, &a.Reason,
			&accepted, &ended, &a.EndedWhy)
		a.Accepted = time.UnixMilli(accepted)
		if ended != nil {
			at := time.UnixMilli(*ended)
			a.Ended = &at
		}
		all = append(all, a)
		return err
	}, `SELECT attempt.id, recipe.name, attempt.recipe, before, attempt.run, shot, fault, cause, kind, colour, change, reason, accepted_ms, ended_ms, ended_why
		FROM attempt JOIN recipe ON recipe.fingerprint = attempt.recipe ORDER BY attempt.id DESC`)
	return all, err
}

// Tally counts shots with a fault among those that were judged at demould and not taken
// back.
type Tally struct {
	Faulty int `json:"faulty"`
	Judged int `json:"judged"`
	// Runs is of how many runs they are.
	Runs int `json:"runs"`
}

// TallyOf counts the shots of a recipe version that were made from a time on; the zero time
// takes all.
func (s *Store) TallyOf(fingerprint, fault string, from time.Time) (t Tally, err error) {
	fromMs := int64(0)
	if !from.IsZero() {
		fromMs = ms(from)
	}
	err = s.one([]any{&t.Faulty, &t.Judged, &t.Runs}, `SELECT coalesce(sum(faulty), 0), count(*), count(DISTINCT run) FROM (
		SELECT shot.run, EXISTS (SELECT 1 FROM fault WHERE fault.shot = shot.id AND day = 0 AND fault = ?2) AS faulty
		FROM shot JOIN run ON run.id = shot.run WHERE run.recipe = ?1 AND NOT withdrawn AND wall_ms >= ?3
			AND EXISTS (SELECT 1 FROM fault WHERE fault.shot = shot.id AND day = 0))`, fingerprint, fault, fromMs)
	return t, err
}

package history

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Known is what one run has found out about a pot.
type Known struct {
	At time.Time
	// Pot is its name on the bench; Digest stands for what measures and heats it, so that
	// what was found with other channels is not taken for its own.
	Pot, Digest string
	// Anew says that the run had not gone by what earlier ones had found.
	Anew    bool
	Figures string // JSON
}

// ErrNotKnown is returned for a pot of which nothing was kept.
var ErrNotKnown = errors.New("nothing is known of the pot")

// insertKnown puts what is known of a pot in the place of what the same run had kept of it.
func insertKnown(tx *sql.Tx, run int64, k Known) error {
	_, err := tx.Exec(`INSERT OR REPLACE INTO known (run, pot, digest, wall_ms, anew, figures) VALUES (?, ?, ?, ?, ?, ?)`,
		run, k.Pot, k.Digest, ms(k.At), k.Anew, k.Figures)
	return err
}

// KeepKnown keeps what a run has found out at its end.
func (s *Store) KeepKnown(run int64, known []Known) error {
	err := s.do(func(tx *sql.Tx) error {
		for _, k := range known {
			if err := insertKnown(tx, run, k); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("history %s: what was found out about the pots was not kept: %w", s.path, err)
	}
	return nil
}

// Known is the newest that is known of a pot for a run that starts now, and how many
// sessions on end have gone into it, or ErrNotKnown. What an interrupted run that may go
// on has kept itself is left out: it goes on with the settings that it began with. A first
// heat goes on never, and its settings are told by a key that no other run has.
func (s *Store) Known(at time.Time, o Start, pot, digest string) (k Known, sessions int, err error) {
	k.Pot, k.Digest = pot, digest
	var wall int64
	err = s.one([]any{&wall, &k.Anew, &k.Figures, &sessions}, `
		WITH mine AS (
			SELECT known.*, run.session FROM known JOIN run ON run.id = known.run
			WHERE pot = ?1 AND digest = ?2 AND brought_ms = 0 AND NOT (run.id = (SELECT max(id) FROM run WHERE brought_ms = 0) AND run.state <> 'finished' AND instr(run.settings, '"FirstHeat":') = 0
				AND run.recipe = ?3 AND run.bench = ?4 AND (SELECT max(last_ms) FROM part WHERE part.run = run.id) > ?5)
		)
		SELECT wall_ms, anew, figures,
			(SELECT count(DISTINCT session) FROM mine WHERE run >= coalesce((SELECT max(run) FROM mine WHERE anew), 0))
		FROM mine ORDER BY run DESC LIMIT 1`,
		pot, digest, o.Fingerprint, o.Bench, ms(at.Add(-resumeWithin)))
	if errors.Is(err, sql.ErrNoRows) {
		return Known{}, 0, ErrNotKnown
	}
	k.At = time.UnixMilli(wall)
	return k, sessions, err
}

package history

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"iter"

	"meltwarden/control"
	"meltwarden/daemon/history/cycles"
)

// ErrNoRun is returned for a run that does not exist.
var ErrNoRun = errors.New("there is no such run; the command runs lists them")

// Settings are the frozen settings of a run.
func (s *Store) Settings(run int64) (control.Settings, error) {
	var text string
	var settings control.Settings
	err := s.read.QueryRow(`SELECT settings FROM run WHERE id = ?`, run).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return settings, fmt.Errorf("run %d: %w", run, ErrNoRun)
	}
	if err != nil {
		return settings, err
	}
	return settings, json.Unmarshal([]byte(text), &settings)
}

// Part is what was recorded between one start of the program and its end. Each
// begins with a bench at rest.
type Part struct {
	ID      int64
	Program string
}

// Parts lists a run's parts, in order.
func (s *Store) Parts(run int64) ([]Part, error) {
	rows, err := s.read.Query(`SELECT id, program FROM part WHERE run = ? ORDER BY id`, run)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var parts []Part
	for rows.Next() {
		var p Part
		if err := rows.Scan(&p.ID, &p.Program); err != nil {
			return nil, err
		}
		parts = append(parts, p)
	}
	return parts, rows.Err()
}

// Cycles yields the cycles of a part in order, block by block. After an error
// nothing more comes.
func (s *Store) Cycles(part int64) iter.Seq2[cycles.Record, error] {
	return func(yield func(cycles.Record, error) bool) {
		rows, err := s.read.Query(`SELECT data FROM block WHERE part = ? ORDER BY first`, part)
		if err != nil {
			yield(cycles.Record{}, err)
			return
		}
		defer rows.Close()
		for rows.Next() {
			var data []byte
			if err := rows.Scan(&data); err != nil {
				yield(cycles.Record{}, err)
				return
			}
			records, err := cycles.Decode(data)
			if err != nil {
				yield(cycles.Record{}, fmt.Errorf("part %d: %w", part, err))
				return
			}
			for _, r := range records {
				if !yield(r, nil) {
					return
				}
			}
		}
		if err := rows.Err(); err != nil {
			yield(cycles.Record{}, err)
		}
	}
}

// Replayed is how a replay went.
type Replayed struct {
	Cycles int `json:"cycles"`
	// Differs is the first cycle whose outputs came out differently; nil is none.
	Differs *Difference `json:"first_difference"`
}

// Difference is a cycle that came out differently.
type Difference struct {
	Part  int64  `json:"part"`
	Cycle uint64 `json:"cycle"`
	// Missing is true where cycles are missing before this one, so that nothing
	// after it can be the same.
	Missing bool `json:"missing_before"`
}

// Replay feeds the stored inputs of a run to Step and holds what it decides
// against what was decided, bit for bit. That is exact for the program and the
// kind of processor that recorded it. Each part begins with a bench at rest.
func (s *Store) Replay(run int64) (Replayed, error) {
	var out Replayed
	settings, err := s.Settings(run)
	if err != nil {
		return out, err
	}
	parts, err := s.Parts(run)
	if err != nil {
		return out, err
	}
	for _, p := range parts {
		bench := control.NewBench(settings)
		var f control.Frame
		for r, err := range s.Cycles(p.ID) {
			if err != nil {
				return out, err
			}
			bench.Step(&r.Input, &f)
			out.Cycles++
			if f.Cycle != r.Kept.Cycle {
				out.Differs = &Difference{p.ID, r.Kept.Cycle, true}
				return out, nil
			}
			if cycles.Fingerprint(&f) != r.Kept.Print {
				out.Differs = &Difference{p.ID, r.Kept.Cycle, false}
				return out, nil
			}
		}
	}
	return out, nil
}

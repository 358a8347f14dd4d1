package history

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"meltwarden/control"
	"meltwarden/daemon/history/cycles"
)

// ErrNoRun is returned for a run that does not exist.
var ErrNoRun = errors.New("there is no such run; the command runs lists them")

// Settings are the frozen settings of a run.
func (s *Store) Settings(run int64) (control.Settings, error) {
	var text string
	var settings control.Settings
	err := s.one([]any{&text}, `SELECT settings FROM run WHERE id = ?`, run)
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
	// Offset is where it begins on the run's time axis: the parts follow each other
	// by the wall's clock, each in its own bench time.
	Offset time.Duration
	// Took is how long it is, in bench time.
	Took   time.Duration
	Cycles int
	// Corrected is what calibrations added to its readings, in words; "" is nothing.
	Corrected string
}

// Parts lists a run's parts, in order.
func (s *Store) Parts(run int64) ([]Part, error) {
	var parts []Part
	var end time.Duration // of the part before, on the axis
	var left int64        // wall time then
	err := s.each(func(rows *sql.Rows) error {
		var p Part
		var began, bench, last int64
		if err := rows.Scan(&p.ID, &p.Program, &p.Cycles, &began, &bench, &last, &p.Corrected); err != nil {
			return err
		}
		if len(parts) > 0 {
			p.Offset = end + time.Duration(max(began-left, 1))*time.Millisecond
		}
		p.Took = time.Duration(bench) * time.Millisecond
		end, left = p.Offset+p.Took, last
		parts = append(parts, p)
		return nil
	}, `SELECT id, program, cycles, began_ms, bench_ms, last_ms, corrected FROM part WHERE run = ? ORDER BY id`, run)
	return parts, err
}

// offsets are the parts' offsets, by their numbers.
func (s *Store) offsets(run int64) (map[int64]time.Duration, error) {
	if _, err := s.Settings(run); err != nil {
		return nil, err
	}
	parts, err := s.Parts(run)
	offsets := map[int64]time.Duration{}
	for _, p := range parts {
		offsets[p.ID] = p.Offset
	}
	return offsets, err
}

// Cycles calls f with every cycle of a part, in order. The record is written over
// by the next, and f may not change it.
func (s *Store) Cycles(part int64, f func(*cycles.Record) error) error {
	return s.blocks(part, 0, math.MaxInt64, f)
}

// Between calls f with the cycles of a run from one time on its axis to another,
// in order, and perhaps some before and after; a to of zero is its end. The record
// is written over by the next, and f may not change it.
func (s *Store) Between(run int64, from, to time.Duration, f func(part Part, r *cycles.Record) error) error {
	parts, err := s.Parts(run)
	if err != nil {
		return err
	}
	if to <= 0 {
		to = math.MaxInt64
	}
	for _, p := range parts {
		if p.Offset > to || p.Offset+p.Took < from {
			continue
		}
		err := s.blocks(p.ID, from-p.Offset, to-p.Offset, func(r *cycles.Record) error { return f(p, r) })
		if err != nil {
			return err
		}
	}
	return nil
}

// blocks calls f with the cycles of the blocks of a part from the one that holds a
// bench time to the one that holds another.
func (s *Store) blocks(part int64, from, to time.Duration, f func(*cycles.Record) error) error {
	var reader cycles.Reader
	var data sql.RawBytes
	return s.each(func(rows *sql.Rows) error {
		if err := rows.Scan(&data); err != nil {
			return err
		}
		if err := reader.Each(data, f); errors.Is(err, cycles.ErrDamaged) {
			return fmt.Errorf("history %s, part %d: %w: put a backup in its place", s.path, part, err)
		} else {
			return err
		}
	}, `SELECT data FROM block WHERE part = ? AND bench_ms <= ?
		AND first >= coalesce((SELECT max(first) FROM block WHERE part = ? AND bench_ms <= ?), 0) ORDER BY first`,
		part, to.Milliseconds(), part, from.Milliseconds())
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
// kind of processor that recorded it. Each part begins with a bench at rest. Of a run that
// was thinned its error wraps ErrThinned.
func (s *Store) Replay(run int64) (Replayed, error) {
	var out Replayed
	r, err := s.Run(run)
	if err != nil {
		return out, err
	}
	if r.Thinned != nil {
		return out, fmt.Errorf("run %d: %w on %s; replay is no longer possible", run, ErrThinned, r.Thinned.Format(time.DateOnly))
	}
	settings, err := s.Settings(run)
	if err != nil {
		return out, err
	}
	parts, err := s.Parts(run)
	if err != nil {
		return out, err
	}
	for _, p := range parts {
		if out.Differs, err = s.replayPart(p.ID, settings, &out.Cycles); err != nil || out.Differs != nil {
			return out, err
		}
	}
	return out, nil
}

// errDiffers ends a replay.
var errDiffers = errors.New("differs")

func (s *Store) replayPart(part int64, settings control.Settings, count *int) (*Difference, error) {
	bench := control.NewBench(settings)
	var f control.Frame
	var found *Difference
	err := s.Cycles(part, func(r *cycles.Record) error {
		bench.Step(&r.Input, &f)
		*count++
		switch {
		case f.Cycle != r.Kept.Cycle:
			found = &Difference{part, r.Kept.Cycle, true}
		case cycles.Fingerprint(&f) != r.Kept.Print:
			found = &Difference{part, r.Kept.Cycle, false}
		default:
			return nil
		}
		return errDiffers
	})
	if errors.Is(err, errDiffers) {
		err = nil
	}
	return found, err
}

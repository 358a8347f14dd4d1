package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"time"

	"meltwarden/daemon/history/cycles"
)

// ErrThinned is wrapped by the error about what can not be done with a run whose cycles
// have been thinned.
var ErrThinned = errors.New("its cycles were thinned")

// Tidied is what became of the cycles of old runs.
type Tidied struct {
	Runs []TidiedRun `json:"runs"`
	// Before and After are the bytes of the file; of a dry run both are those of now.
	Before int64 `json:"file_bytes_before"`
	After  int64 `json:"file_bytes_after"`
	Dry    bool  `json:"dry_run"`
	// Reused says that the room was not given back to the disk: later runs use it.
	Reused bool `json:"room_is_reused"`
}

// TidiedRun is one run whose cycles were thinned, or would be.
type TidiedRun struct {
	Run    int64     `json:"run"`
	Title  string    `json:"title"`
	Began  time.Time `json:"began"`
	Cycles int64     `json:"cycles_before"`
	Kept   int64     `json:"cycles_after"`
	Before int64     `json:"cycle_bytes_before"`
	After  int64     `json:"cycle_bytes_after"`
}

// leastAge is the youngest that may be thinned: what was interrupted may still go on, and
// what was shot yesterday is judged tomorrow.
const leastAge = 24 * time.Hour

// Tidy thins the cycles of every run that ended longer ago than an age, at least a day.
// Runs, recipes, events, shots, verdicts and photos stay, and so many cycles that a plot
// looks the same; replay is no longer possible. One run is one transaction, and one that
// is being recorded is never touched. A dry run only counts. It ends early, between two
// runs, when the context does.
func (s *Store) Tidy(ctx context.Context, at time.Time, age time.Duration, dry bool) (Tidied, error) {
	out := Tidied{Dry: dry, Runs: []TidiedRun{}}
	if age < leastAge {
		return out, fmt.Errorf("an age of %v: too young to be thinned; write 1 day or more", age)
	}
	runs, err := s.Runs(Filter{})
	if err != nil {
		return out, err
	}
	if out.Before, err = s.size(); err != nil {
		return out, err
	}
	for _, r := range runs {
		if ctx.Err() != nil {
			break
		}
		if r.State == Recording || r.Thinned != nil || r.Cycles == 0 || !r.Ended.Before(at.Add(-age)) {
			continue
		}
		done, err := s.thin(r, at, dry)
		if errors.Is(err, ErrThinned) {
			continue // by somebody else, meanwhile
		}
		if err != nil {
			return out, fmt.Errorf("run %d: %w", r.ID, err)
		}
		out.Runs = append(out.Runs, done)
	}
	if !dry && len(out.Runs) > 0 {
		if out.Reused, err = s.giveBack(); err != nil {
			return out, err
		}
	}
	out.After, err = s.size()
	return out, err
}

// size is that of the file and of the log beside it, in bytes.
func (s *Store) size() (bytes int64, err error) {
	for _, end := range []string{"", "-wal"} {
		info, err := os.Stat(s.path + end)
		if errors.Is(err, os.ErrNotExist) && end != "" {
			continue
		}
		if err != nil {
			return 0, unreadable(s.path, err)
		}
		bytes += info.Size()
	}
	return bytes, nil
}

func (s *Store) thin(r Run, at time.Time, dry bool) (TidiedRun, error) {
	out := TidiedRun{Run: r.ID, Title: r.Title, Began: r.Began, Cycles: r.Cycles}
	parts, err := s.Parts(r.ID)
	if err != nil {
		return out, err
	}
	blocks := map[int64][]packedBlock{}
	for _, p := range parts {
		if blocks[p.ID], err = s.thinned(p.ID); err != nil {
			return out, err
		}
		for _, b := range blocks[p.ID] {
			out.Kept += int64(b.cycles)
			out.After += int64(len(b.data))
		}
	}
	err = s.one([]any{&out.Before}, `SELECT coalesce(sum(length(data)), 0) FROM block JOIN part ON part.id = block.part WHERE part.run = ?`, r.ID)
	if err != nil || dry {
		return out, err
	}
	return out, s.do(func(tx *sql.Tx) error {
		// What was thinned between the look and now would lose as much once more.
		marked, err := tx.Exec(`UPDATE run SET thinned_ms = ? WHERE id = ? AND thinned_ms = 0`, ms(at), r.ID)
		if err := orNone(marked, err, ErrThinned); err != nil {
			return err
		}
		for _, p := range parts {
			if err := replaceBlocks(tx, p.ID, blocks[p.ID]); err != nil {
				return err
			}
		}
		return nil
	})
}

// packedBlock is a block as it is written.
type packedBlock struct {
	first   uint64
	cycles  int
	data    []byte
	benchMS int64
}

// thinned are the blocks of what is left of a part.
func (s *Store) thinned(part int64) (blocks []packedBlock, err error) {
	var thin cycles.Thinner
	if err := s.Cycles(part, func(r *cycles.Record) error { thin.Add(r); return nil }); err != nil {
		return nil, err
	}
	for kept := thin.Kept(); len(kept) > 0; {
		n := min(packed, len(kept))
		blocks = append(blocks, packedBlock{kept[0].Kept.Cycle, n, cycles.Encode(kept[:n]), kept[0].Kept.Time.Milliseconds()})
		kept = kept[n:]
	}
	return blocks, nil
}

func replaceBlocks(tx *sql.Tx, part int64, blocks []packedBlock) error {
	if _, err := tx.Exec(`DELETE FROM block WHERE part = ?`, part); err != nil {
		return err
	}
	n := 0
	for _, b := range blocks {
		n += b.cycles
		_, err := tx.Exec(`INSERT INTO block (part, first, cycles, data, bench_ms) VALUES (?, ?, ?, ?, ?)`, part, b.first, b.cycles, b.data, b.benchMS)
		if err != nil {
			return err
		}
	}
	_, err := tx.Exec(`UPDATE part SET cycles = ? WHERE id = ?`, n, part)
	return err
}

// atATime is how many pages are given back in one go, so that a recorder hardly waits.
const atATime = 500

// giveBack gives the room of what is gone back to the disk. A file that was made by an
// older program has to be written anew for that; while somebody records it is left, and
// what comes later uses the room.
func (s *Store) giveBack() (reused bool, err error) {
	write, err := s.writer()
	if err != nil {
		return false, err
	}
	var mode int
	if err := write.QueryRow("PRAGMA auto_vacuum").Scan(&mode); err != nil {
		return false, unreadable(s.path, err)
	}
	if mode != stepwise {
		if s.live.Load() != 0 || !s.records && s.recorded() {
			return true, nil
		}
		_, err = write.Exec("VACUUM")
	} else {
		err = giveBackInSteps(write)
	}
	if err == nil {
		_, err = write.Exec("PRAGMA wal_checkpoint(TRUNCATE)")
	}
	if err != nil {
		return true, unreadable(s.path, err)
	}
	return false, nil
}

// stepwise is SQLite's number for a file that gives room back in steps.
const stepwise = 2

func giveBackInSteps(write *sql.DB) error {
	for last := -1; ; {
		var free int
		if err := write.QueryRow("PRAGMA freelist_count").Scan(&free); err != nil {
			return err
		}
		if free == 0 || free == last {
			return nil
		}
		last = free
		if _, err := write.Exec(fmt.Sprintf("PRAGMA incremental_vacuum(%d)", atATime)); err != nil {
			return err
		}
	}
}

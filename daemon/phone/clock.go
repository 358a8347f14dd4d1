package phone

import (
	"database/sql"
	"time"
)

// The wall clock may be set back, by hand or by a battery that is empty. So the latest time
// that was ever seen is kept, to a minute, and phones are judged by the later of both: who
// was out stays out. While the clock is behind that time, it goes on by one that nobody can
// set, so that who is in is out in time as well; what goes by while no daemon runs is not
// seen then. A clock that was far ahead for a while puts phones out in the same way, and
// they are let in anew. Whoever adds a phone sits at the bench, and the clock is taken as
// that person sees it: from there on it counts again, and whoever was out by then is out
// for good.

// later is the later of two times.
func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// Passed notes that it is now so late, and that so much time has gone by since it was noted
// last; and when phones were here. It is to be called every minute, and makes no file where
// there is none.
func (s *Store) Passed(now time.Time, since time.Duration) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var seen int64
	there, err := s.lookHeld(func(db *sql.DB) error {
		return db.QueryRow(`SELECT coalesce(max(latest_ms), 0) FROM clock`).Scan(&seen)
	})
	if !there || err != nil {
		return err
	}
	if latest := at(seen); now.Before(latest) {
		now = latest.Add(since)
	}
	err = s.changeHeld(func(tx *sql.Tx) error {
		for id, seen := range s.here {
			if _, err := tx.Exec(`UPDATE phone SET seen_ms = ? WHERE id = ?`, seen.UnixMilli(), id); err != nil {
				return err
			}
		}
		return passed(tx, now)
	})
	if err == nil {
		clear(s.here)
	}
	return err
}

func passed(tx *sql.Tx, now time.Time) error {
	_, err := tx.Exec(`INSERT INTO clock VALUES (1, ?1) ON CONFLICT (id) DO UPDATE SET latest_ms = max(latest_ms, ?1)`, now.UnixMilli())
	return err
}

// setRight takes the clock as it is now.
func setRight(tx *sql.Tx, now time.Time) error {
	if _, err := tx.Exec(`UPDATE phone SET revoked_ms = ?1, code = NULL FROM clock
		WHERE latest_ms > ?1 AND revoked_ms = 0 AND (ends_ms <= latest_ms OR paired_ms = 0 AND code_ms <= latest_ms)`, now.UnixMilli()); err != nil {
		return err
	}
	_, err := tx.Exec(`INSERT INTO clock VALUES (1, ?1) ON CONFLICT (id) DO UPDATE SET latest_ms = ?1`, now.UnixMilli())
	return err
}

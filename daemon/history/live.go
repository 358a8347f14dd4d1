package history

import (
	"database/sql"
	"slices"
	"time"

	"meltwarden/daemon/history/cycles"
)

// Happened is what happened in the run that is being recorded, since the program was
// started, in order.
type Happened struct {
	Run, Part int64
	Events    []NumberedEvent
	// Last is to be asked after the next time; zero where nothing has happened.
	Last int64
	// LeftOut is how many older ones were not wanted.
	LeftOut int
}

// NumberedEvent is an event in the bench time of its part: Event.At counts from the start
// of the program. Shot is a shot's number in its run, zero of what is none.
type NumberedEvent struct {
	Event
	Shot int
}

// LiveEvents are the newest events, at most so many, of those that came after the one that
// Happened.Last named; zero is from the start. That an alarm is over is left out, and what was ticked off before heat.
func (s *Store) LiveEvents(after int64, most int) (out Happened, err error) {
	out.Run = s.Live()
	if out.Part, err = s.livePart(); err != nil {
		return out, err
	}
	const wanted = ` FROM event WHERE run = ?1 AND part = ?2 AND id > ?3 AND kind NOT IN ('alarm over', 'check ticked off', 'tick taken away')`
	var count int
	if err := s.one([]any{&count, &out.Last}, `SELECT count(*), coalesce(max(id), 0)`+wanted, out.Run, out.Part, after); err != nil || count == 0 {
		return out, err
	}
	out.LeftOut = max(0, count-most)
	err = s.each(func(rows *sql.Rows) error {
		var e NumberedEvent
		var bench, wall int64
		if err := rows.Scan(&bench, &wall, &e.Kind, &e.Pot, &e.Text, &e.Amount, &e.C, &e.From, &e.Key, &e.Takes, &e.Shot); err != nil {
			return err
		}
		e.At, e.Wall, e.Pot = time.Duration(bench)*time.Millisecond, time.UnixMilli(wall), e.Pot-1
		out.Events = append(out.Events, e)
		return nil
	}, `SELECT bench_ms, wall_ms, kind, pot, text, amount, c, said_from, said_key, takes, CASE kind WHEN 'shot' THEN
		(SELECT count(*) FROM event AS o WHERE o.run = ?1 AND o.kind = 'shot' AND o.id <= event.id) ELSE 0 END`+
		wanted+` AND id <= ?4 ORDER BY id DESC LIMIT ?5`, out.Run, out.Part, after, out.Last, most)
	slices.Reverse(out.Events)
	return out, err
}

// LiveBetween calls f with the cycles of the run that is being recorded, from one bench
// time of its present part to another, in order. The record is written over by the next,
// and f may not change it.
func (s *Store) LiveBetween(from, to time.Duration, f func(*cycles.Record) error) error {
	part, err := s.livePart()
	if err != nil {
		return err
	}
	return s.blocks(part, from, to, func(r *cycles.Record) error {
		if r.Kept.Time < from || r.Kept.Time >= to {
			return nil
		}
		return f(r)
	})
}

// livePart is the part that is being recorded, zero where none is.
func (s *Store) livePart() (part int64, err error) {
	return part, s.one([]any{&part}, `SELECT coalesce(max(id), 0) FROM part WHERE run = ?`, s.Live())
}

package history

import (
	"database/sql"
	"time"
)

// Relay is how often a relay before a heater was told to close. Bench, Place and Fitted
// together say which relay it is.
type Relay struct {
	Bench string // its name
	// Place is its coil, Fitted the day it was fitted, as typed; "" is not said.
	Place, Fitted string
	Pot           string // its name on the bench
	// Operations are counted, a closing and the opening after it as one.
	Operations int64
	// Since is when counting began, At when it closed last.
	Since, At time.Time
}

// putRelays writes down counts. One that is higher already stays: a count never falls.
func putRelays(tx *sql.Tx, relays []Relay) error {
	for _, r := range relays {
		_, err := tx.Exec(`INSERT INTO relay (bench, place, fitted, pot, operations, since_ms, wall_ms) VALUES (?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET pot = excluded.pot, operations = excluded.operations, wall_ms = excluded.wall_ms
			WHERE excluded.operations > operations`,
			r.Bench, r.Place, r.Fitted, r.Pot, r.Operations, ms(r.Since), ms(r.At))
		if err != nil {
			return err
		}
	}
	return nil
}

// Relays are the counts of all relays that have ever been counted.
func (s *Store) Relays() (all []Relay, err error) {
	err = s.each(func(rows *sql.Rows) error {
		var r Relay
		var since, at int64
		if err := rows.Scan(&r.Bench, &r.Place, &r.Fitted, &r.Pot, &r.Operations, &since, &at); err != nil {
			return err
		}
		r.Since, r.At = time.UnixMilli(since), time.UnixMilli(at)
		all = append(all, r)
		return nil
	}, `SELECT bench, place, fitted, pot, operations, since_ms, wall_ms FROM relay ORDER BY bench, place, fitted`)
	return all, err
}

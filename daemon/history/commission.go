package history

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Commission is one state of a bench's commissioning, as it was saved. Every
// state is kept, and the newest counts.
type Commission struct {
	At      time.Time
	Program string // version
	// Digest stands for the hardware that the record is about.
	Digest string
	Record string // JSON
}

// ErrNotCommissioned is returned where no commissioning is on record.
var ErrNotCommissioned = errors.New("no commissioning is on record")

// KeepCommission adds a state of the commissioning. When it returns without an
// error the state is on the disk.
func (s *Store) KeepCommission(c Commission) error {
	err := s.do(func(tx *sql.Tx) error {
		_, err := insert(tx, `INSERT INTO commission (wall_ms, program, digest, record) VALUES (?, ?, ?, ?)`,
			ms(c.At), c.Program, c.Digest, c.Record)
		return err
	})
	if err != nil {
		return fmt.Errorf("history %s: the commissioning was not saved: %w", s.path, err)
	}
	return nil
}

// Commission returns the newest state, or ErrNotCommissioned.
func (s *Store) Commission() (Commission, error) {
	var c Commission
	var at int64
	err := s.one([]any{&at, &c.Program, &c.Digest, &c.Record},
		`SELECT wall_ms, program, digest, record FROM commission ORDER BY id DESC LIMIT 1`)
	if errors.Is(err, sql.ErrNoRows) {
		return Commission{}, ErrNotCommissioned
	}
	c.At = time.UnixMilli(at)
	return c, err
}

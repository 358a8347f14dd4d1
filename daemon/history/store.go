// Package history keeps what happened: sessions, runs with the recipe and the
// bench they were made with, every cycle, events, shots and their faults. It is
// one SQLite file behind the frame, never on the way to the heaters: what it can
// not write it keeps for a while, then counts as dropped, and control goes on.
package history

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	_ "modernc.org/sqlite" // the driver, in pure Go
)

// FileName is the history's name in the data folder.
const FileName = "history.sqlite"

// Store is an open history. It is safe for use by several goroutines.
type Store struct {
	path  string
	write *sql.DB // one connection: SQLite has one writer
	read  *sql.DB
}

// Open opens the history in a data folder, and makes both where they do not
// exist. A file of a newer program, of another program, or a damaged one is
// refused and not written to.
func Open(folder string) (*Store, error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, fmt.Errorf("data folder: %w: choose another with --data", err)
	}
	s := &Store{path: filepath.Join(folder, FileName)}
	if err := inspect(s.path); err != nil {
		return nil, err
	}
	var err error
	if s.write, err = sql.Open("sqlite", dsn(s.path, "")); err != nil {
		return nil, err
	}
	s.write.SetMaxOpenConns(1)
	if err := s.migrate(); err != nil {
		return nil, errors.Join(fmt.Errorf("history %s: %w", s.path, err), s.write.Close())
	}
	if s.read, err = sql.Open("sqlite", dsn(s.path, "&_pragma=query_only(1)")); err != nil {
		return nil, errors.Join(err, s.write.Close())
	}
	return s, nil
}

// OpenExisting opens the history in a folder, and makes none where there is none.
func OpenExisting(folder string) (*Store, error) {
	if _, err := os.Stat(filepath.Join(folder, FileName)); err != nil {
		return nil, fmt.Errorf("data folder %s: no history in it; name another with --data", folder)
	}
	return Open(folder)
}

// dsn names the file with the settings that every connection needs: pragmas
// outside the name would reach only one of a pool.
func dsn(path, more string) string {
	return "file:" + (&url.URL{Path: path}).EscapedPath() +
		"?_pragma=busy_timeout(3000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)" +
		"&_pragma=foreign_keys(1)&_txlock=immediate" + more
}

// inspect looks at a file without writing to it.
func inspect(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("history %s: %w", path, err)
	}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?mode=ro&_pragma=busy_timeout(3000)")
	if err != nil {
		return err
	}
	defer db.Close()
	var application, version int
	if err := db.QueryRow("PRAGMA application_id").Scan(&application); err != nil {
		return damaged(path, err)
	}
	if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return damaged(path, err)
	}
	if application != applicationID {
		return fmt.Errorf("history %s: not a history of this program; nothing was written: move the file away, or choose another folder with --data", path)
	}
	if version > len(migrations) {
		return fmt.Errorf("history %s: made by a newer program (layout %d, this one knows %d); nothing was written: use the newer program, or another folder with --data", path, version, len(migrations))
	}
	return check(db, path)
}

// check lets SQLite look over its own structure.
func check(db *sql.DB, path string) error {
	var verdict string
	if err := db.QueryRow("PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return damaged(path, err)
	}
	if verdict != "ok" {
		return damaged(path, errors.New(verdict))
	}
	return nil
}

func damaged(path string, why error) error {
	return fmt.Errorf("history %s: damaged (%w); nothing was written: move the file away and put a backup in its place, or choose another folder with --data", path, why)
}

// migrate brings the file to the present layout, one step a transaction.
func (s *Store) migrate() error {
	var version int
	if err := s.write.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	for ; version < len(migrations); version++ {
		err := s.do(func(tx *sql.Tx) error {
			if _, err := tx.Exec(migrations[version]); err != nil {
				return err
			}
			_, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, version+1))
			return err
		})
		if err != nil {
			return fmt.Errorf("to layout %d: %w", version+1, err)
		}
	}
	return nil
}

// do runs f in a transaction of the writer.
func (s *Store) do(f func(*sql.Tx) error) error {
	tx, err := s.write.Begin()
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// Path is where the history is.
func (s *Store) Path() string { return s.path }

// Close closes the file.
func (s *Store) Close() error { return errors.Join(s.read.Close(), s.write.Close()) }

func ms(t time.Time) int64 { return t.UnixMilli() }

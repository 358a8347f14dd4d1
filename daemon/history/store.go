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
	"sync"
	"sync/atomic"
	"time"

	"modernc.org/sqlite" // the driver, in pure Go
	sqlite3 "modernc.org/sqlite/lib"
)

// FileName is the history's name in the data folder.
const FileName = "history.sqlite"

// ErrRefused is wrapped by the error about a file that must not be written to:
// damaged, of a newer program, of another one, or in use. Waiting mends none of
// them; a person has to choose.
var ErrRefused = errors.New("nothing was written")

// Store is a history. It is safe for use by several goroutines.
type Store struct {
	folder, path string
	records      bool         // it may record, so nobody else does
	live         atomic.Int64 // the run being recorded

	mu      sync.Mutex
	release func() error // gives back the claim
	write   *sql.DB      // one connection: SQLite has one writer; nil until opened
	read    *sql.DB
}

// Open opens the history in a data folder to record into it, and makes both where
// they do not exist. A file that must not be written to is an error that wraps
// ErrRefused. A folder that can not be used now (read-only, full, not there) is
// none: Trouble says why, and every later use tries again.
func Open(folder string) (*Store, error) {
	s := &Store{folder: folder, path: filepath.Join(folder, FileName), records: true}
	if err := s.connect(); errors.Is(err, ErrRefused) {
		return nil, err
	}
	return s, nil
}

// OpenExisting opens the history in a folder to look at, and makes none where
// there is none. Another program may be recording into it.
func OpenExisting(folder string) (*Store, error) {
	s := &Store{folder: folder, path: filepath.Join(folder, FileName)}
	if _, err := os.Stat(s.path); err != nil {
		return nil, fmt.Errorf("data folder %s: no history in it; name another with --data", folder)
	}
	return s, s.connect()
}

// Trouble is why the history can not be used now, or nil.
func (s *Store) Trouble() error { return s.connect() }

// connect opens what is not open yet.
func (s *Store) connect() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.read != nil {
		return nil
	}
	if err := s.prepare(); err != nil {
		return err
	}
	write, err := openWriter(s.path)
	if err != nil {
		return err
	}
	read, err := sql.Open("sqlite", dsn(s.path, "&_pragma=query_only(1)"))
	if err != nil {
		return errors.Join(err, write.Close())
	}
	s.write, s.read = write, read
	return nil
}

// prepare makes sure of the folder, of the claim and of what is there.
func (s *Store) prepare() error {
	if s.records {
		if err := os.MkdirAll(s.folder, 0o755); err != nil {
			return fmt.Errorf("data folder: %w: choose another with --data", err)
		}
		if s.release == nil {
			release, err := claim(s.folder, patience)
			if err != nil {
				return err
			}
			s.release = release
		}
	}
	return inspect(s.path)
}

func openWriter(path string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, ""))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if err := migrate(db); err != nil {
		return nil, errors.Join(fmt.Errorf("history %s: %w", path, err), db.Close())
	}
	return db, nil
}

// dsn names the file with the settings that every connection needs: pragmas
// outside the name would reach only one of a pool.
func dsn(path, more string) string {
	return address(path) +
		"?_pragma=busy_timeout(3000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)" +
		"&_pragma=foreign_keys(1)&_txlock=immediate" + more
}

func address(path string) string { return "file:" + (&url.URL{Path: path}).EscapedPath() }

// inspect looks at a file without writing to it.
func inspect(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("history %s: %w", path, err)
	}
	db, err := sql.Open("sqlite", address(path)+"?mode=ro&_pragma=busy_timeout(3000)")
	if err != nil {
		return err
	}
	defer db.Close()
	var application, version int
	if err := db.QueryRow("PRAGMA application_id").Scan(&application); err != nil {
		return unreadable(path, err)
	}
	if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return unreadable(path, err)
	}
	if application != applicationID {
		return fmt.Errorf("history %s: not a history of this program; %w: move the file away, or choose another folder with --data", path, ErrRefused)
	}
	if version > len(migrations) {
		return fmt.Errorf("history %s: made by a newer program (layout %d, this one knows %d); %w: use the newer program, or another folder with --data", path, version, len(migrations), ErrRefused)
	}
	return check(db, path)
}

// check lets SQLite look over its own structure.
func check(db *sql.DB, path string) error {
	var verdict string
	if err := db.QueryRow("PRAGMA quick_check(1)").Scan(&verdict); err != nil {
		return unreadable(path, err)
	}
	if verdict != "ok" {
		return damaged(path, errors.New(verdict))
	}
	return nil
}

// unreadable tells damage from a disk that can not be read or written now.
func unreadable(path string, why error) error {
	if code := sqliteCode(why); code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB {
		return damaged(path, why)
	}
	return fmt.Errorf("history %s: can not be opened: %w: check the disk and the folder's permissions", path, why)
}

func damaged(path string, why error) error {
	return fmt.Errorf("history %s: damaged (%w); %w: move the file away and put a backup in its place, or choose another folder with --data", path, why, ErrRefused)
}

// sqliteCode is SQLite's primary result code of an error, or zero.
func sqliteCode(err error) int {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0
	}
	return e.Code() & 0xff
}

// migrate brings a file to the present layout, one step a transaction.
func migrate(db *sql.DB) error {
	var version int
	if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	for ; version < len(migrations); version++ {
		err := transact(db, func(tx *sql.Tx) error {
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
	if err := s.connect(); err != nil {
		return err
	}
	return transact(s.write, f)
}

func transact(db *sql.DB, f func(*sql.Tx) error) error {
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// query asks the readers.
func (s *Store) query(text string, args ...any) (*sql.Rows, error) {
	if err := s.connect(); err != nil {
		return nil, err
	}
	return s.read.Query(text, args...)
}

// each asks the readers and hands every row to f.
func (s *Store) each(f func(*sql.Rows) error, text string, args ...any) error {
	rows, err := s.query(text, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// one asks the readers for one row; without one its error is sql.ErrNoRows.
func (s *Store) one(to []any, text string, args ...any) error {
	if err := s.connect(); err != nil {
		return err
	}
	return s.read.QueryRow(text, args...).Scan(to...)
}

// Path is where the history is.
func (s *Store) Path() string { return s.path }

// Close closes the file and gives back the claim.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var errs []error
	for _, db := range []*sql.DB{s.read, s.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if s.release != nil {
		errs = append(errs, s.release())
		s.release = nil
	}
	return errors.Join(errs...)
}

func ms(t time.Time) int64 { return t.UnixMilli() }

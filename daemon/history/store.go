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
	happened     atomic.Uint64

	mu      sync.Mutex
	release func() error // gives back the claim
	write   *sql.DB      // one connection: SQLite has one writer; nil until needed
	read    *sql.DB      // nil until opened
	info    os.FileInfo  // of the file that is open
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

// Glance is OpenExisting for who only looks in passing: it changes nothing whatever, and
// leaves a file of an old layout alone.
func Glance(folder string) (*Store, error) {
	path := filepath.Join(folder, FileName)
	version, err := inspect(path)
	if err == nil && version != none && version != len(migrations) {
		return nil, fmt.Errorf("history %s: layout %d, this program's is %d; %w: any other command brings it up to date", path, version, len(migrations), ErrRefused)
	}
	if err != nil {
		return nil, err
	}
	return OpenExisting(folder)
}

// Trouble is why the history can not be used now, or nil.
func (s *Store) Trouble() error { return s.connect() }

// reader is the connections that read.
func (s *Store) reader() (*sql.DB, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.connectHeld()
	return s.read, err
}

// connect is reader for those who want no connection.
func (s *Store) connect() error {
	_, err := s.reader()
	return err
}

// connectHeld opens the readers, after whoever records has made the file what they
// need. The store is held.
func (s *Store) connectHeld() error {
	if s.read != nil {
		return nil
	}
	if err := s.prepare(); err != nil {
		return err
	}
	read, err := openReader(s.path)
	if err != nil {
		return err
	}
	s.info, err = os.Stat(s.path)
	if err != nil {
		return errors.Join(unreadable(s.path, err), read.Close())
	}
	s.read = read
	return nil
}

// prepare makes sure of the folder, of the claim, and that the file has the
// present layout. A program that only looks leaves a file as it is, unless its
// layout is old and nobody records.
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
			s.sweep(time.Now().Add(-workshopHolds))
		}
		return s.prepareToWrite()
	}
	version, err := inspect(s.path)
	if err != nil || version == len(migrations) {
		return err
	}
	release, err := claim(s.folder, patienceToLook)
	if errors.Is(err, ErrRefused) {
		if version, err := inspect(s.path); err == nil && version == len(migrations) {
			return nil // another one that looks has brought it there
		}
		return fmt.Errorf("history %s: an older program records into it (layout %d, this one needs %d), or another one is still bringing it there; %w: look at it with that program, end it first, or try again", s.path, version, len(migrations), ErrRefused)
	}
	if err != nil {
		return err
	}
	return errors.Join(s.prepareToWrite(), release())
}

// prepareToWrite makes a new file, or brings an old one to the present layout. The
// folder is claimed.
func (s *Store) prepareToWrite() error {
	version, err := inspect(s.path)
	if sqliteCode(err) == sqlite3.SQLITE_READONLY {
		// The program that wrote it was killed in the middle of making it: what it had
		// begun is undone by whoever opens it to write, and nobody else is there.
		if err = undo(s.path); err == nil {
			version, err = inspect(s.path)
		}
	}
	if err != nil {
		return err
	}
	if version == none {
		if err := create(s.path); err != nil {
			return err
		}
	}
	return withWriter(s.path, migrate)
}

// undo opens a file to write, which undoes what was never finished.
func undo(path string) error {
	return withWriter(path, func(db *sql.DB) error {
		var version int
		return db.QueryRow("PRAGMA user_version").Scan(&version)
	})
}

// create makes a file under another name first: one that is there is whole.
func create(path string) error {
	beside := path + ".new"
	for _, end := range []string{"", "-journal", "-wal", "-shm"} {
		if err := os.Remove(beside + end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return unreadable(path, err)
		}
	}
	if err := withWriter(beside, migrate); err != nil {
		return err
	}
	if err := os.Rename(beside, path); err != nil {
		return unreadable(path, err)
	}
	return nil
}

// withWriter does something with a connection of its own.
func withWriter(path string, do func(*sql.DB) error) error {
	db, err := openWriter(path)
	if err != nil {
		return err
	}
	if err := errors.Join(do(db), db.Close()); err != nil {
		return unreadable(path, err)
	}
	return nil
}

func openWriter(path string) (*sql.DB, error) {
	// The first setting is for a file that is new: it can give room back in steps.
	db, err := sql.Open("sqlite", address(path)+
		"?_pragma=auto_vacuum(2)&_pragma=busy_timeout(3000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&_txlock=immediate")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

// openReader opens connections that never write. On a medium that can not be
// written to there is nobody who changes the file; one with a journal beside it was
// left in the middle of a change, and is not to be read as it stands.
func openReader(path string) (*sql.DB, error) {
	var db *sql.DB
	var err error
	ways := []string{"", "&immutable=1"}
	if info, err := os.Stat(path + "-journal"); err == nil && info.Size() > 0 {
		ways = ways[:1]
	}
	for _, more := range ways {
		if db, err = sql.Open("sqlite", address(path)+"?mode=ro&_pragma=busy_timeout(3000)&_pragma=query_only(1)"+more); err != nil {
			return nil, err
		}
		var version int
		err = db.QueryRow("PRAGMA user_version").Scan(&version)
		if err == nil {
			return db, nil
		}
		err = errors.Join(unreadable(path, err), db.Close())
		if code := sqliteCode(err); code != sqlite3.SQLITE_CANTOPEN && code != sqlite3.SQLITE_READONLY {
			break
		}
	}
	return nil, err
}

func address(path string) string { return "file:" + (&url.URL{Path: path}).EscapedPath() }

// none is the layout of a file that does not exist, or has nothing in it.
const none = -1

// inspect looks at a file without writing to it, and returns its layout.
func inspect(path string) (version int, err error) {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return none, nil
	}
	if err != nil {
		return none, unreadable(path, err)
	}
	db, err := openReader(path)
	if err != nil {
		return none, err
	}
	defer db.Close()
	application, version, tables, err := identity(db)
	switch {
	case err != nil:
		return none, unreadable(path, err)
	case application == 0 && version == 0 && tables == 0:
		return 0, nil // begun, and the disk was full: it can be gone on with
	case application != applicationID:
		return none, fmt.Errorf("history %s: not a history of this program; %w: move the file away, or choose another folder with --data", path, ErrRefused)
	case version > len(migrations):
		return none, fmt.Errorf("history %s: made by a newer program (layout %d, this one knows %d); %w: use the newer program, or another folder with --data", path, version, len(migrations), ErrRefused)
	}
	return version, check(db, path, "quick_check")
}

// identity is whose file it is, its layout, and how many things are in it.
func identity(db *sql.DB) (application, version, tables int, err error) {
	err = db.QueryRow("SELECT a.application_id, v.user_version, (SELECT count(*) FROM sqlite_schema) FROM pragma_application_id AS a, pragma_user_version AS v").
		Scan(&application, &version, &tables)
	return application, version, tables, err
}

// check lets SQLite look over its own structure: with quick_check in the time of a start,
// with integrity_check the indexes too.
func check(db *sql.DB, path, how string) error {
	var verdict string
	if err := db.QueryRow("PRAGMA " + how + "(1)").Scan(&verdict); err != nil {
		return unreadable(path, err)
	}
	if verdict != "ok" {
		return damaged(path, errors.New(verdict))
	}
	return nil
}

// unreadable tells damage from a disk that can not be read or written now.
func unreadable(path string, why error) error {
	switch code := sqliteCode(why); {
	case errors.Is(why, ErrRefused):
		return why
	case code == sqlite3.SQLITE_CORRUPT, code == sqlite3.SQLITE_NOTADB:
		return damaged(path, why)
	}
	return fmt.Errorf("history %s: can not be used now: %w: see that the disk has room, is there, and can be written to", path, why)
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
	for done := false; !done; {
		err := transact(db, func(tx *sql.Tx) error {
			var version int
			if err := tx.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
				return err
			}
			if done = version >= len(migrations); done {
				return nil
			}
			if _, err := tx.Exec(migrations[version]); err != nil {
				return fmt.Errorf("to layout %d: %w", version+1, err)
			}
			_, err := tx.Exec(fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, version+1))
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// do runs f in a transaction of the writer. What the disk does not take is told
// with the fix.
func (s *Store) do(f func(*sql.Tx) error) error {
	if err := s.connect(); err != nil {
		return err
	}
	write, err := s.writer()
	if err != nil {
		return err
	}
	if err = transact(write, f); sqliteCode(err) != 0 {
		return unreadable(s.path, err)
	}
	return err
}

// writer opens the writer when it is needed first.
func (s *Store) writer() (*sql.DB, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.write == nil {
		write, err := openWriter(s.path)
		if err != nil {
			return nil, unreadable(s.path, err)
		}
		if err := breakSeal(write); err != nil {
			return nil, errors.Join(unreadable(s.path, err), write.Close())
		}
		s.write = write
	}
	return s.write, nil
}

// errMoved is why a write failed that would have gone nowhere.
var errMoved = errors.New("the file was moved away or replaced while it was written to")

// stillThere finds out whether the file that is open is the one at its path. If
// not, everything is closed, and the next use begins anew.
func (s *Store) stillThere() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.read == nil {
		return nil
	}
	if now, err := os.Stat(s.path); err == nil && os.SameFile(now, s.info) {
		return nil
	}
	err := fmt.Errorf("history %s: %w", s.path, errMoved)
	return errors.Join(err, s.disconnect())
}

// disconnect closes what is open.
func (s *Store) disconnect() error {
	var errs []error
	for _, db := range []*sql.DB{s.read, s.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	s.read, s.write = nil, nil
	return errors.Join(errs...)
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
	read, err := s.reader()
	if err != nil {
		return nil, err
	}
	return read.Query(text, args...)
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
	read, err := s.reader()
	if err != nil {
		return err
	}
	return read.QueryRow(text, args...).Scan(to...)
}

// Path is where the history is.
func (s *Store) Path() string { return s.path }

// Close closes the file and gives back the claim.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.disconnect()
	if s.release != nil {
		err = errors.Join(err, s.release())
		s.release = nil
	}
	return err
}

func ms(t time.Time) int64 { return t.UnixMilli() }

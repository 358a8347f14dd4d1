package phone

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// A file that is no file of phones any more, or is damaged, lets nobody in, and so there is
// no ALL OFF from a phone. It is set aside under another name, with its day and time, so
// that nothing is lost, and a new one takes its place, in which there is no phone. That is
// said until a phone has been paired again.

// errBroken is a file that can not be read as one of phones, now or later.
var errBroken = errors.New("damaged")

// SetAsideError is that the file of the phones was broken, and no phone was paired since.
type SetAsideError struct {
	File string // the name that it has now
	At   time.Time
}

// Error names the file and the fix.
func (e *SetAsideError) Error() string {
	return fmt.Sprintf("the file of the phones could not be read: it was set aside at %s as %s, and every phone is out until it is let in anew, on the page Phones or by meltwarden phone add", e.At.Local().Format("15:04 on 2006-01-02"), e.File)
}

// Trouble is why a phone that was let in may be out now: a file that can not be used, or
// one that was set aside, as a SetAsideError. It is nil where all is well.
func (s *Store) Trouble() error {
	err := s.trouble()
	s.known.Store(&err)
	return err
}

// Known is what Trouble said last: it waits for nothing, and asks nothing.
func (s *Store) Known() error {
	if err := s.known.Load(); err != nil {
		return *err
	}
	return nil
}

func (s *Store) trouble() error {
	var file string
	var ms int64
	err := s.look(func(db *sql.DB) error { return db.QueryRow(`SELECT file, wall_ms FROM aside`).Scan(&file, &ms) })
	switch {
	case errors.Is(err, errNone), errors.Is(err, sql.ErrNoRows):
		return nil
	case err != nil:
		return s.failed(err)
	}
	return &SetAsideError{file, at(ms)}
}

// isBroken tells a broken file from one that can not be used now: a full disk, a lock.
func isBroken(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return errors.Is(err, errBroken)
	}
	code := e.Code() & 0xff
	return code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB
}

// whole reads all of the file, which is small.
func whole(db *sql.DB) error {
	var said string
	if err := db.QueryRow(`PRAGMA quick_check(1)`).Scan(&said); err != nil {
		return err
	}
	if said != "ok" {
		return fmt.Errorf("%w: %s", errBroken, said)
	}
	return nil
}

// setAside gives the file another name, with what SQLite has beside it, unless somebody
// has put another in its place meanwhile.
func (s *Store) setAside(was os.FileInfo, now time.Time) (file string, err error) {
	if is, err := os.Stat(s.path); err != nil || !os.SameFile(is, was) {
		return "", err
	}
	name := strings.TrimSuffix(s.path, filepath.Ext(s.path)) + "-broken-" + now.Format("20060102-150405.000") + filepath.Ext(s.path)
	if err := os.Rename(s.path, name); err != nil {
		return "", err
	}
	for _, beside := range []string{"-journal", "-wal", "-shm"} {
		if err := os.Rename(s.path+beside, name+beside); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", err
		}
	}
	return filepath.Base(name), nil
}

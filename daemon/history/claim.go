package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	sqlite3 "modernc.org/sqlite/lib"
)

// claimName is a file beside the history that is locked, by SQLite's own locking,
// for as long as a program records: the lock goes with the program, however it
// ends, on every system.
const claimName = "recording.lock"

// patience is how long a program that starts waits for one that only looks.
const patience = time.Second

// patienceToLook is how long one that only looks waits for another that is bringing an old
// file to the present layout, which takes seconds with years in it.
const patienceToLook = 5 * time.Second

// claim takes the lock. Its error wraps ErrRefused when another program has it.
func claim(folder string, wait time.Duration) (release func() error, err error) {
	path := filepath.Join(folder, claimName)
	db, err := sql.Open("sqlite", fmt.Sprintf("%s?_pragma=busy_timeout(%d)", address(path), wait.Milliseconds()))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	lock, err := db.Conn(context.Background())
	if err == nil {
		_, err = lock.ExecContext(context.Background(), "BEGIN EXCLUSIVE")
	}
	if err != nil {
		err = errors.Join(claimFailed(folder, path, err), db.Close())
		return nil, err
	}
	return func() error { return errors.Join(lock.Close(), db.Close()) }, nil
}

func claimFailed(folder, path string, why error) error {
	if sqliteCode(why) == sqlite3.SQLITE_BUSY {
		return fmt.Errorf("data folder %s: another meltwarden records into it; %w: end that one, or choose another folder with --data", folder, ErrRefused)
	}
	return unreadable(path, why)
}

// recorded reports whether some program records into the folder now.
func (s *Store) recorded() bool {
	if s.records {
		return true // this one, or nobody: it has the claim
	}
	release, err := claim(s.folder, 0)
	if err != nil {
		return errors.Is(err, ErrRefused)
	}
	_ = release() // a lock that goes with the program
	return false
}

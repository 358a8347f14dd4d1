package phone

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	_ "modernc.org/sqlite" // the driver
)

// FileName is the file in the data folder.
const FileName = "phones.sqlite"

const schema = `
CREATE TABLE IF NOT EXISTS phone (
	id         INTEGER PRIMARY KEY AUTOINCREMENT, -- a number never comes again
	name       TEXT NOT NULL,
	made_ms    INTEGER NOT NULL,
	ends_ms    INTEGER NOT NULL,
	code       BLOB,                              -- SHA-256 of its pairing code; NULL once it was used
	code_ms    INTEGER NOT NULL,                  -- until when the code is good
	token      BLOB,                              -- SHA-256 of what it carries; NULL until it is paired
	paired_ms  INTEGER NOT NULL DEFAULT 0,
	seen_ms    INTEGER NOT NULL DEFAULT 0,
	revoked_ms INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE IF NOT EXISTS served (               -- where the daemon was last reached, one row
	id     INTEGER PRIMARY KEY CHECK (id = 1),
	listen TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS clock (                -- the latest time that was seen, one row
	id        INTEGER PRIMARY KEY CHECK (id = 1),
	latest_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS aside (                -- the file before this one was broken; one row until a phone is paired
	id      INTEGER PRIMARY KEY CHECK (id = 1),
	file    TEXT NOT NULL,
	wall_ms INTEGER NOT NULL
) STRICT;
`

// Store is the phones of a data folder. Several programs may have it open; it is safe for
// use by several goroutines.
type Store struct {
	path string

	mu    sync.Mutex
	db    *sql.DB
	info  os.FileInfo           // of the file that is open
	known atomic.Pointer[error] // what Trouble said last
	here  map[int64]time.Time   // when phones were here last, until it is written
}

// Open returns the phones of a data folder. The file is made when the first is added.
func Open(folder string) *Store {
	return &Store{path: filepath.Join(folder, FileName), here: map[int64]time.Time{}}
}

// Close lets the file go.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.drop()
}

func (s *Store) drop() error {
	if s.db == nil {
		return nil
	}
	err := s.db.Close()
	s.db = nil
	clear(s.here) // the phones of another file have numbers of their own
	return err
}

// errNone is that no phone was ever added.
var errNone = errors.New("no file of phones")

// look hands the file to do, which only reads. Where there is none its error is errNone.
func (s *Store) look(do func(*sql.DB) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	there, err := s.lookHeld(do)
	if !there {
		return errors.Join(errNone, err)
	}
	return err
}

// lookHeld is look under the lock; there is false where there is no file.
func (s *Store) lookHeld(do func(*sql.DB) error) (there bool, err error) {
	if _, err := os.Stat(s.path); errors.Is(err, os.ErrNotExist) {
		return false, s.drop()
	}
	if err := s.ready(); err != nil {
		return true, s.failed(err)
	}
	return true, s.seen(do(s.db))
}

// seen lets go of a file that turns out to be broken: it is set aside with the next question.
func (s *Store) seen(err error) error {
	if isBroken(err) {
		return errors.Join(err, s.drop())
	}
	return err
}

// change hands the file to do in one transaction, and makes the file where there is none.
func (s *Store) change(do func(*sql.Tx) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.changeHeld(do)
}

func (s *Store) changeHeld(do func(*sql.Tx) error) error {
	if err := s.ready(); err != nil {
		return s.failed(err)
	}
	tx, err := s.db.Begin()
	if err != nil {
		return s.failed(s.seen(err))
	}
	if err := do(tx); err != nil {
		return s.seen(errors.Join(err, tx.Rollback()))
	}
	if err := tx.Commit(); err != nil {
		return s.failed(s.seen(err))
	}
	return nil
}

// ready opens the file where it is not. Whoever deletes it has put every phone out: one
// that is open and no longer at its place is not gone on with.
func (s *Store) ready() error {
	if s.db != nil {
		if now, err := os.Stat(s.path); err == nil && os.SameFile(now, s.info) && now.Size() > 0 {
			return nil
		}
		if err := s.drop(); err != nil {
			return err
		}
	}
	return s.connect()
}

// connect opens the file; where it is broken, a new one in its place.
func (s *Store) connect() error {
	err := s.open()
	if !isBroken(err) {
		return err
	}
	now := time.Now()
	file, failed := s.setAside(s.info, now)
	if failed != nil {
		return errors.Join(err, failed)
	}
	if err := s.open(); err != nil || file == "" {
		return err
	}
	if _, err := s.db.Exec(`INSERT OR REPLACE INTO aside VALUES (1, ?, ?)`, file, now.UnixMilli()); err != nil {
		return errors.Join(err, s.drop())
	}
	return nil
}

// open opens the file, which nobody but its owner may read.
func (s *Store) open() error {
	made, err := s.touch()
	if err != nil {
		return err
	}
	if s.info, err = os.Stat(s.path); err != nil {
		return err
	}
	if !made && s.info.Size() == 0 && !s.fills() {
		return fmt.Errorf("%w: it is empty", errBroken)
	}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: s.path}).EscapedPath()+"?_pragma=busy_timeout(3000)&_pragma=synchronous(FULL)&_txlock=immediate")
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	if _, err = db.Exec(schema); err == nil {
		err = whole(db)
	}
	if err != nil {
		return errors.Join(err, db.Close())
	}
	s.db = db
	return nil
}

// touch makes an empty file where there is none, and reports whether it has.
func (s *Store) touch() (made bool, err error) {
	f, err := os.OpenFile(s.path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if made = err == nil; errors.Is(err, os.ErrExist) {
		f, err = os.OpenFile(s.path, os.O_RDWR, 0)
	}
	if err != nil {
		return false, err
	}
	return made, errors.Join(f.Close(), os.Chmod(s.path, 0o600))
}

// fillWithin is how long a new file may stay empty: another program may be making it (E).
const fillWithin = time.Second

// fills waits for an empty file to be filled, and reports whether it was.
func (s *Store) fills() bool {
	for began := time.Now(); time.Since(began) < fillWithin; time.Sleep(fillWithin / 100) {
		if is, err := os.Stat(s.path); err == nil && is.Size() > 0 {
			return true
		}
	}
	return false
}

// TroubleError is why nobody can be let in or put out now.
type TroubleError struct {
	path string
	err  error
}

// Error names the file and the fix.
func (e *TroubleError) Error() string {
	return fmt.Sprintf("phones %s: can not be used now: %v: see that the disk has room, and that the command runs as the user whom the daemon runs as", e.path, e.err)
}

// Said is what Error is, without the place of the file: everybody who is let in reads it.
func (e *TroubleError) Said() string {
	said := strings.ReplaceAll(e.Error(), filepath.Dir(e.path)+string(filepath.Separator), "")
	return strings.TrimPrefix(said, "phones ")
}

// Unwrap returns the cause.
func (e *TroubleError) Unwrap() error { return e.err }

func (s *Store) failed(err error) error {
	if trouble := (*TroubleError)(nil); errors.As(err, &trouble) {
		return err
	}
	return &TroubleError{s.path, err}
}

const columns = `id, name, made_ms, ends_ms, code_ms, paired_ms, seen_ms, revoked_ms, (SELECT coalesce(max(latest_ms), 0) FROM clock)`

func scan(row interface{ Scan(...any) error }, more ...any) (p Phone, err error) {
	var made, ends, code, paired, seen, revoked, latest int64
	err = row.Scan(append([]any{&p.ID, &p.Name, &made, &ends, &code, &paired, &seen, &revoked, &latest}, more...)...)
	p.latest = at(latest)
	p.Made, p.Ends, p.CodeEnds, p.Paired, p.Seen, p.Revoked = at(made), at(ends), at(code), at(paired), at(seen), at(revoked)
	return p, err
}

// at is a time as it is kept; zero is never.
func at(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms)
}

// List is every phone there ever was, the last first.
func (s *Store) List() (all []Phone, err error) {
	err = s.look(func(db *sql.DB) error {
		all, err = list(db)
		return err
	})
	if errors.Is(err, errNone) {
		return nil, nil
	}
	return all, err
}

// queryer is a file or a transaction.
type queryer interface {
	Query(text string, args ...any) (*sql.Rows, error)
}

func list(from queryer) (all []Phone, err error) {
	rows, err := from.Query(`SELECT ` + columns + ` FROM phone ORDER BY id DESC`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		p, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	return all, rows.Err()
}

// Add makes room for a phone and returns the code that it is paired with, once and within
// CodeFor. One of the same name that was never paired makes way.
func (s *Store) Add(typed string, valid time.Duration, now time.Time) (p Phone, code string, err error) {
	name, err := nameOf(typed)
	if err == nil {
		err = checkFor(valid)
	}
	if err != nil {
		return Phone{}, "", err
	}
	err = s.change(func(tx *sql.Tx) error {
		if err := setRight(tx, now); err != nil {
			return err
		}
		all, err := list(tx)
		if err != nil {
			return err
		}
		if err := makeWay(tx, all, name, now); err != nil {
			return err
		}
		done, err := tx.Exec(`INSERT INTO phone (name, made_ms, ends_ms, code_ms) VALUES (?, ?, ?, ?)`,
			name, now.UnixMilli(), now.Add(valid).UnixMilli(), now.Add(min(CodeFor, valid)).UnixMilli())
		if err != nil {
			return err
		}
		id, err := done.LastInsertId()
		if err != nil {
			return err
		}
		var digest []byte
		code, digest = newSecret(id, codeBytes)
		if _, err := tx.Exec(`UPDATE phone SET code = ? WHERE id = ?`, digest, id); err != nil {
			return err
		}
		p, err = scan(tx.QueryRow(`SELECT `+columns+` FROM phone WHERE id = ?`, id))
		return err
	})
	return p, code, err
}

// makeWay sees that one more of this name may be let in.
func makeWay(tx *sql.Tx, all []Phone, name string, now time.Time) error {
	let := 0
	for _, p := range all {
		switch state := p.State(now); {
		case state == In && p.Name == name:
			return fmt.Errorf("phone %q is let in until %s; put it out first, or choose another name", name, p.Ends.Format(time.DateOnly))
		case state == Waits && p.Name == name:
			if err := revoke(tx, p.ID, now); err != nil {
				return err
			}
		case state == In || state == Waits:
			let++
		}
	}
	if let >= MostPhones {
		return fmt.Errorf("%d phones are let in, and no more can be; put one out first", MostPhones)
	}
	return nil
}

// Pair trades a pairing code, which is used up by it, for what the phone carries from
// then on. Its error is ErrCode where the code is not good.
func (s *Store) Pair(typed string, now time.Time) (p Phone, token string, err error) {
	handed, ok := parse(typed, codeBytes)
	if !ok {
		return Phone{}, "", ErrCode
	}
	err = s.change(func(tx *sql.Tx) error {
		var code []byte
		p, err = scan(tx.QueryRow(`SELECT `+columns+`, code FROM phone WHERE id = ?`, handed.id), &code)
		if errors.Is(err, sql.ErrNoRows) {
			return ErrCode
		}
		if err != nil {
			return err
		}
		if !handed.fits(code) || p.State(now) != Waits {
			return ErrCode
		}
		var digest []byte
		token, digest = newSecret(p.ID, tokenBytes)
		p.Paired, p.Seen = now, now
		_, err := tx.Exec(`UPDATE phone SET code = NULL, token = ?, paired_ms = ?2, seen_ms = ?2 WHERE id = ?`, digest, now.UnixMilli(), p.ID)
		if err == nil {
			_, err = tx.Exec(`DELETE FROM aside`)
		}
		return err
	})
	return p, token, err
}

// Who is the phone that carries a token. Its error is ErrUnknown, ErrExpired or
// ErrRevoked; or another one, where nobody can be told apart now. For who is let in it only
// reads: an ALL OFF waits for no disk. Passed writes when phones were here.
func (s *Store) Who(token string, now time.Time) (Phone, error) {
	handed, ok := parse(token, tokenBytes)
	if !ok {
		return Phone{}, ErrUnknown
	}
	return s.ask(handed.id, now, handed.fits)
}

// Still tells whether a phone that was let in still is; its errors are those of Who.
func (s *Store) Still(id int64, now time.Time) error {
	_, err := s.ask(id, now, func(digest []byte) bool { return digest != nil })
	return err
}

func (s *Store) ask(id int64, now time.Time, fits func(digest []byte) bool) (p Phone, err error) {
	var digest []byte
	err = s.look(func(db *sql.DB) error {
		p, err = scan(db.QueryRow(`SELECT `+columns+`, token FROM phone WHERE id = ?`, id), &digest)
		return err
	})
	switch {
	case errors.Is(err, errNone), errors.Is(err, sql.ErrNoRows), err == nil && !fits(digest):
		return Phone{}, ErrUnknown
	case err != nil:
		return Phone{}, s.failed(err)
	}
	state := p.State(now)
	if state == Expired && p.latest.Before(p.Ends) {
		// It is judged by now all the same.
		_ = s.change(func(tx *sql.Tx) error { return passed(tx, now) })
	}
	switch state {
	case Revoked:
		return p, ErrRevoked
	case In:
	default:
		return p, ErrExpired
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.here[id] = now
	return p, nil
}

// Revoke puts a phone out, by its number, or by the name of those that are let in or wait,
// or else of the last that had it. One that was put out already stays so, since then.
func (s *Store) Revoke(which string, now time.Time) (p Phone, err error) {
	err = s.change(func(tx *sql.Tx) error {
		all, err := list(tx)
		if err != nil {
			return err
		}
		id, _ := strconv.ParseInt(which, 10, 64)
		for _, one := range all { // the last first
			if one.ID == id || one.Name == which && one.State(now).MayBeRevoked() {
				p = one
				break
			}
			if one.Name == which && p.ID == 0 {
				p = one
			}
		}
		switch {
		case p.ID == 0:
			return fmt.Errorf("phone %q: %w", which, ErrNoPhone)
		case !p.Revoked.IsZero():
			return nil
		}
		p.Revoked = now
		return revoke(tx, p.ID, now)
	})
	return p, err
}

func revoke(tx *sql.Tx, id int64, now time.Time) error {
	_, err := tx.Exec(`UPDATE phone SET revoked_ms = ?, code = NULL WHERE id = ?`, now.UnixMilli(), id)
	return err
}

// Serve writes down where the daemon serves, for whoever adds a phone at a terminal.
func (s *Store) Serve(listen string) error {
	return s.change(func(tx *sql.Tx) error {
		_, err := tx.Exec(`INSERT INTO served VALUES (1, ?1) ON CONFLICT (id) DO UPDATE SET listen = ?1`, listen)
		return err
	})
}

// Served is where the daemon of this data folder served last; "" where none has.
func (s *Store) Served() (listen string, err error) {
	err = s.look(func(db *sql.DB) error { return db.QueryRow(`SELECT listen FROM served`).Scan(&listen) })
	if errors.Is(err, errNone) || errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return listen, err
}

package history

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// ErrNoVersion is returned for a recipe version that does not exist.
var ErrNoVersion = errors.New("there is no such recipe version; the command recipes lists them")

// Version is one version of a recipe. It never changes: an edit makes another one.
type Version struct {
	Name        string    `json:"name"`
	Number      int       `json:"number"` // from 1 among those of its name
	Fingerprint string    `json:"fingerprint"`
	Source      string    `json:"source"` // the file as typed
	Added       time.Time `json:"added"`
	// Parent is the fingerprint of the version before; "" where there is none.
	Parent string `json:"parent"`
	// FromRun is the run it was promoted from; zero where it was not.
	FromRun int64 `json:"from_run"`
}

// Made is a recipe version and how much was made with it.
type Made struct {
	Version
	// Runs, Shots and Clean count what was made with it.
	Runs  int `json:"runs"`
	Shots int `json:"shots"`
	Clean int `json:"clean"`
}

// insertVersion adds a version that is not there yet, after the newest of its name
// unless it names another parent.
func insertVersion(tx *sql.Tx, at time.Time, v Version) error {
	_, err := tx.Exec(`INSERT INTO recipe (fingerprint, name, source, added_ms, run, parent) VALUES (?, ?, ?, ?, nullif(?, 0),
		coalesce(nullif(?, ''), (SELECT fingerprint FROM recipe WHERE name = ? ORDER BY rowid DESC LIMIT 1)))
		ON CONFLICT (fingerprint) DO NOTHING`, v.Fingerprint, v.Name, v.Source, ms(at), v.FromRun, v.Parent, v.Name)
	return err
}

// AddVersion keeps a version that no run has used yet.
func (s *Store) AddVersion(at time.Time, v Version) error {
	return s.do(func(tx *sql.Tx) error { return insertVersion(tx, at, v) })
}

// KeepVersion is AddVersion, and returns the version with its number: the one that is
// kept already, where its fingerprint is.
func (s *Store) KeepVersion(at time.Time, v Version) (Version, error) {
	if err := s.AddVersion(at, v); err != nil {
		return Version{}, err
	}
	return s.Version(v.Fingerprint)
}

const (
	versionColumns = `r.name, (SELECT count(*) FROM recipe AS o WHERE o.name = r.name AND o.rowid <= r.rowid),
	r.fingerprint, r.source, r.added_ms, coalesce(r.parent, ''), coalesce(r.run, 0)`
	// madeColumns take the time that all shots of a version take.
	madeColumns = `, (SELECT count(*) FROM run WHERE run.recipe = r.fingerprint),
	(SELECT count(*) FROM shot JOIN run ON run.id = shot.run WHERE run.recipe = r.fingerprint AND NOT withdrawn),
	(SELECT count(DISTINCT shot.id) FROM shot JOIN run ON run.id = shot.run JOIN fault ON fault.shot = shot.id
		WHERE run.recipe = r.fingerprint AND NOT withdrawn AND fault = 'clean'
			AND NOT EXISTS (SELECT 1 FROM fault AS other WHERE other.shot = shot.id AND other.fault <> 'clean'))`
)

// Versions lists every recipe version, by name, the newest of each first.
func (s *Store) Versions() ([]Version, error) {
	made, err := s.made("", "")
	all := []Version{}
	for _, m := range made {
		all = append(all, m.Version)
	}
	return all, err
}

// Version is the version with a fingerprint.
func (s *Store) Version(fingerprint string) (Version, error) {
	m, err := s.oneOf("", fingerprint)
	return m.Version, err
}

// Made lists every recipe version as Versions does.
func (s *Store) Made() ([]Made, error) { return s.made(madeColumns, "") }

// MadeWith is the version with a fingerprint.
func (s *Store) MadeWith(fingerprint string) (Made, error) { return s.oneOf(madeColumns, fingerprint) }

// made are the versions of a condition, counted where the counts' columns are asked for.
func (s *Store) made(counts, where string, args ...any) ([]Made, error) {
	all := []Made{}
	err := s.each(func(rows *sql.Rows) error {
		var v Made
		var added int64
		to := []any{&v.Name, &v.Number, &v.Fingerprint, &v.Source, &added, &v.Parent, &v.FromRun}
		if counts != "" {
			to = append(to, &v.Runs, &v.Shots, &v.Clean)
		}
		err := rows.Scan(to...)
		v.Added = time.UnixMilli(added)
		all = append(all, v)
		return err
	}, "SELECT "+versionColumns+counts+" FROM recipe AS r "+where+" ORDER BY r.name, r.rowid DESC", args...)
	return all, err
}

func (s *Store) oneOf(counts, fingerprint string) (Made, error) {
	all, err := s.made(counts, "WHERE r.fingerprint = ?", fingerprint)
	if err == nil && len(all) == 0 {
		err = fmt.Errorf("recipe version %s: %w", fingerprint, ErrNoVersion)
	}
	if err != nil {
		return Made{}, err
	}
	return all[0], nil
}

// Newest is the number of the newest version of a recipe; zero where none is kept.
func (s *Store) Newest(recipe string) (number int, err error) {
	err = s.one([]any{&number}, `SELECT count(*) FROM recipe WHERE name = ?`, recipe)
	return number, err
}

// Typed is the recipe file of a run as it was typed, which may be laid out in
// another way than the first of its version.
func (s *Store) Typed(run int64) (text string, err error) {
	err = s.one([]any{&text}, `SELECT CASE run.source WHEN '' THEN recipe.source ELSE run.source END
		FROM run JOIN recipe ON recipe.fingerprint = run.recipe WHERE run.id = ?`, run)
	return text, err
}

package history

import (
	"database/sql"
	"time"

	"meltwarden/daemon/shot"
)

// ShotOf is a shot and the run that it is of. Its time in that run is left out: At is
// zero.
type ShotOf struct {
	Run int64
	// Version is the number of the recipe version that the run was made with.
	Version int
	Shot
}

// CleanShots lists the shots of a recipe, in any version, that are called clean and
// nothing else, days later either, and were not taken back: those nearest in time to a
// moment, nearest first, at most so many.
func (s *Store) CleanShots(recipe string, near time.Time, most int) ([]ShotOf, error) {
	var all []ShotOf
	err := s.each(func(rows *sql.Rows) error {
		var of ShotOf
		var err error
		of.Shot, _, err = scanShot(prefixed{rows, []any{&of.Run, &of.Version}}, nil)
		of.At = 0
		of.Verdicts = []shot.Verdict{{Fault: shot.Clean, Colours: []string{}}}
		all = append(all, of)
		return err
	}, `SELECT run.id, (SELECT count(*) FROM recipe AS r WHERE r.name = recipe.name AND r.rowid <= recipe.rowid),
		shot.id, part, number, bench_ms, wall_ms, mould, shot.note, withdrawn, card
		FROM shot JOIN run ON run.id = shot.run JOIN recipe ON recipe.fingerprint = run.recipe WHERE shot.id IN (
			SELECT shot.id FROM shot JOIN run ON run.id = shot.run JOIN recipe ON recipe.fingerprint = run.recipe
			WHERE recipe.name = ?1 AND NOT withdrawn AND EXISTS (SELECT 1 FROM fault WHERE fault.shot = shot.id AND fault = 'clean')
				AND NOT EXISTS (SELECT 1 FROM fault WHERE fault.shot = shot.id AND fault <> 'clean')
			ORDER BY abs(wall_ms - ?2), shot.id DESC LIMIT ?3)
		ORDER BY abs(wall_ms - ?2), shot.id DESC`, recipe, ms(near), most)
	return all, err
}

// prefixed scans columns that stand before those of a shot.
type prefixed struct {
	*sql.Rows
	before []any
}

// Scan reads the columns before, and then those asked for.
func (p prefixed) Scan(to ...any) error { return p.Rows.Scan(append(p.before, to...)...) }

// scanner is a row to be read.
type scanner interface{ Scan(to ...any) error }

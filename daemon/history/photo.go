package history

import (
	"database/sql"
	"errors"
	"fmt"
	"time"

	"meltwarden/daemon/photo"
)

// ErrNoPhoto is returned for a photo that does not exist.
var ErrNoPhoto = errors.New("there is no such photo; the card of the shot lists them")

// Photo is a photo of a shot, without its picture. Photos lie in the history's own file:
// so a backup, an archive and a transaction hold them without a word.
type Photo struct {
	ID       int64     `json:"id"`
	Attached time.Time `json:"attached"`
	Width    int       `json:"width_px"`
	Height   int       `json:"height_px"`
	Bytes    int       `json:"bytes"`
}

// AddPhoto attaches a photo to a shot. The same file again is no second one.
func (s *Store) AddPhoto(run int64, number int, at time.Time, p photo.Photo) error {
	return s.do(func(tx *sql.Tx) error {
		id, err := shotID(tx, run, number)
		if err != nil {
			return err
		}
		_, err = tx.Exec(`INSERT INTO photo (shot, digest, wall_ms, width, height, picture, small) VALUES (?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (shot, digest) DO NOTHING`, id, p.Digest, ms(at), p.Width, p.Height, p.Picture, p.Small)
		return err
	})
}

// RemovePhoto takes a photo of a run back: it is gone, and its room in the file is
// written over, which SQLite by itself leaves to chance.
func (s *Store) RemovePhoto(run, id int64) error {
	return s.do(func(tx *sql.Tx) (err error) {
		if _, err = tx.Exec("PRAGMA secure_delete = 1"); err != nil {
			return err
		}
		defer func() {
			_, off := tx.Exec("PRAGMA secure_delete = 0")
			err = errors.Join(err, off)
		}()
		done, err := tx.Exec(`DELETE FROM photo WHERE id = ? AND shot IN (SELECT id FROM shot WHERE run = ?)`, id, run)
		return orNone(done, err, noPhoto(run, id))
	})
}

// Picture is the JPEG of a photo of a run; a small one is for a list.
func (s *Store) Picture(run, id int64, small bool) (jpeg []byte, err error) {
	err = s.one([]any{&jpeg}, `SELECT CASE WHEN ? THEN small ELSE picture END FROM photo JOIN shot ON shot.id = photo.shot
		WHERE photo.id = ? AND shot.run = ?`, small, id, run)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, noPhoto(run, id)
	}
	return jpeg, err
}

func noPhoto(run, id int64) error { return fmt.Errorf("run %d, photo %d: %w", run, id, ErrNoPhoto) }

// addPhotos puts the photos of a run beside its shots, whose places are known by their
// rows' ids.
func (s *Store) addPhotos(run int64, shots []Shot, at map[int64]int) error {
	return s.each(func(rows *sql.Rows) error {
		var p Photo
		var id, attached int64
		if err := rows.Scan(&id, &p.ID, &attached, &p.Width, &p.Height, &p.Bytes); err != nil {
			return err
		}
		p.Attached = time.UnixMilli(attached)
		if i, known := at[id]; known {
			shots[i].Photos = append(shots[i].Photos, p)
		}
		return nil
	}, `SELECT photo.shot, photo.id, photo.wall_ms, width, height, length(picture) FROM photo JOIN shot ON shot.id = photo.shot
		WHERE shot.run = ? ORDER BY photo.id`, run)
}

package history

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"meltwarden/daemon/shot"
)

// ErrVerdict is wrapped by the error about a verdict that can not be right.
var ErrVerdict = errors.New("nothing was written down")

// ErrNoShot is returned for a shot that does not exist.
var ErrNoShot = errors.New("there is no such shot; the page of the run and the command review list them")

// Shot is one push into one mould.
type Shot struct {
	Number int           `json:"number"` // from 1 in its run
	At     time.Duration `json:"-"`      // on the run's own time axis
	Wall   time.Time     `json:"wall"`
	Mould  string        `json:"mould"` // as typed; "" is not recorded
	Note   string        `json:"note"`
	// Withdrawn is true for a mark that was taken back.
	Withdrawn bool           `json:"withdrawn"`
	Card      shot.Card      `json:"card"`
	Verdicts  []shot.Verdict `json:"verdicts"`
	Photos    []Photo        `json:"photos"`
}

type plainShot Shot

// shotJSON is a shot as JSON has it.
type shotJSON struct {
	AtS float64 `json:"at_s"` // on the run's own time axis
	plainShot
}

// JSONShape is the type that JSON has it as.
func (Shot) JSONShape() any { return shotJSON{} }

// MarshalJSON implements json.Marshaler.
func (s Shot) MarshalJSON() ([]byte, error) {
	return json.Marshal(shotJSON{s.At.Seconds(), plainShot(s)})
}

// Spoiled reports whether any fault was named.
func (s Shot) Spoiled() bool {
	return slices.ContainsFunc(s.Verdicts, func(v shot.Verdict) bool { return v.Fault != shot.Clean })
}

// Faults are the faults that were named, each once.
func (s Shot) Faults() string {
	var words []string
	for _, v := range s.Verdicts {
		if v.Fault != shot.Clean && !slices.Contains(words, v.Fault) {
			words = append(words, v.Fault)
		}
	}
	return strings.Join(words, ", ")
}

func (r *Recorder) insertShot(tx *sql.Tx, k Kept) error {
	run := r.run.Load()
	before, err := earlierHeats(tx, run)
	if err != nil {
		return err
	}
	whole := *k.Shot
	whole.Pots = slices.Clone(whole.Pots)
	before.addTo(&whole)
	card, err := json.Marshal(whole)
	if err != nil {
		return err
	}
	_, err = tx.Exec(`INSERT INTO shot (run, part, number, bench_ms, wall_ms, mould, card)
		SELECT ?1, ?2, (SELECT coalesce(max(number), 0) + 1 FROM shot WHERE run = ?1), ?3, ?4, ?5, ?6
		WHERE NOT EXISTS (SELECT 1 FROM shot WHERE part = ?2 AND bench_ms = ?3)`,
		run, r.part, k.Record.Kept.Time.Milliseconds(), ms(k.Record.At), k.Mould, string(card))
	return err
}

// Shots lists the shots of a run, in order, with those that were taken back.
func (s *Store) Shots(run int64) ([]Shot, error) {
	offset, err := s.offsets(run)
	if err != nil {
		return nil, err
	}
	before, err := s.earlierHeats(run)
	if err != nil {
		return nil, err
	}
	shots := []Shot{}
	at := map[int64]int{} // by the row's id
	err = s.each(func(rows *sql.Rows) error {
		sh, id, err := scanShot(rows, offset)
		before.addTo(&sh.Card)
		at[id] = len(shots)
		shots = append(shots, sh)
		return err
	}, `SELECT id, part, number, bench_ms, wall_ms, mould, note, withdrawn, card FROM shot WHERE run = ? ORDER BY number`, run)
	if err != nil {
		return nil, err
	}
	err = s.each(func(rows *sql.Rows) error {
		v, id, err := scanVerdict(rows)
		if i, known := at[id]; known { // one that came meanwhile is for the next look
			shots[i].Verdicts = append(shots[i].Verdicts, v)
		}
		return err
	}, `SELECT shot, fault, colours, cavity, day, fault.wall_ms FROM fault JOIN shot ON shot.id = fault.shot
		WHERE shot.run = ? ORDER BY day, fault.wall_ms, fault`, run)
	if err != nil {
		return nil, err
	}
	return shots, s.addPhotos(run, shots, at)
}

func scanShot(rows scanner, offset map[int64]time.Duration) (sh Shot, id int64, err error) {
	var part, bench, wall int64
	var card string
	if err := rows.Scan(&id, &part, &sh.Number, &bench, &wall, &sh.Mould, &sh.Note, &sh.Withdrawn, &card); err != nil {
		return sh, id, err
	}
	sh.At, sh.Wall = offset[part]+time.Duration(bench)*time.Millisecond, time.UnixMilli(wall)
	sh.Verdicts, sh.Photos = []shot.Verdict{}, []Photo{}
	return sh, id, json.Unmarshal([]byte(card), &sh.Card)
}

func scanVerdict(rows *sql.Rows) (v shot.Verdict, id int64, err error) {
	var colours string
	var wall int64
	if err := rows.Scan(&id, &v.Fault, &colours, &v.Cavity, &v.Day, &wall); err != nil {
		return v, id, err
	}
	v.At = time.UnixMilli(wall)
	return v, id, json.Unmarshal([]byte(colours), &v.Colours)
}

// Judge adds a verdict to a shot. "Clean" takes the place of the faults of the same
// day, and a fault that of "clean".
func (s *Store) Judge(run int64, number int, v shot.Verdict) error {
	colours, err := s.checkVerdict(run, v)
	if err != nil {
		return err
	}
	return s.do(func(tx *sql.Tx) error {
		id, err := shotID(tx, run, number)
		if err != nil {
			return err
		}
		_, err = tx.Exec(`DELETE FROM fault WHERE shot = ? AND day = ? AND (fault = ?) <> (? = ?)`, id, v.Day, shot.Clean, v.Fault, shot.Clean)
		if err != nil {
			return err
		}
		_, err = tx.Exec(`INSERT OR REPLACE INTO fault (shot, fault, colours, cavity, day, wall_ms) VALUES (?, ?, ?, ?, ?, ?)`,
			id, v.Fault, colours, v.Cavity, v.Day, ms(v.At))
		return err
	})
}

// Unjudge takes a verdict back, whenever it was written down.
func (s *Store) Unjudge(run int64, number int, v shot.Verdict) error {
	colours, err := s.checkVerdict(run, v)
	if err != nil {
		return err
	}
	return s.do(func(tx *sql.Tx) error {
		id, err := shotID(tx, run, number)
		if err != nil {
			return err
		}
		done, err := tx.Exec(`DELETE FROM fault WHERE shot = ? AND fault = ? AND colours = ? AND cavity = ? AND day = ?`,
			id, v.Fault, colours, v.Cavity, v.Day)
		return orNone(done, err, fmt.Errorf("run %d, shot %d: nobody has said %q (%w)", run, number, v, ErrVerdict))
	})
}

// checkVerdict returns the colours as they are kept.
func (s *Store) checkVerdict(run int64, v shot.Verdict) (string, error) {
	settings, err := s.Settings(run)
	if err != nil {
		return "", err
	}
	var known []string
	for _, p := range settings.Pots {
		known = append(known, p.Colour)
	}
	if err := v.Check(known); err != nil {
		return "", fmt.Errorf("%w (%w)", err, ErrVerdict)
	}
	// In the order of the pots, so that a boundary has one name.
	sorted := []string{}
	for _, c := range known {
		if slices.Contains(v.Colours, c) {
			sorted = append(sorted, c)
		}
	}
	text, err := json.Marshal(sorted)
	return string(text), err
}

func shotID(tx *sql.Tx, run int64, number int) (id int64, err error) {
	err = tx.QueryRow(`SELECT id FROM shot WHERE run = ? AND number = ?`, run, number).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("run %d, shot %d: %w", run, number, ErrNoShot)
	}
	return id, err
}

// ShotChange is what may be said of a shot later; nil leaves it as it is.
type ShotChange struct {
	Mould, Note *string
	Withdrawn   *bool
}

// ChangeShot writes down what is said of a shot later. Its card stays as it was.
func (s *Store) ChangeShot(run int64, number int, c ShotChange) error {
	return s.do(func(tx *sql.Tx) error {
		done, err := tx.Exec(`UPDATE shot SET mould = coalesce(?, mould), note = coalesce(?, note), withdrawn = coalesce(?, withdrawn)
			WHERE run = ? AND number = ?`, c.Mould, c.Note, c.Withdrawn, run, number)
		return orNone(done, err, fmt.Errorf("run %d, shot %d: %w", run, number, ErrNoShot))
	})
}

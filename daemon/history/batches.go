package history

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"meltwarden/control/dose"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

// ErrNoBatch is returned for a batch that does not exist.
var ErrNoBatch = errors.New("there is no such batch; the command batches lists them")

// ErrBatch is wrapped by the error about a potful that can not be of that batch.
var ErrBatch = errors.New("nothing was changed")

// Potful is what a recipe puts into a pot, as typed; "" is not recorded.
type Potful struct {
	Colour string `json:"colour"`
	Base   string `json:"base"`
	Lot    string `json:"lot"`
	Made   string `json:"made"`
}

// Batch is one potful of plastisol through all its sessions.
type Batch struct {
	ID int64 `json:"id"`
	Potful
	Note string `json:"note"`
	// Heats are the runs it was in, the oldest first.
	Heats []BatchHeat `json:"heats"`
}

// BatchHeat is a batch in a pot of one run.
type BatchHeat struct {
	Run      int64     `json:"run"`
	Session  int64     `json:"session"`
	Pot      int       `json:"-"` // an index
	Began    time.Time `json:"began"`
	State    State     `json:"state"`
	Invented bool      `json:"invented"`
	// Own is the batch that the pot's content began as in this run.
	Own int64 `json:"own"`
	// KJ is the activation energy, in kJ/mol, that the doses on the run's cards are
	// reckoned with.
	KJ   float64   `json:"activation_energy_kj_per_mol"`
	Heat shot.Heat `json:"heat"`
	// Drawn are the amounts drawn, Added what was added; as typed, "" where nothing was.
	Drawn []string   `json:"drawn"`
	Added []Additive `json:"added"`
}

// Additive is what was stirred in at the bench, as typed.
type Additive struct {
	What   string `json:"what"`
	Amount string `json:"amount"`
}

// insertPotfuls gives each pot of a run a batch of its own.
func insertPotfuls(tx *sql.Tx, run int64, at time.Time, kJ float64, potfuls []Potful, heats []shot.Heat) error {
	for i, p := range potfuls {
		heat, err := json.Marshal(heats[i])
		if err != nil {
			return err
		}
		id, err := insert(tx, `INSERT INTO batch (began_ms, made_in, colour, base, lot, made) SELECT began_ms, ?, ?, ?, ?, ? FROM run WHERE id = ?`,
			i+1, p.Colour, p.Base, p.Lot, p.Made, run)
		if err != nil {
			return err
		}
		_, err = tx.Exec(`INSERT INTO potful (run, pot, own, batch, kj, wall_ms, heat) VALUES (?, ?, ?, ?, ?, ?, ?)`,
			run, i+1, id, id, kJ, ms(at), string(heat))
		if err != nil {
			return err
		}
	}
	return nil
}

// updateHeats keeps what the pots of a run have had by now, as far as they have batches.
func updateHeats(tx *sql.Tx, run int64, at time.Time, heats []shot.Heat) error {
	for i, h := range heats {
		text, err := json.Marshal(h)
		if err != nil {
			return err
		}
		_, err = tx.Exec(`UPDATE potful SET heat = ?, wall_ms = ? WHERE run = ? AND pot = ?`, string(text), ms(at), run, i+1)
		if err != nil {
			return err
		}
	}
	return nil
}

// KeepHeats keeps what the pots of a run have had at its end.
func (s *Store) KeepHeats(run int64, at time.Time, heats []shot.Heat) error {
	err := s.do(func(tx *sql.Tx) error { return updateHeats(tx, run, at, heats) })
	if err != nil {
		return fmt.Errorf("history %s: the heat of the last minute was not kept: %w", s.path, err)
	}
	return nil
}

// Heats are what the pots of a run have had in it, and when that was kept. A run without
// batches has none.
func (s *Store) Heats(run int64) (heats []shot.Heat, at time.Time, err error) {
	err = s.each(func(rows *sql.Rows) error {
		var text string
		var wall int64
		if err := rows.Scan(&text, &wall); err != nil {
			return err
		}
		heats, at = append(heats, heatOf(text)), time.UnixMilli(wall)
		return nil
	}, `SELECT heat, wall_ms FROM potful WHERE run = ? ORDER BY pot`, run)
	return heats, at, err
}

// heatOf reads a heat; one that can not be read is unknown.
func heatOf(text string) (h shot.Heat) {
	if json.Unmarshal([]byte(text), &h) != nil {
		h = shot.UnknownHeat()
	}
	return h
}

// asker is the readers, or a transaction.
type asker interface {
	Query(text string, args ...any) (*sql.Rows, error)
}

// earlier is what the batches in the pots of a run had had before it, nothing for one that
// is new; a pot of which no batch is kept is not in it.
type earlier map[int]struct {
	heat shot.Heat
	kJ   float64
}

func earlierHeats(from asker, run int64) (earlier, error) {
	rows, err := from.Query(`SELECT mine.pot, mine.kj, coalesce(past.heat, '{}') FROM potful AS mine LEFT JOIN
		(SELECT other.batch, other.heat FROM potful AS other JOIN run ON run.id = other.run
			WHERE (began_ms, id) < (SELECT began_ms, id FROM run WHERE id = ?1)) AS past ON past.batch = mine.batch
		WHERE mine.run = ?1`, run)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := earlier{}
	for rows.Next() {
		var pot int
		var kJ float64
		var text string
		if err := rows.Scan(&pot, &kJ, &text); err != nil {
			return nil, err
		}
		e := all[pot-1]
		e.heat, e.kJ = e.heat.Plus(heatOf(text)), kJ
		all[pot-1] = e
	}
	return all, rows.Err()
}

func (s *Store) earlierHeats(run int64) (earlier, error) {
	read, err := s.reader()
	if err != nil {
		return nil, err
	}
	return earlierHeats(read, run)
}

// addTo makes the doses on a card those of the batches: by what the maker says now.
func (e earlier) addTo(c *shot.Card) {
	for i := range c.Pots {
		p := &c.Pots[i]
		if before, ok := e[i]; ok && p.RunDoseMin.Known() {
			p.DoseMin = p.RunDoseMin + before.heat.DoseMin(before.kJ)
		}
	}
}

// Batches lists the batches that are in some pot of some run, by number.
func (s *Store) Batches() ([]Batch, error) { return s.batches("", nil) }

// nearest is how many batches that were made before a run are near it.
const nearest = 60

// BatchesNear lists the batches in the pots of a run, and the newest of earlier runs.
func (s *Store) BatchesNear(run int64) ([]Batch, error) {
	return s.batches(`WHERE batch.id IN (SELECT batch FROM potful WHERE run = ?1)
		OR batch.id IN (SELECT DISTINCT batch FROM potful WHERE run < ?1 ORDER BY batch DESC LIMIT ?2)`, []any{run, nearest})
}

// DoseKJ is the activation energy that the newest run of this bench was made with, in
// kJ/mol.
func (s *Store) DoseKJ() (kJ float64, err error) {
	err = s.one([]any{&kJ}, `SELECT kj FROM potful JOIN run ON run.id = potful.run WHERE brought_ms = 0 ORDER BY run DESC LIMIT 1`)
	if errors.Is(err, sql.ErrNoRows) {
		return dose.DefaultKJ, nil
	}
	return kJ, err
}

// Batch is one batch. Its error wraps ErrNoBatch when there is none.
func (s *Store) Batch(id int64) (Batch, error) {
	all, err := s.batches("WHERE batch.id = ?", []any{id})
	if err == nil && len(all) == 0 {
		err = fmt.Errorf("batch %d: %w", id, ErrNoBatch)
	}
	if err != nil {
		return Batch{}, err
	}
	return all[0], nil
}

// place is a pot, from 1, of a run.
type place struct {
	run int64
	pot int
}

// batches are those of a condition about the table batch.
func (s *Store) batches(where string, args []any) ([]Batch, error) {
	all := []Batch{}
	at := map[place][2]int{} // where in all a pot of a run is
	recorded := s.recorded()
	err := s.each(func(rows *sql.Rows) error {
		var b Batch
		h := BatchHeat{Drawn: []string{}, Added: []Additive{}}
		var began int64
		var text string
		err := rows.Scan(&b.ID, &b.Colour, &b.Base, &b.Lot, &b.Made, &b.Note, &h.Run, &h.Pot, &h.Own, &h.KJ, &text, &h.Session, &began, &h.State, &h.Invented)
		if err != nil {
			return err
		}
		h.Pot, h.Began, h.Heat, h.State = h.Pot-1, time.UnixMilli(began), heatOf(text), s.stateOf(h.Run, h.State, recorded)
		if n := len(all); n == 0 || all[n-1].ID != b.ID {
			all = append(all, b)
		}
		last := &all[len(all)-1]
		last.Heats = append(last.Heats, h)
		at[place{h.Run, h.Pot + 1}] = [2]int{len(all) - 1, len(last.Heats) - 1}
		return nil
	}, `SELECT batch.id, colour, base, lot, made, batch.note, run.id, pot, own, kj, heat, session, run.began_ms, state, invented
		FROM batch JOIN potful ON potful.batch = batch.id JOIN run ON run.id = potful.run `+where+` ORDER BY batch.id, run.began_ms, run.id`, args...)
	if err != nil {
		return nil, err
	}
	return all, s.each(func(rows *sql.Rows) error {
		var p place
		var kind Kind
		var what, amount string
		if err := rows.Scan(&p.run, &p.pot, &kind, &what, &amount); err != nil {
			return err
		}
		i, ok := at[p]
		if !ok {
			return nil // it came meanwhile, and is for the next look
		}
		h := &all[i[0]].Heats[i[1]]
		switch {
		case kind == Drawn:
			h.Drawn = append(h.Drawn, amount)
		case kind == Addition:
			h.Added = append(h.Added, Additive{what, amount})
		case what == string(Drawn) && len(h.Drawn) > 0:
			h.Drawn = h.Drawn[:len(h.Drawn)-1]
		case what == string(Addition) && len(h.Added) > 0:
			h.Added = h.Added[:len(h.Added)-1]
		}
		return nil
	}, `SELECT event.run, event.pot, kind, text, amount FROM batch JOIN potful ON potful.batch = batch.id
		JOIN event ON event.run = potful.run AND event.pot = potful.pot AND kind IN ('drawn', 'addition', 'taken back') `+where+` ORDER BY event.id`, args...)
}

// InPots are the numbers of the batches in the pots of a run, in their order; none for a
// run without batches.
func (s *Store) InPots(run int64) (ids []int64, err error) {
	err = s.each(func(rows *sql.Rows) error {
		var id int64
		err := rows.Scan(&id)
		ids = append(ids, id)
		return err
	}, `SELECT batch FROM potful WHERE run = ? ORDER BY pot`, run)
	return ids, err
}

// SetBatch says that the content of a pot, an index, of a run is the rest of a batch of an
// earlier run; a batch of zero says that it was new after all.
func (s *Store) SetBatch(run int64, pot int, batch int64) error {
	return s.do(func(tx *sql.Tx) error {
		var own, now int64
		err := tx.QueryRow(`SELECT own, batch FROM potful WHERE run = ? AND pot = ?`, run, pot+1).Scan(&own, &now)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("run %d, pot %d: %w", run, pot+1, ErrNoBatch)
		}
		if err != nil {
			return err
		}
		if batch == 0 {
			batch = own
		}
		if batch != now && batch != own {
			if err := mayBe(tx, run, own, batch); err != nil {
				return err
			}
		}
		_, err = tx.Exec(`UPDATE potful SET batch = ? WHERE run = ? AND pot = ?`, batch, run, pot+1)
		return err
	})
}

// mayBe says why what began as a batch of its own in a run can not be the rest of another
// one.
func mayBe(tx *sql.Tx, run, own, batch int64) error {
	var heats, before, here, goesOn int64
	err := tx.QueryRow(`SELECT count(*), coalesce(sum((began_ms, id) < (SELECT began_ms, id FROM run WHERE id = ?1)), 0), coalesce(sum(run = ?1), 0),
		(SELECT coalesce(max(run), 0) FROM potful WHERE batch = ?3 AND run <> ?1)
		FROM potful JOIN run ON run.id = potful.run WHERE batch = ?2`, run, batch, own).Scan(&heats, &before, &here, &goesOn)
	switch {
	case err != nil:
		return err
	case heats == 0:
		return fmt.Errorf("batch %d: %w", batch, ErrNoBatch)
	case here > 0:
		return fmt.Errorf("batch %d: it is in another pot of run %d, and one potful is in one pot; %w", batch, run, ErrBatch)
	case before == 0:
		return fmt.Errorf("batch %d: it was made in a later run than %d; say it of the later one; %w", batch, run, ErrBatch)
	case goesOn > 0:
		return fmt.Errorf("batch %d: run %d goes on with it; take that back first; %w", own, goesOn, ErrBatch)
	}
	return nil
}

// BatchChange is what may be corrected of a batch; nil leaves it as it is.
type BatchChange struct{ Colour, Base, Lot, Made, Note *string }

// ChangeBatch corrects what is written of a batch.
func (s *Store) ChangeBatch(id int64, c BatchChange) error {
	return s.do(func(tx *sql.Tx) error {
		done, err := tx.Exec(`UPDATE batch SET colour = coalesce(?, colour), base = coalesce(?, base), lot = coalesce(?, lot),
			made = coalesce(?, made), note = coalesce(?, note) WHERE id = ?`, c.Colour, c.Base, c.Lot, c.Made, c.Note, id)
		return orNone(done, err, fmt.Errorf("batch %d: %w", id, ErrNoBatch))
	})
}

// AddBatches gives each pot of a past run that has none a batch of its own, and reckons
// the heat that it had from the cycles.
func (s *Store) AddBatches(run int64, kJ float64, potfuls []Potful) error {
	heats, at, err := s.heatsOf(run, len(potfuls))
	if err != nil {
		return err
	}
	return s.do(func(tx *sql.Tx) error {
		var has bool
		err := tx.QueryRow(`SELECT EXISTS (SELECT 1 FROM potful WHERE run = ?)`, run).Scan(&has)
		if err != nil || has {
			return err
		}
		return insertPotfuls(tx, run, at, kJ, potfuls, heats)
	})
}

// heatsOf reckons what the pots had in a run from its cycles.
func (s *Store) heatsOf(run int64, pots int) (heats []shot.Heat, last time.Time, err error) {
	heats = make([]shot.Heat, pots)
	part := int64(0)
	err = s.Each(run, func(p Part, r *cycles.Record) error {
		for i := range min(pots, len(r.Kept.Pots)) {
			if part != 0 && part != p.ID {
				heats[i].Unwatched(r.At.Sub(last))
			}
			heats[i].See(frames.Measured(r.Input.Pots[i].Melt), r.Kept.Pots[i].State, r.Input.Elapsed)
		}
		part, last = p.ID, r.At
		return nil
	})
	return heats, last, err
}

// Judged is a shot that somebody has judged and not taken back. The doses of its pots are
// as they were kept with it.
type Judged struct {
	Run      int64
	Pots     []shot.Pot
	Verdicts []shot.Verdict
}

// Judged lists the judged shots of all runs, the oldest run first.
func (s *Store) Judged() ([]Judged, error) {
	all := []Judged{}
	last := int64(0)
	err := s.each(func(rows *sql.Rows) error {
		var id, run int64
		var card, colours string
		var v shot.Verdict
		if err := rows.Scan(&id, &run, &card, &v.Fault, &colours, &v.Day); err != nil {
			return err
		}
		if err := json.Unmarshal([]byte(colours), &v.Colours); err != nil {
			return err
		}
		if id != last {
			var c shot.Card
			if err := json.Unmarshal([]byte(card), &c); err != nil {
				return err
			}
			all, last = append(all, Judged{Run: run, Pots: c.Pots}), id
		}
		j := &all[len(all)-1]
		j.Verdicts = append(j.Verdicts, v)
		return nil
	}, `SELECT shot.id, shot.run, CASE WHEN shot.id = lag(shot.id) OVER (ORDER BY shot.run, shot.id) THEN '' ELSE card END, fault, colours, day
		FROM shot JOIN fault ON fault.shot = shot.id WHERE NOT withdrawn ORDER BY shot.run, shot.id`)
	return all, err
}

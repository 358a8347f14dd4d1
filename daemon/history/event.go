package history

import (
	"database/sql"
	"encoding/json"
	"math"
	"time"

	"meltwarden/control"
)

// Kind is what an event is, in the words of the trade.
type Kind string

// The kinds of event.
const (
	HeatEnabled Kind = "heat enabled"
	HeatBlocked Kind = "heat blocked"
	HeatTripped Kind = "tripped"
	ReadyToPour Kind = "ready to pour"
	Alarm       Kind = "alarm" // Text is its title
	AlarmOver   Kind = "alarm over"

	AlarmAcknowledged Kind = "alarm acknowledged"
	AlarmShelved      Kind = "alarm shelved"
	AlarmOutOfService Kind = "alarm taken out of service"
	AlarmTakenUp      Kind = "alarm taken up again"

	Stirred     Kind = "stirred"
	Clear       Kind = "clear"
	CameCured   Kind = "came cured"
	Addition    Kind = "addition" // Text is what, Amount how much, as typed
	Lifted      Kind = "lifted"
	BackOnPlate Kind = "back on plate"
	AllOff      Kind = "all off"
	Drawn       Kind = "drawn" // Amount is how much, as typed
	ShotPushed  Kind = "shot"
	TriedOut    Kind = "trial asked for" // by the maker; nothing follows where the pot was not held for long
	TrialDone   Kind = "trial done"
	TrialBroken Kind = "trial broken off"
	Silenced    Kind = "sound silenced"
	NewSetpoint Kind = "set-point"    // Amount is the temperature, as typed
	HandReading Kind = "read by hand" // likewise
	Note        Kind = "note"
	Checked     Kind = "before-heat checks" // Text is which were ticked off
	TakenBack   Kind = "taken back"         // the last mark of the pot, whose kind is Text
	GoesOn      Kind = "goes on after an interruption"
)

// WholeBench is the Event.Pot of what concerns every pot.
const WholeBench = -1

// Event is something that happened.
type Event struct {
	// At is when, on the run's own time axis: bench time, its parts one after the
	// other. Wall is a label.
	At   time.Duration `json:"-"`
	Wall time.Time     `json:"wall"`
	Kind Kind          `json:"kind"`
	Pot  int           `json:"-"` // an index, or WholeBench
	// Text and Amount are as typed; "" where nothing was. Text of a hand-held reading says
	// that it was not believed.
	Text   string `json:"text,omitempty"`
	Amount string `json:"amount,omitempty"`
	// C is the temperature of a new set-point, or what was read by hand, in degrees Celsius.
	C float64 `json:"c,omitempty"`
	// TakenBack is true for a mark that its maker took back later.
	TakenBack bool `json:"taken_back,omitempty"`
	// From is what it was said from, where that was not the bench's own computer.
	From string `json:"from,omitempty"`
}

type plainEvent Event

// eventJSON is an event as JSON has it.
type eventJSON struct {
	AtS float64 `json:"at_s"` // on the run's own time axis: bench time, its parts one after the other
	Pot int     `json:"pot"`  // from 1, as everywhere outside; zero is the bench
	plainEvent
}

// JSONShape is the type that JSON has it as.
func (Event) JSONShape() any { return eventJSON{} }

// MarshalJSON implements json.Marshaler.
func (e Event) MarshalJSON() ([]byte, error) {
	return json.Marshal(eventJSON{e.At.Seconds(), e.Pot + 1, plainEvent(e)})
}

// Mark is what a person said in a cycle, with the words that go with it. A Kind of
// zero is nothing to control: it is a note, or what As says.
type Mark struct {
	control.Command
	Text, Amount string
	As           Kind
	// From is what it was said from; "" is the bench's own computer, or its program.
	From string
}

// said are the kinds of event by what people said.
var said = map[control.CommandKind]Kind{
	0:            Note,
	control.Stir: Stirred, control.TickClear: Clear, control.ArrivedCured: CameCured, control.ColourAdded: Addition,
	control.Lift: Lifted, control.Return: BackOnPlate, control.AllOff: AllOff, control.Draw: Drawn,
	control.Shot: ShotPushed, control.Setpoint: NewSetpoint, control.TryOut: TriedOut,
	control.HandReading: HandReading, control.TakeBack: TakenBack,
}

// EventOf is a mark as it is kept; there is none for a mark that nobody will ask
// for later.
func EventOf(m Mark) (Event, bool) {
	kind, ok := said[m.Kind]
	if m.Kind == 0 && m.As != "" {
		kind = m.As
	}
	e := Event{Kind: kind, Pot: WholeBench, Text: m.Text, Amount: m.Amount, From: m.From}
	if kind == NewSetpoint || kind == HandReading {
		e.C = m.C
	}
	if math.IsNaN(e.C) || math.IsInf(e.C, 0) {
		return Event{}, false // control takes no such temperature either
	}
	if m.Kind != 0 && m.Kind.NeedsPot() {
		e.Pot = m.Pot
	}
	if kind == TakenBack {
		e.Text = string(said[m.Mark])
	}
	if m.Kind == control.Silence && m.From != "" {
		e.Kind, ok = Silenced, true // who is at the bench may ask why it is quiet
	}
	return e, ok
}

func (r *Recorder) insertEvent(tx *sql.Tx, cycle uint64, e Event) error {
	_, err := tx.Exec(`INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text, amount, c, said_from) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		r.run.Load(), r.part, cycle, e.At.Milliseconds(), ms(e.Wall), e.Kind, e.Pot+1, e.Text, e.Amount, e.C, e.From)
	if err == nil && e.Kind == Note {
		// What is noted at the bench is the run's note as well: there is one place for it.
		_, err = tx.Exec(`UPDATE run SET note = CASE note WHEN '' THEN ?1 ELSE note || ' · ' || ?1 END WHERE id = ?2`, e.Text, r.run.Load())
	}
	if err == nil && e.Kind == TakenBack && e.Text == string(Note) {
		err = r.eraseNote(tx)
	}
	return err
}

// eraseNote takes the note that was just taken back out of the run's note, where it still
// stands at its end as it was written.
func (r *Recorder) eraseNote(tx *sql.Tx) error {
	last, err := lastTakenBack(tx, r.run.Load())
	if err != nil {
		return err
	}
	_, err = tx.Exec(`UPDATE run SET note = substr(note, 1, length(note) - length(last.line))
		FROM (SELECT CASE WHEN run.note = event.text THEN event.text ELSE ' · ' || event.text END AS line
			FROM event JOIN run ON run.id = event.run WHERE event.id = ?2) AS last
		WHERE id = ?1 AND substr(note, -length(last.line)) = last.line`, r.run.Load(), last)
	return err
}

// lastTakenBack is the note of a run that was taken back last: each takes the newest that
// stands.
func lastTakenBack(tx *sql.Tx, run int64) (last int64, err error) {
	rows, err := tx.Query(`SELECT id, kind = ?2 FROM event WHERE run = ?1 AND (kind = ?2 OR kind = ?3 AND text = ?2) ORDER BY id`, run, Note, TakenBack)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	var standing []int64
	for rows.Next() {
		var id int64
		var isNote bool
		if err := rows.Scan(&id, &isNote); err != nil {
			return 0, err
		}
		switch {
		case isNote:
			standing = append(standing, id)
		case len(standing) > 0:
			last, standing = standing[len(standing)-1], standing[:len(standing)-1]
		}
	}
	return last, rows.Err()
}

// Events lists what happened in a run, in order.
func (s *Store) Events(run int64) ([]Event, error) {
	offset, err := s.offsets(run)
	if err != nil {
		return nil, err
	}
	events := []Event{}
	err = s.each(func(rows *sql.Rows) error {
		var e Event
		var part, bench, wall int64
		if err := rows.Scan(&part, &bench, &wall, &e.Kind, &e.Pot, &e.Text, &e.Amount, &e.C, &e.From); err != nil {
			return err
		}
		e.At, e.Wall, e.Pot = offset[part]+time.Duration(bench)*time.Millisecond, time.UnixMilli(wall), e.Pot-1
		events = append(events, e)
		return nil
	}, `SELECT part, bench_ms, wall_ms, kind, pot, text, amount, c, said_from FROM event WHERE run = ? ORDER BY id`, run)
	markTakenBack(events)
	return events, err
}

// markTakenBack finds the mark that each event of that kind takes back: the last of its
// kind and pot before it.
func markTakenBack(events []Event) {
	for i, by := range events {
		if by.Kind != TakenBack {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if e := &events[j]; string(e.Kind) == by.Text && e.Pot == by.Pot && !e.TakenBack {
				e.TakenBack = true
				break
			}
		}
	}
}

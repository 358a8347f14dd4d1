package history

import (
	"database/sql"
	"encoding/json"
	"math"
	"slices"
	"strings"
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
	Ticked      Kind = "check ticked off"   // Text is which, shortly
	Unticked    Kind = "tick taken away"    // likewise
	TakenBack   Kind = "taken back"         // the last mark of the pot, whose kind is Text
	GoesOn      Kind = "goes on after an interruption"
	LidOpen     Kind = "lid open" // of a pot, or of the bench
	LidClosed   Kind = "lid closed"
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
	// Key is the press that it came of, as who sent it calls it; Takes, of a note that is
	// taken back, that of the note, or LastOwn.
	Key   string `json:"-"`
	Takes string `json:"-"`
}

// LastOwn is the Takes of who takes back the last note from the same place.
const LastOwn = "last"

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
	// Key and Takes are those of Event.
	Key, Takes string
}

// said are the kinds of event by what people said.
var said = map[control.CommandKind]Kind{
	0:            Note,
	control.Stir: Stirred, control.TickClear: Clear, control.ArrivedCured: CameCured, control.ColourAdded: Addition,
	control.Lift: Lifted, control.Return: BackOnPlate, control.AllOff: AllOff, control.Draw: Drawn,
	control.Shot: ShotPushed, control.Setpoint: NewSetpoint, control.TryOut: TriedOut,
	control.HandReading: HandReading, control.TakeBack: TakenBack,
}

// CommandOf is what was said for an event of a kind; zero for a note, and for what nobody said.
func CommandOf(k Kind) control.CommandKind {
	if k == Silenced {
		return control.Silence
	}
	for command, kind := range said {
		if kind == k {
			return command
		}
	}
	return 0
}

// EventOf is a mark as it is kept; there is none for a mark that nobody will ask
// for later.
func EventOf(m Mark) (Event, bool) {
	kind, ok := said[m.Kind]
	if m.Kind == 0 && m.As != "" {
		kind = m.As
	}
	e := Event{Kind: kind, Pot: WholeBench, Text: m.Text, Amount: m.Amount, From: m.From, Key: m.Key, Takes: m.Takes}
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
	_, err := tx.Exec(`INSERT INTO event (run, part, cycle, bench_ms, wall_ms, kind, pot, text, amount, c, said_from, said_key, takes) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		r.run.Load(), r.part, cycle, e.At.Milliseconds(), ms(e.Wall), e.Kind, e.Pot+1, e.Text, e.Amount, e.C, e.From, e.Key, e.Takes)
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
// stands there as it was written.
func (r *Recorder) eraseNote(tx *sql.Tx) error {
	notes, gone, err := justTakenBack(tx, r.run.Load())
	if err != nil || gone < 0 {
		return err
	}
	var all string
	if err := tx.QueryRow(`SELECT note FROM run WHERE id = ?`, r.run.Load()).Scan(&all); err != nil {
		return err
	}
	_, err = tx.Exec(`UPDATE run SET note = ? WHERE id = ?`, withoutNote(all, notes, gone), r.run.Load())
	return err
}

// withoutNote is a run's note without one of the notes that stood, all of which it ends in;
// somebody may have written it anew since the first of them. It is made anew of the notes
// that stay: within its text one note may look like the end of another.
func withoutNote(all string, notes []string, gone int) string {
	const parted = " · "
	for first := range gone + 1 {
		head, ends := strings.CutSuffix(all, strings.Join(notes[first:], parted))
		if !ends || head != "" && !strings.HasSuffix(head, parted) {
			continue
		}
		stay := slices.Concat(notes[first:gone], notes[gone+1:])
		if head != "" {
			stay = slices.Insert(stay, 0, strings.TrimSuffix(head, parted))
		}
		return strings.Join(stay, parted)
	}
	return all
}

// justTakenBack are the notes that stood before the last event of a run, and which of them
// it takes back; -1 where that is none.
func justTakenBack(tx *sql.Tx, run int64) (notes []string, gone int, err error) {
	rows, err := tx.Query(`SELECT kind, text, said_from, said_key, takes FROM event WHERE run = ?1 AND (kind = ?2 OR kind = ?3 AND text = ?2) ORDER BY id`, run, Note, TakenBack)
	if err != nil {
		return nil, -1, err
	}
	defer rows.Close()
	var events []Event
	for rows.Next() {
		var e Event
		if err := rows.Scan(&e.Kind, &e.Text, &e.From, &e.Key, &e.Takes); err != nil {
			return nil, -1, err
		}
		events = append(events, e)
	}
	if err := rows.Err(); err != nil {
		return nil, -1, err
	}
	last := len(events) - 1
	markTakenBack(events[:last])
	gone = -1
	which := takenBackBy(events[:last], events[last])
	for i, e := range events[:last] {
		if e.Kind != Note || e.TakenBack {
			continue
		}
		if slices.Contains(which, i) {
			gone = len(notes)
		}
		notes = append(notes, e.Text)
	}
	return notes, gone, nil
}

// Events lists what happened in a run, in order.
func (s *Store) Events(run int64) ([]Event, error) {
	events, err := s.eventsOf(run, `ORDER BY id`)
	markTakenBack(events)
	return events, err
}

// LastEvents lists the last of some kinds in a run, the last first. What was taken back is
// not told from what was not.
func (s *Store) LastEvents(run int64, most int, first Kind, others ...Kind) ([]Event, error) {
	args := []any{first}
	for _, k := range others {
		args = append(args, k)
	}
	return s.eventsOf(run, `AND kind IN (?`+strings.Repeat(`, ?`, len(others))+`) ORDER BY id DESC LIMIT ?`, append(args, most)...)
}

func (s *Store) eventsOf(run int64, which string, more ...any) ([]Event, error) {
	offset, err := s.offsets(run)
	if err != nil {
		return nil, err
	}
	events := []Event{}
	err = s.each(func(rows *sql.Rows) error {
		var e Event
		var part, bench, wall int64
		if err := rows.Scan(&part, &bench, &wall, &e.Kind, &e.Pot, &e.Text, &e.Amount, &e.C, &e.From, &e.Key, &e.Takes); err != nil {
			return err
		}
		e.At, e.Wall, e.Pot = offset[part]+time.Duration(bench)*time.Millisecond, time.UnixMilli(wall), e.Pot-1
		events = append(events, e)
		return nil
	}, `SELECT part, bench_ms, wall_ms, kind, pot, text, amount, c, said_from, said_key, takes FROM event WHERE run = ? `+which, append([]any{run}, more...)...)
	return events, err
}

// markTakenBack marks what was taken back.
func markTakenBack(events []Event) {
	for i, by := range events {
		if by.Kind == TakenBack {
			for _, j := range takenBackBy(events[:i], by) {
				events[j].TakenBack = true
			}
		}
	}
}

// OnceOnly reports whether control knows of a mark only that it was made, however often it
// was: taken back once, none of them stands.
func OnceOnly(k Kind) bool { return k == Clear || k == CameCured || k == BackOnPlate }

// takenBackBy are the marks before an event that it takes back, as control has it: the last
// of its kind and pot, or all of them of a kind that counts once, since the pot was lifted
// or the program was started; and of notes the one that is named, from the same place.
func takenBackBy(before []Event, by Event) (which []int) {
	once := OnceOnly(Kind(by.Text))
	for i, e := range slices.Backward(before) {
		switch {
		case once && (e.Kind == GoesOn || by.Text == string(BackOnPlate) && e.Kind == Lifted && e.Pot == by.Pot):
			return which
		case string(e.Kind) != by.Text || e.Pot != by.Pot || e.TakenBack || !e.isMeantBy(by):
			continue
		}
		which = append(which, i)
		if !once {
			return which
		}
	}
	return which
}

// isMeantBy reports whether a note is one that an event may take back.
func (e Event) isMeantBy(by Event) bool {
	return by.Takes == "" || e.From == by.From && (by.Takes == LastOwn || by.Takes == e.Key)
}

// Presses are the last marks of a run that came of a press with a name, at most so many, the
// last first.
func (s *Store) Presses(run int64, most int) (events []Event, err error) {
	err = s.each(func(rows *sql.Rows) error {
		var e Event
		if err := rows.Scan(&e.Kind, &e.Pot, &e.From, &e.Key); err != nil {
			return err
		}
		e.Pot--
		events = append(events, e)
		return nil
	}, `SELECT kind, pot, said_from, said_key FROM event WHERE run = ? AND said_key <> '' ORDER BY id DESC LIMIT ?`, run, most)
	return events, err
}

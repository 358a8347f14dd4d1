package history

import (
	"database/sql"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Words looks for words in lines that people typed: with each of them a word of one of the
// lines has to begin, in any order and in capitals or not. No words are nowhere.
type Words []string

// WordsOf takes words apart at their spaces.
func WordsOf(typed string) Words { return strings.Fields(typed) }

// In reports whether the lines have every word.
func (w Words) In(lines ...string) bool {
	return len(w) > 0 && !slices.ContainsFunc(w, func(word string) bool { return !begins(lines, word) })
}

// begins reports whether a word of any of the lines begins so: "bled" is in "bled" and not
// in "enabled".
func begins(lines []string, word string) bool {
	word = strings.ToLower(word)
	return slices.ContainsFunc(lines, func(line string) bool {
		line = strings.ToLower(line)
		for from := 0; ; {
			i := strings.Index(line[from:], word)
			if i < 0 {
				return false
			}
			before, _ := utf8.DecodeLastRuneInString(line[:from+i])
			if !unicode.IsLetter(before) && !unicode.IsDigit(before) {
				return true
			}
			from += i + len(word)
		}
	})
}

// RunsWith lists the runs with the words in what a Filter's Text is looked up in, the
// newest first.
func (s *Store) RunsWith(w Words) ([]Run, error) {
	all, err := s.runs("", nil)
	if err != nil {
		return nil, err
	}
	notes := map[int64]typed{}
	if err := s.addNotes(notes); err != nil {
		return nil, err
	}
	var found []Run
	for _, r := range all {
		t := notes[r.ID]
		if w.In(slices.Concat(r.lines(), t.notes, t.moulds)...) {
			found = append(found, r)
		}
	}
	return found, nil
}

// ShotHit is a shot with words in its mould, its note or what it was judged.
type ShotHit struct {
	Run         int64
	Number      int
	Wall        time.Time
	Mould, Note string
	Faults      string // as judged, "" for none
}

// ShotsWith lists the shots with the words, the newest first; what was taken back is left
// out.
func (s *Store) ShotsWith(w Words) ([]ShotHit, error) {
	var found []ShotHit
	err := s.each(func(rows *sql.Rows) error {
		var h ShotHit
		var wall int64
		if err := rows.Scan(&h.Run, &h.Number, &wall, &h.Mould, &h.Note, &h.Faults); err != nil {
			return err
		}
		if h.Wall = time.UnixMilli(wall); w.In(h.Mould, h.Note, h.Faults) {
			found = append(found, h)
		}
		return nil
	}, `SELECT run, number, wall_ms, mould, note, COALESCE((SELECT group_concat(fault, ', ') FROM (SELECT DISTINCT fault FROM fault WHERE fault.shot = shot.id)), '')
		FROM shot WHERE NOT withdrawn ORDER BY run DESC, number DESC`)
	return found, err
}

// EventHit is something that happened in a run.
type EventHit struct {
	Run  int64
	Wall time.Time
	Kind Kind
	Pot  int // an index, or WholeBench
	Text string
}

// AlarmsWith lists the alarms of all runs with the words in their titles, the newest
// first.
func (s *Store) AlarmsWith(w Words) ([]EventHit, error) {
	var found []EventHit
	err := s.each(func(rows *sql.Rows) error {
		h := EventHit{Kind: Alarm}
		var wall int64
		if err := rows.Scan(&h.Run, &wall, &h.Pot, &h.Text); err != nil {
			return err
		}
		h.Wall, h.Pot = time.UnixMilli(wall), h.Pot-1
		if w.In(h.Text) {
			found = append(found, h)
		}
		return nil
	}, `SELECT run, wall_ms, pot, text FROM event WHERE kind = ? ORDER BY run DESC, id DESC`, Alarm)
	return found, err
}

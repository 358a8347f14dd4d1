package api

import (
	"encoding/json"
	"fmt"

	"meltwarden/daemon/history"
)

// newMarks follows what enters the history of the run being recorded, for one stream.
type newMarks struct {
	store  *history.Store // nil follows nothing
	writes uint64
	run    int64
	seen   int
}

// marksFrom begins after what is there already.
func marksFrom(s *history.Store) *newMarks {
	m := &newMarks{store: s}
	if s != nil {
		m.writes, m.run = s.Happened(), s.Live()
		events, _ := s.Events(m.run) // what can not be read now is told when it can
		m.seen = len(events)
	}
	return m
}

// fresh are the events that have come, each spelt as one server-sent event. The history is
// asked only where something was written.
func (m *newMarks) fresh() (texts []string) {
	if m.store == nil || m.store.Happened() == m.writes {
		return nil
	}
	writes, run := m.store.Happened(), m.store.Live()
	events, err := m.store.Events(run)
	if err != nil {
		return nil // the next frame asks again
	}
	if run != m.run {
		m.run, m.seen = run, 0
	}
	for _, e := range events[min(m.seen, len(events)):] {
		body, err := json.Marshal(e)
		if err != nil {
			body, _ = json.Marshal(err.Error())
		}
		texts = append(texts, fmt.Sprintf("event: mark\ndata: %s\n\n", body))
	}
	m.writes, m.seen = writes, len(events)
	return texts
}

// sendAll reports whether the reader took every text in time.
func (e stream) sendAll(texts []string) bool {
	for _, t := range texts {
		if !e.send(t) {
			return false
		}
	}
	return true
}

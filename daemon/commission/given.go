package commission

import (
	"time"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// Question is one that a session asks.
type Question struct{ Key, Text string }

// InFile are the questions whose answers a bench file has as well, under protection and by
// the same keys.
func InFile() (asked []Question) {
	for _, q := range questions {
		if q.file != nil {
			asked = append(asked, Question{q.key, q.text})
		}
	}
	return asked
}

// Accept says why an answer to a question of InFile does not count, nil for one that does.
func Accept(key, words string) error {
	for i := range questions {
		if questions[i].key == key {
			return questions[i].accept(words, nil)
		}
	}
	panic("commission: no question has the key " + key)
}

// Give puts answers on record that a person has just given elsewhere, by the keys of their
// questions, so that a session asks for them no more. What counts already stays.
func Give(past *history.Store, b *config.Bench, version string, answers map[string]string) error {
	s := &session{Options: Options{History: past, Version: version}}
	found, err := Load(past)
	if err != nil {
		return err
	}
	s.record = &Record{Digest: Digest(b)}
	if found != nil && found.Digest == s.record.Digest {
		s.record = found
	}
	for i := range questions {
		q := &questions[i]
		if words := answers[q.key]; words != "" && s.record.open(q, b) != "" && q.accept(words, b) == nil {
			s.record.Answers = put(s.record.Answers, Answer{q.key, words, time.Now()}, func(a Answer) bool { return a.Question == q.key })
		}
	}
	return s.save()
}

// Takes is how long a session takes somebody who has everything at hand, with nothing on
// record.
func Takes(b *config.Bench) time.Duration { return takes(b) }

package commission

import (
	"fmt"
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
// questions, so that a session asks for them no more. What counts already stays, unless it is
// to be begun anew, with these answers instead. A record of another bench file is replaced
// only then: it may be of a bench that is in use.
func Give(past *history.Store, b *config.Bench, version string, answers map[string]string, instead bool) error {
	s := &session{Options: Options{History: past, Version: version}}
	found, err := Load(past)
	if err != nil && !instead {
		return err
	}
	digest := Digest(b)
	switch {
	case found == nil || instead:
		s.record = anew(digest, found)
	case found.Digest == digest:
		s.record = found
	default:
		return fmt.Errorf("history %s: holds the commissioning of another bench file, saved on %s, which would be lost. Where that bench is in use, name another folder for this one with --data, here and for serve; where it is no more, run the same command with --anew",
			past.Path(), day(found.Saved))
	}
	for i := range questions {
		q := &questions[i]
		if words := answers[q.key]; words != "" && s.record.open(q, b) != "" && q.accept(words, b) == nil {
			s.record.Answers = put(s.record.Answers, Answer{q.key, words, time.Now()}, func(a Answer) bool { return a.Question == q.key })
		}
	}
	return s.save()
}

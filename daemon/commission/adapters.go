package commission

import (
	"fmt"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/devices/ports"
)

// Adapter is the adapter that a line had while the bench was commissioned, where the system
// says which that is. A line on another one may lead to other devices.
type Adapter struct {
	Line string         `json:"line"`
	Is   ports.Identity `json:"is"`
	At   time.Time      `json:"at"`
}

// noteAdapters adds those that lines have to the record. The first stays: the lines were
// opened on no other since.
func (s *session) noteAdapters() {
	if s.Seen == nil {
		return
	}
	for _, l := range s.Bench.Lines {
		is, known := s.Seen(l.Name)
		noted := slices.ContainsFunc(s.record.Adapters, func(a Adapter) bool { return a.Line == l.Name })
		if known && !noted {
			s.record.Adapters = append(s.record.Adapters, Adapter{l.Name, is, time.Now()})
		}
	}
}

// Expect tells of every line of a bench which adapter it was commissioned with, as far as
// that is on record. A record of another bench file, or none, says nothing.
func (r *Record) Expect(b *config.Bench, tell func(line string, is ports.Identity, since string)) {
	if r == nil || r.Digest != Digest(b) {
		return
	}
	for _, a := range r.Adapters {
		tell(a.Line, a.Is, fmt.Sprintf("when the bench was commissioned (%s)", day(a.At)))
	}
}

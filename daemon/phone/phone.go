// Package phone keeps which phones are let in: each by a name, until a day, with a secret
// of its own. It promises that a secret is never kept, only its digest; that a pairing
// code is good once and for a few minutes; that whoever is revoked is out with the next
// question, whichever program on this computer has said so; and that nobody who is out
// comes in again by a clock that is set back, or by a file that is broken.
//
// It knows nothing of what a phone may do, and decides nothing about heat. What it keeps
// is a file of its own beside the history: no backup and no archive has it.
package phone

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"meltwarden/config/quantity"
)

// Limits of a phone.
const (
	// DefaultFor is how long a phone is let in where nothing else is said, LeastFor and
	// MostFor are the bounds (E).
	DefaultFor = 30 * 24 * time.Hour
	LeastFor   = 10 * time.Minute
	MostFor    = 365 * 24 * time.Hour
	// DefaultForTyped is the first as people type it.
	DefaultForTyped = "30 days"
	// CodeFor is how long a pairing code is good.
	CodeFor = 10 * time.Minute
	// MostPhones is how many may be let in at once (E).
	MostPhones = 32
	// mostName is how many letters a name may have.
	mostName = 40
)

// Phone is one that was let in, or may be.
type Phone struct {
	ID   int64
	Name string
	// Made is when it was added, Ends when it is out by itself.
	Made, Ends time.Time
	// CodeEnds is until when its pairing code is good; Paired, Seen and Revoked are when it
	// was paired, was here last, within two minutes, and was revoked. Zero is never.
	CodeEnds, Paired, Seen, Revoked time.Time
	latest                          time.Time // that was seen when it was asked for
}

// State is how a phone stands.
type State string

// The states of a phone.
const (
	Waits    State = "waits to be paired"
	In       State = "let in"
	Expired  State = "expired"
	Revoked  State = "revoked"
	NotTaken State = "was not paired in time"
)

// State tells how it stands, by the later of now and the latest time that was seen.
func (p Phone) State(now time.Time) State {
	now = later(now, p.latest)
	switch {
	case !p.Revoked.IsZero():
		return Revoked
	case p.Paired.IsZero() && now.Before(p.CodeEnds):
		return Waits
	case p.Paired.IsZero():
		return NotTaken
	case !now.Before(p.Ends):
		return Expired
	}
	return In
}

// Words are the state for people, who put a phone out; programs are told that it is revoked.
func (s State) Words() string {
	if s == Revoked {
		return "put out"
	}
	return string(s)
}

// MayBeRevoked reports whether it is not out already.
func (s State) MayBeRevoked() bool { return s == In || s == Waits }

// Shown is a phone as JSON; what never was is null.
type Shown struct {
	ID      int64      `json:"id"`
	Name    string     `json:"name"`
	State   State      `json:"state"`
	Made    time.Time  `json:"made"`
	Ends    time.Time  `json:"ends"`
	Paired  *time.Time `json:"paired"`
	Seen    *time.Time `json:"seen"`
	Revoked *time.Time `json:"revoked"`
}

// Shown is the phone as it stands now.
func (p Phone) Shown(now time.Time) Shown {
	known := func(t time.Time) *time.Time {
		if t.IsZero() {
			return nil
		}
		return &t
	}
	return Shown{p.ID, p.Name, p.State(now), p.Made, p.Ends, known(p.Paired), known(p.Seen), known(p.Revoked)}
}

// Errors about who asks to be let in.
var (
	// ErrUnknown is a secret that belongs to no phone.
	ErrUnknown = errors.New("no phone is let in by this")
	ErrExpired = errors.New("the time of this phone is over")
	ErrRevoked = errors.New("this phone was put out")
	// ErrCode is a pairing code that is wrong, was used, or is too old.
	ErrCode = errors.New("this code is wrong, was used already, or is too old")
	// ErrNoPhone is a number or a name that no phone has.
	ErrNoPhone = errors.New("there is no such phone; the command phone list shows them")
)

// nameOf is a name as it is kept.
func nameOf(typed string) (string, error) {
	name := strings.Join(strings.Fields(typed), " ")
	switch {
	case name == "":
		return "", errors.New("name: empty; write whose phone it is, such as \"blue\"")
	case !strings.ContainsFunc(name, unicode.IsLetter):
		return "", fmt.Errorf("name %q: no letter in it; write whose phone it is, such as \"blue\"", name)
	case utf8.RuneCountInString(name) > mostName || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return "", fmt.Errorf("name: more than %d letters, or some that can not be printed; write a shorter one", mostName)
	}
	return name, nil
}

// ParseFor reads for how long a phone is let in: "30 days", "6 h".
func ParseFor(typed string) (time.Duration, error) {
	d, err := quantity.Days(typed)
	if err != nil {
		d, err = quantity.Duration(typed)
	}
	if err != nil {
		return 0, fmt.Errorf("for %q: no time span; write one such as \"30 days\" or \"6 h\"", typed)
	}
	return d, checkFor(d)
}

func checkFor(d time.Duration) error {
	if d < LeastFor || d > MostFor {
		return fmt.Errorf("for: %s is outside %.0f min to %.0f days; write a time span such as \"30 days\" or \"6 h\"", d, LeastFor.Minutes(), MostFor.Hours()/24)
	}
	return nil
}

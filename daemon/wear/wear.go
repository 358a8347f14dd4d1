// Package wear knows how much of the life of the mechanical relays before heaters is used.
// It counts how often each of them is told to close, from the first evening on that the
// bench file says of it that it wears, and holds that against the life that its maker rates
// it for. What nobody counted is not recorded, never zero: what an owner says of it before is
// taken as said, and a count is of what a relay was told, not of what it did. Nothing about
// heat goes by it.
package wear

import (
	"fmt"
	"math"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control/circuit"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/devices/registers"
)

// RemindFrom is the share of its rated life from which on a relay should be changed (E).
const RemindFrom = 0.8

// Standing is what is known of one relay. An operation is a closing and the opening after it.
type Standing struct {
	Pot string `json:"pot"` // its name
	// Rated is how many operations its maker rates it for, as the bench file says.
	Rated int64 `json:"rated_operations"`
	// Counted is how often it was told to close since Since; null where nothing was counted.
	Counted *int64     `json:"counted_operations"`
	Since   *time.Time `json:"counted_since"`
	// Before is how many it had before any were counted, as its owner says.
	Before int64 `json:"operations_before"`
	// Share is both together as a part of the rated ones: an estimate; null where nothing was
	// counted and nothing said.
	Share frames.Figure `json:"used_share"`
	// Fitted is the day it was fitted, as its owner says; "" is not recorded.
	Fitted string `json:"fitted"`
	// Worn is true from RemindFrom on: it should be changed.
	Worn bool `json:"worn"`
	// Words are all of that in a sentence.
	Words string `json:"words"`

	of  history.Relay // what it is known by
	pot int
}

// Stand is what is known of every relay that wears, in the order of the bench's pots.
func Stand(kept []history.Relay, b *config.Bench) []Standing {
	all := []Standing{}
	for i, p := range b.Pots {
		if p.Output != circuit.Switched || !p.Relay.Wears() {
			continue
		}
		s := Standing{
			Pot: p.Name, Rated: p.Relay.Life, Before: p.Relay.Used, Fitted: p.Relay.Fitted, pot: i,
			of: history.Relay{Bench: b.Name, Place: placeOf(b, p.Name), Fitted: p.Relay.Fitted, Pot: p.Name},
		}
		for _, k := range kept {
			if k.Bench == s.of.Bench && k.Place == s.of.Place && k.Fitted == s.of.Fitted {
				s.of.Operations, s.of.Since, s.of.At = k.Operations, k.Since, k.At
			}
		}
		s.reckon()
		all = append(all, s)
	}
	return all
}

// placeOf is the coil of a pot's heater.
func placeOf(b *config.Bench, pot string) string {
	for _, c := range b.Channels {
		if c.Role == registers.Heater && c.Pot == pot {
			return fmt.Sprintf("%s %d", c.Device, c.Address)
		}
	}
	return ""
}

// reckon fills in what follows from the count.
func (s *Standing) reckon() {
	s.Counted, s.Since, s.Share = nil, nil, frames.Unknown()
	if !s.of.Since.IsZero() {
		counted, since := s.of.Operations, s.of.Since
		s.Counted, s.Since = &counted, &since
	}
	if s.Counted != nil || s.Before > 0 {
		s.Share = frames.Figure(float64(s.Operations()) / float64(s.Rated))
	}
	s.Worn = s.Share.Known() && s.Share >= RemindFrom
	s.Words = s.words()
}

func (s *Standing) words() string {
	var parts []string
	if s.Counted != nil {
		parts = append(parts, fmt.Sprintf("%d counted since %s", *s.Counted, s.Since.Local().Format(time.DateOnly)))
	}
	if s.Before > 0 {
		parts = append(parts, fmt.Sprintf("%d before counting began, as its owner says", s.Before))
	}
	if parts == nil {
		return fmt.Sprintf("relay of pot %s: rated for %d operations; none was counted yet", s.Pot, s.Rated)
	}
	return fmt.Sprintf("relay of pot %s: ≈ %.0f %% of its %d rated operations used: %s", s.Pot, math.Floor(100*float64(s.Share)), s.Rated, strings.Join(parts, ", "))
}

// Operations are those counted and those said.
func (s Standing) Operations() int64 { return s.of.Operations + s.Before }

// Title heads what is told about relays.
const Title = "mechanical relays, worn by switching"

// Counted says once what is not in any count.
const Counted = "Counted is what a relay was told while heat was controlled; what commissioning and a device by itself switch is not. An operation is a closing and the opening after it."

// Lines are all that is told about relays, a sentence each; nil where none wears.
func Lines(all []Standing) (told []string) {
	for _, s := range all {
		told = append(told, s.Words)
	}
	if told == nil {
		return nil
	}
	if remind := Remind(all); remind != "" {
		told = append(told, remind)
	}
	return append(told, Counted)
}

// Remind says which relays should be changed; "" is none.
func Remind(all []Standing) string {
	var worn []string
	for _, s := range all {
		if s.Worn {
			worn = append(worn, fmt.Sprintf("%s (≈ %.0f %%)", s.Pot, math.Floor(100*float64(s.Share))))
		}
	}
	if worn == nil {
		return ""
	}
	return fmt.Sprintf("Change the relay of: %s. %.0f %% or more of its rated operations are used. Relays commonly fail on, welded: then only contactor and cut-out take the heat away, so try both. With a new relay write its day after fitted in the bench file: counting begins anew.",
		strings.Join(worn, ", "), 100*RemindFrom)
}

// Counter counts. It is not safe for use by several goroutines.
type Counter struct {
	relays []Standing
	on     []bool
}

// NewCounter returns a counter that goes on from what is known of the relays, or nil where
// none wears.
func NewCounter(known []Standing, at time.Time) *Counter {
	if len(known) == 0 {
		return nil
	}
	c := &Counter{relays: append([]Standing(nil), known...), on: make([]bool, len(known))}
	for i := range c.relays {
		if r := &c.relays[i]; r.of.Since.IsZero() {
			r.of.Since = at
			r.reckon()
		}
	}
	return c
}

// See takes in what the heaters are told in a cycle, by pot, and returns the counts of all
// relays where one of them closes in it, nil otherwise.
func (c *Counter) See(at time.Time, told []float64) (changed []history.Relay) {
	closes := false
	for i := range c.relays {
		r := &c.relays[i]
		on := r.pot < len(told) && told[r.pot] > 0
		if on && !c.on[i] {
			r.of.Operations++
			r.of.At, closes = at, true
			r.reckon()
		}
		c.on[i] = on
	}
	if !closes {
		return nil
	}
	for _, r := range c.relays {
		changed = append(changed, r.of)
	}
	return changed
}

// Standing is what is known of the relays by now.
func (c *Counter) Standing() []Standing { return append([]Standing(nil), c.relays...) }

package try

import (
	"fmt"
	"slices"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/history"
)

// doubts are what the guard finds where a thermometer of a pot may tell less than is so: a
// pot is not heated more because of what such a one said.
var doubts = []guard.Code{
	guard.PotUnseen, guard.ProbesCrossed, guard.MeltUnusable, guard.MeltImplausible, guard.MeltFrozen, guard.MeltNotFollowing,
	guard.MeltReversed, guard.FastFall, guard.MeltNoisy, guard.ProbesDisagree,
}

// doubted says what was found in a run, up to a time, that casts a doubt on a pot's
// thermometer; "" is nothing.
func doubted(events []history.Event, until time.Duration, pot int) string {
	for _, e := range events {
		of := e.Kind == history.Alarm && e.Pot == pot && e.At <= until
		if of && slices.ContainsFunc(doubts, func(c guard.Code) bool { return c.Title() == e.Text }) {
			return e.Text
		}
	}
	return ""
}

// trusted holds more heat against what the run says of a pot's thermometer.
func (s Situation) trusted(colour string) error {
	for i, p := range s.Card.Pots {
		if p.Colour != colour {
			continue
		}
		if found := doubted(s.Events, s.At, i); found != "" {
			return fmt.Errorf(doubtWords, colour, found)
		}
	}
	return nil
}

package daemon

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
)

// TestMessagesForPeopleElsewhere: one for a trip that has latched, one for a
// warning, one for "ready"; none for what is over within a moment, none twice.
func TestMessagesForPeopleElsewhere(t *testing.T) {
	var said []string
	a := away{pots: []control.PotSettings{{Colour: "slate"}}, title: "eel", tell: func(m string) { said = append(said, m) }}
	note := func(ready bool, conditions ...guard.Condition) {
		a.note(&frames.Frame{Frame: control.Frame{Ready: ready, Conditions: conditions}})
	}
	trip := guard.Condition{Code: guard.MeltUnusable, Severity: guard.Trip, Active: true}
	note(false, trip)
	assert.Empty(t, said)
	trip.Latched = true
	note(false, trip)
	note(false, trip)
	assert.Len(t, said, 1)
	assert.Contains(t, said[0], "eel, slate: No trustworthy melt reading. This heater is told zero.")
	note(true, guard.Condition{Code: guard.HeaterUnproven, Pot: -1, Severity: guard.Note, Active: true})
	note(true)
	assert.Equal(t, "eel: all pots are ready to pour.", said[1])
	note(true, guard.Condition{Code: guard.MeltHigh, Severity: guard.Warning, Active: true})
	assert.Len(t, said, 3)
}

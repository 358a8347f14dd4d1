package view

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/guard"
	"meltwarden/devices/registers"
)

// TestWhatAPressDoesIsSaid, with the times that are gone by.
func TestWhatAPressDoesIsSaid(t *testing.T) {
	assert.Equal(t, []string{
		pedalBoth, "Button of pot left: let go after 0.4 to 5 s it marks a stir.", "Shot button: let go after 0.4 to 5 s it marks a shot.",
	}, Contacts([]registers.Channel{
		{Role: registers.Pedal, MarksShot: true}, {Role: registers.StirButton, Pot: "left"}, {Role: registers.ShotButton}, {Role: registers.Enable},
	}))
	assert.Equal(t, []string{pedalSilences, fmt.Sprintf(lidShows, " of pot left"), fmt.Sprintf(lidShows, "")}, Contacts([]registers.Channel{
		{Role: registers.Pedal}, {Role: registers.Lid, Pot: "left"}, {Role: registers.Lid}}))
	s := func(d time.Duration) string { return fmt.Sprintf("%.1f", d.Seconds()) }
	assert.Contains(t, pedalBoth, "0.4 to "+s(guard.ShortPress)+" s it marks a shot, after "+s(guard.LongPress)+" to 5 s")
}

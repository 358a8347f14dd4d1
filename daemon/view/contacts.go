package view

import (
	"fmt"

	"meltwarden/devices/registers"
)

// What a press of each button of the bench does. The times are guard.Button's.
const (
	pedalBoth     = "Pedal: let go after 0.4 to 1.4 s it marks a shot, after 1.5 to 5 s it silences. Either says that somebody is here."
	pedalSilences = "Pedal: a press silences; one of 0.4 to 5 s says that somebody is here. With short-press: shot in the bench file a short one marks a shot."
	lidShows      = "Lid%s: open or closed is shown, and kept with the run and with each shot. It stops no heat."
	buttonMarks   = "%s: let go after 0.4 to 5 s it marks %s."
)

var buttonWords = map[registers.Role]struct{ name, mark string }{
	registers.StirButton: {"Button of pot ", "a stir"}, registers.DrawButton: {"Button of pot ", "a draw"}, registers.ShotButton: {"Shot button", "a shot"},
}

// Contacts says what a press of each button of a bench does, but for the one that enables
// heat, and what follows from a lid.
func Contacts(channels []registers.Channel) (told []string) {
	for _, c := range channels {
		switch w, marks := buttonWords[c.Role]; {
		case c.MarksShot:
			told = append(told, pedalBoth)
		case c.Role == registers.Pedal:
			told = append(told, pedalSilences)
		case c.Role == registers.Lid && c.Pot != "":
			told = append(told, fmt.Sprintf(lidShows, " of pot "+c.Pot))
		case c.Role == registers.Lid:
			told = append(told, fmt.Sprintf(lidShows, ""))
		case marks:
			told = append(told, fmt.Sprintf(buttonMarks, w.name+c.Pot, w.mark))
		}
	}
	return told
}

package view

import (
	"fmt"

	"meltwarden/config/quantity"
	"meltwarden/control"
)

// The words about pots whose plates are held by controllers of their own.
var controllerTexts = struct {
	inCharge, rests, plateHeld, plateRests, reads, has, power, writes string
}{
	inCharge:   "its controller decides; Meltwarden tells it %s %s and watches",
	rests:      "its controller rests; Meltwarden told it %s %s",
	plateHeld:  "plate %s %s, its controller decides: told %s %s",
	plateRests: "plate %s %s, its controller rests: told %s %s",
	has:        ", has %s", reads: ", reads %s",
	power:  "heaters: not known, their controllers decide",
	writes: "; set-points written since the program began: %d",
}

// steeredNotSeen says of a pot that a controller heats what is not known of it, and what
// follows.
func steeredNotSeen(s control.PotSettings) []string {
	return []string{
		fmt.Sprintf("Its plate is held by a controller of its own, which decides what the heater gets. Meltwarden tells it how warm the plate should be, in whole degrees and at most every %s, reads that back, and watches.", quantity.FormatDuration(s.Controller.Every)),
		"What its heater gets is not known. Nothing is shown in its place.",
		"When it is ready is not foretold, nothing is learnt of it for the next evening, and a lift shows only where it is marked. The pots are not brought to be ready at one moment: mind which is first.",
		"A controller that hears nothing more heats on to the last that it was told. What ends that is the contactor, which is on another device and lets go by itself.",
		fmt.Sprintf("While the pot gets no heat its controller is told %s. One that does not take that opens the contactor for all within two seconds; one whose plate goes on rising, once the heat in its element can no longer be why.", quantity.FormatTemperature(s.Controller.RestC)),
		"Many controllers keep each set-point in a memory that wears, commonly after 100 000 (common practice, no source). Serial lines, under All pages, counts what was written since the program began.",
		"Set nothing at the controller: what somebody turns there trips its pot.",
	}
}

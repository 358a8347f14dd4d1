package view

import (
	"strings"

	"meltwarden/daemon/frames"
)

// BenchLabels are the words around what a hand does at the bench's page.
type BenchLabels struct {
	Keys, KeysWhy, KeysOn, KeysOff, KeysPot, KeysFirst, KeysNot string
	Awake, NotAwake, Notify, Notified, NotNotified              string
	Unsent, SendNow, Forget, PressedAt                          string
	LostHelp, NoFrameHelp, NoRunHelp, NoRecipeHelp, HeatHelp    string
	Close, Cold, Limit, NotKnown, AsLastHeard                   string
}

var benchLabels = BenchLabels{
	Keys: "Keys", KeysOn: "Single keys are on", KeysOff: "Single keys are off",
	KeysWhy:   "A digit chooses a pot for ten seconds, then one letter marks it. Nothing that is typed in a field marks anything. Tab, space and enter work as everywhere.",
	KeysPot:   "With a pot chosen",
	KeysFirst: "Choose the pot first, by its digit.",
	KeysNot:   "This can not be marked now.",
	Awake:     "While anything is hot this screen stays on.",
	NotAwake:  "This screen may go dark: a browser keeps it on only on the bench's own computer or over https, where it can at all. Set the device so that it stays on.",
	Notify:    "Notify me here", Notified: "Notifications: alarms and ready. They are an extra: look at the bench.",
	NotNotified: "No notifications here: the browser does not give them, or not to this page (only on the bench's own computer or over https, and where they are permitted).",
	Unsent:      "Not sent, as far as this page knows. Nothing is sent again by itself: what comes late is false. If it is still so, send it; it counts from then.",
	SendNow:     "Send now", Forget: "Forget", PressedAt: "pressed at",
	LostHelp:     "Take the bench for hot. Look whether the program still runs and the line is plugged in; if in doubt, press the emergency stop.",
	NoFrameHelp:  "The first readings come within seconds. If none do: is the adapter plugged in and the bench switched on? On a terminal, meltwarden check says what is missing.",
	NoRunHelp:    "Nothing is recorded: start the program with --data and a folder that can be written to. The bench works without it.",
	NoRecipeHelp: "The recipe of this run can not be read from the history; the set-points on the tiles hold.",
	HeatHelp:     "Until then the bench is only watched. End this program; then, on a terminal: meltwarden commission --config bench.yaml. --status says what is missing, at any time.",
	Close:        "Close", Cold: "cold", Limit: "limit", NotKnown: notKnown, AsLastHeard: "as last heard",
}

// lostHelp says what to do about a bench that is not live; "" for one that is.
func lostHelp(f *frames.Frame, live bool) string {
	switch {
	case live:
		return ""
	case f == nil:
		return texts.NoFrameHelp
	}
	return texts.LostHelp
}

// Key is one that does something on the bench's page.
type Key struct {
	Key, Words string
	// Do is what it presses: the end of a form's address, or the id of what is pressed.
	Do string
	// Go is true where it goes to a field instead.
	Go bool
}

// PotKeys mark a pot that was chosen by its digit.
func PotKeys() []Key {
	return []Key{
		{Key: "s", Words: texts.Stir, Do: "stir"}, {Key: "c", Words: texts.Clear, Do: "clear"}, {Key: "a", Words: texts.Colour, Do: "colour-added"},
		{Key: "d", Words: texts.Draw, Do: "draw"}, {Key: "l", Words: texts.Lift, Do: "lift"}, {Key: "b", Words: texts.Return, Do: "return"},
		{Key: "r", Words: texts.Cured, Do: "arrived-cured"}, {Key: "y", Words: texts.TryOut, Do: "try-out"},
		{Key: "e", Words: texts.Amounts, Do: "colour-added", Go: true}, {Key: "h", Words: texts.HandField, Do: "hand-reading", Go: true},
		{Key: "t", Words: texts.NewSetpoint, Do: "setpoint", Go: true},
	}
}

// BenchKeys are for the whole bench. The one that cuts heat needs two fingers.
func BenchKeys() []Key {
	return []Key{
		{Key: "p", Words: texts.Shot, Do: "/api/v1/shot"}, {Key: "m", Words: texts.Silence, Do: "/api/v1/silence"},
		{Key: "u", Words: texts.CanTakeBack, Do: "offer"}, {Key: "n", Words: texts.NoteField, Do: "/api/v1/note", Go: true},
		{Key: "v", Words: texts.MouldField, Do: "/api/v1/shot", Go: true},
		{Key: "O", Words: texts.AllOff, Do: "/api/v1/off"}, {Key: "?", Words: texts.Keys, Do: "keys"},
	}
}

// countdown parts a countdown before its figure: what stands in words, and what is to be
// read from across the shop. A text without one is all words.
func countdown(text string) (lead, figure string) {
	const seconds = " s"
	head := strings.TrimSuffix(text, seconds)
	lead = strings.TrimRight(head, "0123456789")
	if head == text || lead == head {
		return text, ""
	}
	return lead, text[len(lead):]
}

// partCountdown fills in the parts of what the tile counts down.
func (w *PotWords) partCountdown() { w.PourLead, w.PourFigure = countdown(w.Pour) }

package view

// TerminalLabels are the words that only a terminal needs. Those with a verb of fmt in
// them say what it takes.
type TerminalLabels struct {
	Hot, More, Simulated, Run, Read                                     string
	Pots, Leave, End, Help, Note, OtherUnit, TakeBack, Back             string
	Typed, TypedHow, Chosen, Choose, NoSuchPot, NoKey                   string
	Taken, TakenBack, NothingBack, NoShot, OffKey, OffAsked, OffTaken   string
	NotSent, NotHeard, NotLiveNoMark                                    string
	LostWhy, LostHow, StartFirst, Found, Silent, Ended, NoBench, Asking string
	HelpMark, HelpOff, HelpEsc, HelpRedraw, HelpEnd, Left               string
	EnableKey, HelpEnable, EnablePressed                                string
	Verdict, HelpVerdict, HowIsShot, SoFar, ShotIs, VerdictHow          string
	JudgedAlready, NoVerdict, WhichVerdict                              string
}

// Terminal returns them.
func Terminal() TerminalLabels { return terminal }

var terminal = TerminalLabels{
	Hot: "HOT. Vinyl at 170 °C sticks and burns. This program is not the protection: " +
		"the independent cut-out, the fuse, the earth and the emergency stop are.",
	More: "and %d more, on the page", Simulated: "SIMULATED, INVENTED", Run: "%s, run %d", Read: "as read: %s",
	Pots: "pot", Leave: "Leave", End: "End the demo", Help: "Keys", Note: "Note", OtherUnit: "°C / °F",
	TakeBack: "Take back what was sent last", Back: "takes it back",
	Typed: "Note for this run", TypedHow: "Enter writes it down, Esc leaves it.",
	Chosen: "%s: now the letter of a mark.", Choose: "%s: of which pot? Its number first, then the letter.",
	NoSuchPot: "There is no pot %d.", NoKey: "%q is no key here; ? lists them.",
	Taken: "%s taken: %s", TakenBack: "%s taken back, so it counts nowhere", NothingBack: "There is nothing of yours to take back.", NoShot: "no such shot is written down in this run, or not yet",
	OffKey: "ALL OFF is the capital O: hold shift.", OffAsked: "ALL OFF is being sent.",
	OffTaken: "%s ALL OFF taken. See that the plates cool. It is no emergency stop.",
	NotSent:  "NOT SENT: %s – %s", NotHeard: "no answer came within %s: look whether it shows",
	NotLiveNoMark: "nothing is heard of the bench, and a late mark is a false one",
	LostWhy:       "No word from %s: %s", LostHow: "It is asked again every second.",
	StartFirst: "start the bench with serve or demo, or name its address with --to",
	Found:      "%s the bench is heard again", Silent: "nothing came for %s", Ended: "the stream ended",
	NoBench: "what answers there is no bench", Asking: "it is asked for the first time",
	HelpMark:  "First the number of a pot, then within ten seconds what was done to it.",
	EnableKey: "Enter enable button", HelpEnable: "Enter   the simulated bench's enable button: once resets, once more heats",
	EnablePressed: "The simulated bench's enable button is pressed.",
	Verdict:       "Verdict", HelpVerdict: "How the last shot came out", HowIsShot: "Shot %d of %s, how is it?", SoFar: "So far: %s.", ShotIs: "shot %d, %s",
	VerdictHow:    "Its first letters and Enter; Esc leaves it. Colours and cavity: on the page.",
	JudgedAlready: "Shot %d is judged already: %s. It is changed on its page.",
	NoVerdict:     "%q is no verdict.", WhichVerdict: "%q can be %s: type more of it.",
	HelpOff: "every heater off. It is not the emergency stop.",
	HelpEsc: "  Esc     no pot chosen", HelpRedraw: "  Ctrl-L  draw all anew", HelpEnd: "Any key goes back to the bench.",
	Left: "Left. The bench goes on as it was.",
}

package view

import (
	"meltwarden/devices"
	"meltwarden/devices/modbus"
)

// SerialLabels are the words about serial lines, on their page and in a terminal.
type SerialLabels struct {
	Serial, SerialWhy, SerialNone, SerialTable                        string
	SerialOpen, SerialShut, SerialTimes, SerialOnTerminal             string
	DeviceColumn, StateColumn, MedianColumn, WorstColumn, TurnColumn  string
	SerialTroubles, TroubleTimes, TroubleMayBe, NoTroubles            string
	WatchTitle, WatchOnlyReads, WatchLine, WatchEnds, PlainTimes      string
	GoodOf, Median, Longest, BeyondWire                               string
	NotAskedYet, NoAnswerNow, NeverGood, AllGood, SomeBad             string
	LineFits, LineFull, LineIdle, LineSum, LineAssumed, LineNoOneWay  string
	LineFaster, LineJoin, LineOwn, LineThen, LineThenStill, LineHeads string
	LineNamed, LostSince, HeatWaits, NothingAnswers, NothingAnswersDo string
	OneSilent, SomeSilent, SilentDo, SerialAt, SerialOn, ShutSince    string
	BackSince, BackOften, HeatReadsOn, HeatNotRead, OutputsHeld       string
	LostOnce, LostOften, AnswerSince, AnswerOften, HeatGoesOff        string
}

var serialLabels = SerialLabels{
	Serial:     "Serial lines",
	SerialWhy:  "How the devices of this bench answer on their lines. It only shows: heat goes off by itself where an answer is missing for too long.",
	SerialNone: "This program was started without lines to look at.",
	SerialOpen: "The port is open.", SerialShut: "The port is not open: %s.",
	SerialTable:  "Devices of line %s",
	DeviceColumn: "Device", StateColumn: "State", MedianColumn: "Round trip, median", WorstColumn: "Round trip, longest", TurnColumn: "Of the median, not on the wire",
	SerialTroubles: "What was wrong, since the program began", TroubleTimes: "%d times", TroubleMayBe: "May be",
	SerialTimes: "The times are of the last %d exchanges that were answered, at most.",
	NoTroubles:  "Nothing was wrong with any exchange.", SerialOnTerminal: "The same on a terminal, with this program ended",
	WatchTitle:     "Lines of bench %s",
	WatchOnlyReads: "Only reads: nothing is written, and nothing switched.",
	WatchLine:      "Line %s: %s Every device was asked %.1f times a second, of %.0f.", WatchEnds: " q or Ctrl-C ends.",
	PlainTimes: "median %s, longest %s",
	GoodOf:     "Good", Median: "Median", Longest: "Longest", BeyondWire: "Waits",
	NotAskedYet: "not asked yet", NoAnswerNow: "does not answer; asked once a second", NeverGood: "no good answer yet",
	AllGood: "every answer was good", SomeBad: "%d of %d answers were not good",
	LineHeads: "Does the line keep up?",
	LineFits:  "It keeps up: a cycle takes %s of the %s there are, so the line could carry %.1f cycles a second, and the bench wants %.0f.",
	LineFull:  "It does not keep up: a cycle takes %s, and there are %s. The line carries %.1f cycles a second, and the bench wants %.0f. Readings are older than they should be.",
	LineIdle:  "Nothing is asked on it.",
	LineSum:   "The fullest cycle: %d × request and answer, %d characters of %d bits at %d baud; %s on the wire, %s in the devices, %s of silence between frames, together %s.",
	LineAssumed: "Of %s it is not measured how long an answer takes to begin: %d ms beyond the silence are taken for it. " +
		"meltwarden check --watch measures it.",
	LineFaster: "Set the line and all its devices to %d baud: %s.",
	LineJoin:   "Write max-gap: %d at device %s, if it can be read where no channel lies: %s.",
	LineOwn:    "Give device %s a line of its own: %s.",
	LineThen:   "%s a cycle", LineThenStill: "%s a cycle, which is still too long",
	LineNoOneWay: "No single change is enough. Change several, or put the registers side by side.",
	LineNamed:    "Line %s", LostSince: "%s, since %s",
	HeatGoesOff:    "See that the plates cool: heat that rests on the line was told off, or goes off when the heater's device or its contactor times out.",
	HeatWaits:      "Once the line is back, heat waits for a press of the enable button.",
	NothingAnswers: "nothing on it answers", NothingAnswersDo: "See that its devices have their supply. Look at the two wires of the line.",
	BackSince:   "it is there again since %s, and was lost at %s. Heat that was cut waits for a press at the bench.",
	BackOften:   "it is there again since %s, and was lost %d times from %s on: look for a loose plug. Heat that was cut waits for a press at the bench.",
	AnswerSince: "all its devices answer again since %s, and not all did from %s on. Heat that was cut waits for a press at the bench.",
	AnswerOften: "all its devices answer again since %s, and not all did, %d times from %s on: look for a loose wire or plug. Heat that was cut waits for a press at the bench.",
	OneSilent:   "its device %s answers nothing", SomeSilent: "its devices %s answer nothing",
	HeatReadsOn: "HEAT MAY BE ON. Read back as on: %s. Press the emergency stop, and see that every plate cools. This only reads: it switches nothing off.",
	HeatNotRead: "HEAT MAY BE ON. It is not known of: %s. Take them for on until you have seen that the plates cool.",
	OutputsHeld: "Outputs, by their devices' own word: %s. A relay that is welded reads as off.",
	SilentDo:    "See that the supply is on. Look at the wires, and at the number on the line.",
	SerialAt:    "The port is open as %s.", SerialOn: "The port is open as %s, on adapter %s.", ShutSince: "Since %s.",
	LostOnce: "It was lost once since the program began.", LostOften: "It was lost %d times since the program began: look for a loose plug.",
}

// shutBy is why a port is not open; each takes the port or the adapter it is about. What is
// not here is told in the system's own words.
var shutBy = map[devices.Cause]string{
	devices.Absent:    "the %s is not plugged in",
	devices.Pulled:    "the %s was unplugged, or its hub was reset",
	devices.Held:      "the %s is held by another program",
	devices.Several:   "more than one plugged-in adapter is the %s",
	devices.Exchanged: "%s", devices.Uncommissioned: "%s",
	devices.Forbidden: "the %s may not be opened by this program's user",
}

// whatOfShut is what to do about it.
var whatOfShut = map[devices.Cause]string{
	devices.Absent:         "Plug it in, into the socket it had.",
	devices.Pulled:         "See that plug and hub are in, and stay in.",
	devices.Held:           "End that program: a line is asked by one program at a time.",
	devices.Several:        "Unplug the others. Or have the bench file say which, by serial or socket: meltwarden ports lists both.",
	devices.Exchanged:      "Put the old adapter back into its socket. Another one may lead to other devices, so the line stays shut; if the change is meant, end the program, see where the new one's wires go, and start it again.",
	devices.Uncommissioned: "Put the old adapter back into its socket. Another one may lead to other devices, so the line stays shut; if the change is meant, end the program, see where the new one's wires go, and run meltwarden commission --anew.",
	devices.Forbidden:      "Add the user to the group that owns the port (often dialout), and log in again.",
	devices.Unclear:        "Look at plug and cable. meltwarden ports lists what is there.",
}

// mayBe is what each kind of trouble may come from (from memory of the trade, no source).
var mayBe = map[modbus.Kind]string{
	modbus.NoAnswer:    "no supply, a wire off or swapped, another unit number, speed or parity",
	modbus.CutShort:    "a loose plug or contact, or interference",
	modbus.Late:        "the device needs longer than its timeout in the bench file",
	modbus.WrongCheck:  "interference, an end resistor too many or missing, two devices at once",
	modbus.WrongUnit:   "two devices with one number, or another program that asks on this line",
	modbus.Noise:       "another speed or parity, wires swapped, nothing that holds the idle line",
	modbus.OtherReply:  "an answer to something before, or another program that asks on this line",
	modbus.NeverSilent: "a device that talks unasked, or nothing that holds the idle line",
	modbus.Refusal:     "the device has no such register: function and address in the bench file",
	modbus.LostPort:    "the adapter was unplugged",
}

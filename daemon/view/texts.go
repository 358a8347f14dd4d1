package view

import "meltwarden/control"

const (
	dash     = "––"
	notKnown = "not known"
)

// Texts returns the labels of the page.
func Texts() Labels { return texts.Labels }

// Labels are the page's own words; all that changes with a frame is in
// BenchWords and PotWords.
type Labels struct {
	Simulated, NotLive, LastReading, NoReadingYet       string
	NotSent, NotSentOff                                 string
	Stir, Clear, Colour, Cured, Lift, Return, MoreMarks string
	Silence, AllOff, SoundOn, SoundIsOn, TestSound      string
	Unit, Theme, Trend, Recent, Whole                   string
	Melt, Plate, Target, Heater, Pot                    string
	Conditions, CautionShort, Caution                   string
	Pots                                                string
}

// texts is the one place for wording.
var texts = struct {
	Labels
	notYet, notYetPot, shootNow, stirAgain     string
	waitsFor, goodFor, against, above, below   string
	at                                         string
	noReading, tooOld, plateHeater, stirred    string
	bench, pot, active, latched, activeLatched string
	power, mould, room                         string
	fewSeconds, aboutSeconds, aboutMinutes     string
	aboutHours                                 string
	lacks                                      map[control.Wait]string
}{
	Labels: Labels{
		Simulated: "Simulated bench – invented scenario",
		NotLive:   "NOT LIVE", LastReading: "last reading", NoReadingYet: "NOT LIVE – no reading yet",
		NotSent:    "Not sent:",
		NotSentOff: "ALL OFF was not sent. Use the emergency stop at the bench.",
		Stir:       "Stirred", Clear: "Clear", Colour: "Colour added",
		Cured: "Came cured", Lift: "Lifted off", Return: "Back on plate", MoreMarks: "More marks",
		Silence: "Silence", AllOff: "ALL OFF",
		SoundOn: "Sound on", SoundIsOn: "Sound is on", TestSound: "Test sound",
		Unit: "°C / °F", Theme: "Dark / light",
		Trend: "Session", Recent: "Last 15 min", Whole: "Whole session",
		Melt: "melt", Plate: "plate", Target: "target", Heater: "heater", Pot: "Pot",
		Conditions: "What the guard has found", Pots: "Pots",
		CautionShort: "Hot vinyl burns. This program is not the protection: the independent cut-out is.",
		Caution: "ALL OFF is not the emergency stop. Hot vinyl sticks to skin: gauntlets, face shield, nothing wet near the pots. Its fumes are harmful: " +
			"extraction on. Never leave it alone. The cut-out with its own sensor, the fuse, the earth and the emergency " +
			"stop protect you; this program only warns and controls. Local codes and licensed practice come first.",
	},
	notYet: "Not yet", notYetPot: "Not yet: %s", shootNow: "Shoot now",
	stirAgain: "%s until %s wants a stir",
	waitsFor:  "waits for %s", goodFor: "%s until the next stir",
	against: "set %s ± %s %s", at: "at its set-point", above: "%s %s above set-point", below: "%s %s below set-point",
	noReading: "no good reading: %s", tooOld: "too old",
	plateHeater: "plate %s %s, heater %.0f %%", stirred: ", stirred %s ago",
	bench: "bench", pot: "pot %d", active: "active", latched: "latched", activeLatched: "active, latched",
	power: "heaters %.0f W", mould: "mould %s %s", room: "room %s %s",
	fewSeconds: "a few seconds", aboutSeconds: "about %d s", aboutMinutes: "about %d min",
	aboutHours: "about %d h %d min",
	lacks: map[control.Wait]string{
		control.WaitEnable:  "heat is not enabled; that is done at the bench",
		control.WaitReset:   "%s tripped, reset at the bench",
		control.WaitReading: "no good reading from %s",
		control.WaitHeat:    "%s %s below its target",
		control.WaitDwell:   "%s in its cure dwell",
		control.WaitClear:   "look at %s: is the melt clear? Then press Clear",
		control.WaitCool:    "%s %s above its band",
		control.WaitWarm:    "%s %s below its band",
		control.WaitSteady:  "%s must stay in its band",
		control.WaitStir:    "stir %s",
		control.WaitReturn:  "%s is off its plate",
		control.WaitRefused: "heat is refused here; this bench is only watched",
	},
}

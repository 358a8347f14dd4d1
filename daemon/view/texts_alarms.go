package view

import (
	"meltwarden/control/guard"
	"meltwarden/daemon/alarm"
)

// AlarmLabels are the words of the page that says what needs somebody.
type AlarmLabels struct {
	Alarms, NoAlarms, AlarmsNotLive, AlarmsAsOf, AlarmsStopped string
	DoFirst, DoThen, OverNotSeen, ToKnow, SetAside             string
	Acknowledge, Shelve, OutOfService, TakeUp                  string
	OutOfServiceWhy, OutOfServiceSure                          string
	RateOnce, RateTimes                                        string
	FirstOut, RateFine, RateHigh, RateFlood                    string
	NoMessages, MessagesGo, MessagesFail                       string
	HappenedAlarms, HappenedWhy, NothingHappened, AllHappened  string
	HappenedUnread                                             string
	LookedFor, LookedForWhy, LookedForLegend, StandsNow        string
	MayBe, HowFound, Does, WhatToDo                            string
}

var alarmLabels = AlarmLabels{
	Alarms:   "Needs you",
	NoAlarms: "Nothing that the guard looks for stands now. That is no proof that all is well.", AlarmsNotLive: "NOT LIVE: alarms are not known. Take the bench for hot.",
	AlarmsAsOf: "As it was at %s.", AlarmsStopped: "NOT LIVE: the program does not answer. Take the bench for hot.",
	DoFirst: "Do this first", DoThen: "After that", OverNotSeen: "Over by itself; nobody has said that it was seen", ToKnow: "Good to know", SetAside: "Set aside",
	Acknowledge: "I have seen it", Shelve: "Set aside for 10 min", OutOfService: "Take out of service", TakeUp: "Call it again",
	OutOfServiceWhy:  "Lamp and sound will not call it any more, until heat is enabled anew, for twelve hours at most. The bench's page says that something is set aside.",
	OutOfServiceSure: "Yes, take it out",
	FirstOut:         "it came first",
	RateOnce:         "once", RateTimes: "%d times",
	RateFine:       "You were called in the last ten minutes: %s.",
	RateHigh:       "You were called in the last ten minutes: %s, more than one person can follow well. Mend the first cause first.",
	RateFlood:      "You were called in the last ten minutes: %s, a flood. Make the bench safe before anything else.",
	NoMessages:     "Nobody elsewhere is told: the bench file names no service.",
	MessagesGo:     "People elsewhere are told by message.",
	MessagesFail:   "The last message to people elsewhere could NOT be sent: do not rely on it.",
	HappenedAlarms: "What has happened", HappenedWhy: "In this run, by bench time, the last first.", NothingHappened: "In this run the guard has found nothing so far.", AllHappened: "All that happened in this run",
	HappenedUnread: "Not readable: the history can not be read now. What needs you stands above all the same.",
	LookedFor:      "What the guard looks for",
	LookedForWhy: "What is set aside waits for nobody and is not called by lamp and sound; messages to people elsewhere go on. The guard goes on looking and cuts heat when it has to, and that is called. It is no protection: " +
		"the independent cut-out, the fuse, the earth and the emergency stop have to be.",
	LookedForLegend: "Behind a figure, (C) is common practice without a source, (M) from memory, (E) our estimate.",
	StandsNow:       "now: %s",
	MayBe:           "What may be behind it", HowFound: "How it is found", Does: "What it does to heat", WhatToDo: "What to do",
}

// alarmStates are the states of an alarm, which a program is told in the standard's words,
// in a maker's.
var alarmStates = map[alarm.State]string{
	alarm.Normal:         "over",
	alarm.Unacknowledged: "stands; not seen yet", alarm.Acknowledged: "stands; seen",
	alarm.Returned:              "over; not seen yet",
	alarm.LatchedUnacknowledged: "its cause is gone, and it waits for a reset at the bench; not seen yet",
	alarm.LatchedAcknowledged:   "its cause is gone, and it waits for a reset at the bench; seen",
	alarm.Shelved:               "set aside for a while", alarm.Suppressed: "comes of another one above", alarm.OutOfService: "taken out of service",
}

// AlarmWords say where an alarm stands.
func AlarmWords(s alarm.State) string { return alarmStates[s] }

// DoesHead heads the findings that do something to heat.
func DoesHead(a guard.Action) string {
	return map[guard.Action]string{
		guard.AllOff: "Cuts the heat of every pot", guard.HeaterOff: "Cuts the heat of one pot until you reset it",
		guard.Inhibit: "Holds one pot's heat back while it lasts", guard.Tell: "Only tells you",
	}[a]
}

package view

import (
	"fmt"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/checks"
)

// ChecksLabels are the words of the page of the before-heat checks, around the checks' own.
type ChecksLabels struct {
	Checks, ChecksAdvice, ChecksKeep, ChecksKept, ChecksNoRun, ChecksTicked string
	ProbesRead, ProbeOf, ProbeShows, ReadNow, HeardIt, HeardWhy             string
	TickHere, ChecksLapse                                                   string
	SayTick, SayReady, SayAct, SayDanger, AfterChecks                       string
	ChecksHeatOn                                                            string
}

var checksLabels = ChecksLabels{
	Checks: "Before-heat checks",
	ChecksAdvice: "Advice, on the cold bench. Nothing heats by a tick, and nothing is kept from heating by one that is missing. " +
		"What protects you is the hardware; the local code and a licensed electrician have the last word.",
	ChecksHeatOn: "Heat is on. These checks are for the cold bench, before it.",
	ChecksKeep:   "Write all of it down in one line, with what the probes read", ChecksKept: "Written down with the run at %s: %s.",
	ChecksNoRun: "No run is being recorded, so nothing can be written down: start the program with a recipe and a data folder. " +
		fmt.Sprintf("What you tick stays until it ends, or for %.0f hours.", checks.Stands.Hours()),
	ChecksTicked: "ticked at %s",
	ChecksLapse:  fmt.Sprintf("A tick is for this run only, and for %.0f hours at most: then it is gone by itself.", checks.Stands.Hours()),
	ProbesRead:   "What the probes read", ProbeOf: "Probe", ProbeShows: "shows",
	ReadNow: "reads now:", HeardIt: "Hear them",
	HeardWhy: "By this page, on this device. A browser gives sound only after a press, so switch it on at the bench page as well. The bench's own buzzer speaks the same calls.",
	SayTick:  "A hand is wanted", SayReady: "Ready to pour", SayAct: "Act within a minute", SayDanger: "Danger: look at once",
	TickHere:    "Tick them off on this bench",
	AfterChecks: "Then press the bench's own enable button. Nothing else enables heat.",
}

// TickedWords says when a check was ticked off, and from where.
func TickedWords(at time.Time, from string) string {
	return fmt.Sprintf(checksLabels.ChecksTicked, TickedBy(at, from))
}

// TickedBy is the time of a tick and where it was made, "" being the bench's own computer.
func TickedBy(at time.Time, from string) string {
	if from == "" {
		from = "at the bench"
	}
	return at.Local().Format("15:04") + ", " + from
}

// ProbesWords says in both units how cold probes lie together.
func ProbesWords(is checks.Agreement, spreadC Figure) Both {
	return inBoth(func(u unit) string {
		text := map[checks.Agreement]string{
			checks.Agree:     "they agree cold",
			checks.Disagree:  "THEY DO NOT AGREE: see which is wrong, dry and seat it, or set its correction in the bench file",
			checks.Warm:      fmt.Sprintf("too warm to compare: probes are compared below %s %s", trimmed(u.degrees(guard.ColdBelowC)), u.symbol),
			checks.NotRead:   "NOT ALL ARE READ: see to the probe that shows nothing",
			checks.NotToTell: "there is nothing to compare",
			checks.Heated:    "not compared: heat has been on in this run, and what was warmed differs",
		}[is]
		if spreadC.Known() {
			text += fmt.Sprintf("; %s %s apart, %s may be", trimmed(u.span(float64(spreadC))), u.symbol, trimmed(u.span(guard.ColdAgreeC)))
		}
		return text
	})
}

// Degrees writes a reading to a tenth in both units, a dash where it is not known.
func Degrees(c Figure) Both {
	return inBoth(func(u unit) string {
		if !c.Known() {
			return dash
		}
		return fmt.Sprintf("%.1f %s", u.degrees(float64(c)), u.symbol)
	})
}

package view

import (
	"fmt"
	"strings"
	"time"

	"meltwarden/control/guard"
	"meltwarden/devices"
)

// LineLostCode is the code of a line from which nothing comes; the guard has found nothing
// of the kind, and knows no lines.
const LineLostCode = "line-lost"

// TroubledLine is a line of which something is wrong.
type TroubledLine struct {
	Condition
	// Silent are those of its devices that answer nothing, while others do; none if nothing
	// comes from the line at all.
	Silent []string
}

// TroubledLines tells of each line that is not open, or on which a device answers nothing:
// since when, why, and what to do.
func TroubledLines(s devices.Stats) (all []TroubledLine) {
	for _, l := range s.Lines {
		switch {
		case !l.Open && l.Cause != "":
			all = append(all, TroubledLine{Condition: lostLine(l.Name, l.At, whyShut(l), whatOfShut[l.Cause]+" "+serialLabels.HeatGoesOff+" "+serialLabels.HeatWaits)})
		case l.Open:
			all = append(all, silentOn(l, s.Devices)...)
		}
	}
	return all
}

// LinesLost are the findings of TroubledLines.
func LinesLost(s devices.Stats) (lost []Condition) {
	for _, t := range TroubledLines(s) {
		lost = append(lost, t.Condition)
	}
	return lost
}

func lostLine(name string, since time.Time, why, do string) Condition {
	act, more := FirstSentence(do)
	return Condition{
		Code: LineLostCode, Severity: guard.Warning.String(), Active: true,
		Title: fmt.Sprintf(serialLabels.LostSince, why, since.Local().Format(time.TimeOnly)), Instruction: do, Act: act, More: more,
		Where: fmt.Sprintf(serialLabels.LineNamed, name), Status: status(guard.Condition{Active: true}), Stands: stands(true, false),
	}
}

// LineBack says that a line which was lost at a time is there since another, and how often it
// was lost meanwhile.
func LineBack(lost, back time.Time, times int) string {
	return isBack(serialLabels.BackSince, serialLabels.BackOften, lost, back, times)
}

// DevicesBack says likewise that no device of a line is silent any more.
func DevicesBack(silent, back time.Time, times int) string {
	return isBack(serialLabels.AnswerSince, serialLabels.AnswerOften, silent, back, times)
}

func isBack(once, often string, gone, back time.Time, times int) string {
	at, since := gone.Local().Format(time.TimeOnly), back.Local().Format(time.TimeOnly)
	if times > 1 {
		return fmt.Sprintf(often, since, times, at)
	}
	return fmt.Sprintf(once, since, at)
}

// whyShut says why a port is not open, in words of the bench.
func whyShut(l devices.LineStatus) string {
	if form, known := shutBy[l.Cause]; known {
		return fmt.Sprintf(form, l.What)
	}
	return l.LastError
}

// silentOn tells of devices of an open line that answer nothing, since the last of them fell
// silent: all of them in one, since then it is the line.
func silentOn(l devices.LineStatus, all []devices.DeviceStats) []TroubledLine {
	var silent []string
	var since time.Time
	of := 0
	for _, d := range all {
		if d.Line != l.Name {
			continue
		}
		of++
		if d.Dead {
			silent = append(silent, d.Name)
			if d.DeadAt.After(since) {
				since = d.DeadAt
			}
		}
	}
	switch {
	case len(silent) == 0:
		return nil
	case len(silent) == of:
		return []TroubledLine{{Condition: lostLine(l.Name, since, serialLabels.NothingAnswers, serialLabels.NothingAnswersDo+" "+serialLabels.HeatGoesOff)}}
	}
	why := fmt.Sprintf(serialLabels.SomeSilent, strings.Join(silent, ", "))
	if len(silent) == 1 {
		why = fmt.Sprintf(serialLabels.OneSilent, silent[0])
	}
	return []TroubledLine{{Condition: lostLine(l.Name, since, why, serialLabels.SilentDo), Silent: silent}}
}

// WithLinesLost puts lost lines among findings, the worst first: behind the worst trip,
// which they may be the cause of.
func WithLinesLost(found, lost []Condition) []Condition {
	first := 0
	if len(found) > 0 && found[0].Severity == guard.Trip.String() {
		first = 1
	}
	return append(append(append([]Condition{}, found[:first]...), lost...), found[first:]...)
}

package api

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
)

// alarmsPage is what the template of the alarms is filled with.
type alarmsPage struct {
	head
	Rate, Messages, AsOf string
	Live, FromHere       bool
	Groups               []alarmGroup
	// Happened is what the guard found in the run that is recorded, the last first.
	Happened       []review.Line
	HappenedUnread bool
	RunAddress     string
	Rules          []ruleGroup
}

// alarmGroup are alarms that ask for the same of a person.
type alarmGroup struct {
	Head  string
	First bool // the one to begin with
	Rows  []alarmRow
}

// alarmRow is one alarm that is not normal, or what else needs somebody: that has no address.
type alarmRow struct {
	Code, Where, Title, State, Instruction, Address string
	Pot                                             int
	Waits, Aside, Urgent, First                     bool
	MaySetAside, MayTakeOut                         bool
}

// ruleGroup are the things the guard looks for that do the same to heat.
type ruleGroup struct {
	Head string
	Rows []ruleRow
	Open bool // one of them stands
}

// ruleRow is one thing the guard looks for; Stands is where it does now, or "".
type ruleRow struct{ Code, Title, Cause, Detection, Does, Instruction, Stands string }

// mostHappened is how much of what has happened is shown; the run's own page has all of it.
const mostHappened = 12

// alarmsPage shows what waits for somebody, what to do first, what there was, and all
// that the guard looks for.
func (s *server) alarmsPage(w http.ResponseWriter, r *http.Request) {
	now := s.Alarms.Now()
	p := alarmsPage{
		head: s.head(r, view.Texts().Alarms, "/alarms"), Rate: rateWords(s.Alarms.Rate()), Messages: s.messages(), FromHere: fromHere(r),
		Live: s.Hub.Latest().Live(time.Now()), AsOf: time.Now().Format(time.TimeOnly),
	}
	p.Groups, p.Rules = s.alarmGroups(now, p.head), s.ruleGroups(now, p.head)
	if s.History != nil && s.History.Live() != 0 {
		events, err := s.History.LastEvents(s.History.Live(), mostHappened, alarmKinds[0], alarmKinds[1:]...)
		p.Happened, p.HappenedUnread = s.happened(events), err != nil // what needs somebody is shown all the same
		p.RunAddress = fmt.Sprintf("/runs/%d%s#events", s.History.Live(), p.Carry)
	}
	show(w, http.StatusOK, "alarms.html", p)
}

// needed is how many alarms need somebody: what is set aside and what is only good to know
// does not.
func needed(now []alarm.Alarm) (n int) {
	for _, a := range now {
		if !a.State.Aside() && a.Priority != alarm.Low {
			n++
		}
	}
	return n
}

// alarmGroups parts the alarms by what they ask for, the most pressing first. They come
// in the order of their priority.
func (s *server) alarmGroups(now []alarm.Alarm, h head) []alarmGroup {
	l := view.Texts()
	first, then, over := alarmGroup{Head: l.DoFirst, First: true}, alarmGroup{Head: l.DoThen}, alarmGroup{Head: l.OverNotSeen}
	toKnow, aside := alarmGroup{Head: l.ToKnow}, alarmGroup{Head: l.SetAside}
	for _, a := range now {
		in := &then
		switch {
		case a.State.Aside():
			in = &aside
		case a.State == alarm.Returned:
			in = &over
		case a.Priority == alarm.Low:
			in = &toKnow
		case len(first.Rows) == 0:
			in = &first
		}
		in.Rows = append(in.Rows, s.alarmRow(a, h))
	}
	if why := s.phonesLost(); why != nil {
		c, in := view.PhonesLost(why), &then
		if len(first.Rows) == 0 {
			in = &first
		}
		in.Rows = append(in.Rows, alarmRow{Code: c.Code, Where: c.Where, Title: c.Title, State: c.Stands, Instruction: c.Instruction, Waits: true})
	}
	return slices.DeleteFunc([]alarmGroup{first, then, over, toKnow, aside}, func(g alarmGroup) bool { return len(g.Rows) == 0 })
}

func (s *server) alarmRow(a alarm.Alarm, h head) alarmRow {
	code := a.Code.String()
	return alarmRow{
		Code: code, Pot: a.Pot + 1, Where: view.Where(a.Pot, s.Settings), Title: a.Code.Title(), State: view.AlarmWords(a.State),
		Instruction: h.In(view.InUnits(a.Code.Instruction())), Address: fmt.Sprintf("/api/v1/alarms/%s/%d", code, a.Pot+1),
		Waits: a.State.Waits(), Aside: a.State.Aside(), Urgent: a.Priority == alarm.High, First: a.First,
		MaySetAside: a.Code.MaySetAside(), MayTakeOut: a.Code.MayTakeOut(),
	}
}

// happened are events as lines.
func (s *server) happened(events []history.Event) []review.Line {
	var lines []review.Line
	for _, e := range events {
		lines = append(lines, review.Line{At: review.Clock(e.At), Where: view.Where(e.Pot, s.Settings), What: review.EventWords(e)})
	}
	return lines
}

// alarmKinds are the events that tell of alarms, and that heat was taken away.
var alarmKinds = []history.Kind{
	history.Alarm, history.AlarmOver, history.AlarmAcknowledged, history.AlarmShelved, history.AlarmOutOfService, history.AlarmTakenUp, history.HeatTripped, history.AllOff,
}

// ruleGroups are all that the guard looks for, what takes the most heat away first.
func (s *server) ruleGroups(now []alarm.Alarm, h head) []ruleGroup {
	var groups []ruleGroup
	for _, action := range []guard.Action{guard.AllOff, guard.HeaterOff, guard.Inhibit, guard.Tell} {
		group := ruleGroup{Head: view.DoesHead(action)}
		for _, c := range guard.Codes() {
			r := c.Rule()
			if r.Action != action {
				continue
			}
			in := func(text string) string { return h.In(view.InUnits(text)) }
			row := ruleRow{Code: c.String(), Title: r.Title, Cause: in(r.Cause), Detection: in(r.Detection), Does: view.ActionWords(r), Instruction: in(r.Instruction)}
			for _, a := range now {
				if a.Code == c {
					row.Stands = joinedWords(row.Stands, view.Where(a.Pot, s.Settings))
				}
			}
			group.Rows, group.Open = append(group.Rows, row), group.Open || row.Stands != ""
		}
		groups = append(groups, group)
	}
	return groups
}

func joinedWords(before, next string) string {
	if before == "" {
		return next
	}
	return before + ", " + next
}

// rateWords holds how often somebody was called against what people can bear; "" where
// nobody was.
func rateWords(calls int) string {
	l := view.Texts()
	times := fmt.Sprintf(l.RateTimes, calls)
	if calls == 1 {
		times = l.RateOnce
	}
	switch {
	case calls > alarm.Flood:
		return fmt.Sprintf(l.RateFlood, times)
	case calls > alarm.RateMost:
		return fmt.Sprintf(l.RateHigh, times)
	case calls == 0:
		return ""
	}
	return fmt.Sprintf(l.RateFine, times)
}

package api

import (
	"fmt"
	"net/http"
	"time"

	"meltwarden/control/guard"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/view"
)

// alarmsPage is what the template of the alarms is filled with.
type alarmsPage struct {
	head
	Rate, Messages string
	Live, FromHere bool
	Rows           []alarmRow
	Rules          []ruleRow
}

// alarmRow is one alarm that is not normal.
type alarmRow struct {
	Code, Where, Title, State, Instruction, Address string
	Pot                                             int
	Waits, Aside, Urgent, First                     bool
	MaySetAside, MayTakeOut                         bool
}

// ruleRow is one thing the guard looks for.
type ruleRow struct{ Code, Title, Detection, Does, Instruction string }

// alarmsPage shows the alarms that wait for somebody, and all that the guard looks
// for.
func (s *server) alarmsPage(w http.ResponseWriter, r *http.Request) {
	p := alarmsPage{head: s.head(r, view.Texts().Alarms, "/alarms"), Rate: rateWords(s.Alarms.Rate()), Messages: s.messages(), FromHere: fromHere(r), Live: s.Hub.Latest().Live(time.Now())}
	p.OtherUnit = "" // no temperature is shown
	for _, a := range s.Alarms.Now() {
		p.Rows = append(p.Rows, s.alarmRow(a))
	}
	for _, c := range guard.Codes() {
		p.Rules = append(p.Rules, ruleRow{c.String(), c.Title(), c.Rule().Detection, view.ActionWords(c.Rule()), c.Instruction()})
	}
	show(w, http.StatusOK, "alarms.html", p)
}

func (s *server) alarmRow(a alarm.Alarm) alarmRow {
	code := a.Code.String()
	return alarmRow{
		Code: code, Pot: a.Pot + 1, Where: view.Where(a.Pot, s.Settings), Title: a.Code.Title(), State: a.State.String(),
		Instruction: a.Code.Instruction(), Address: fmt.Sprintf("/api/v1/alarms/%s/%d", code, a.Pot+1),
		Waits: a.State.Waits(), Aside: a.State.Aside(), Urgent: a.Priority == alarm.High, First: a.First,
		MaySetAside: a.Code.MaySetAside(), MayTakeOut: a.Code.MayTakeOut(),
	}
}

// rateWords holds how often somebody was called against what people can bear.
func rateWords(calls int) string {
	l := view.Texts()
	switch {
	case calls > alarm.Flood:
		return fmt.Sprintf(l.RateFlood, calls)
	case calls > alarm.RateMost:
		return fmt.Sprintf(l.RateHigh, calls)
	}
	return fmt.Sprintf(l.RateFine, calls)
}

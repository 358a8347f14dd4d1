package api

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
)

// alarmShown is an alarm as JSON.
type alarmShown struct {
	Code        string  `json:"code"`
	Pot         int     `json:"pot"` // from 1; zero is the whole bench
	State       string  `json:"state"`
	Priority    string  `json:"priority"`
	Present     bool    `json:"present"`
	First       bool    `json:"first"`
	SinceS      float64 `json:"since_s"` // bench time
	Title       string  `json:"title"`
	Instruction string  `json:"instruction"`
}

// alarmList are the alarms that are not normal.
type alarmList struct {
	// Live is false when no cycle has finished for two seconds: then the alarms are not known.
	Live   bool         `json:"live"`
	Alarms []alarmShown `json:"alarms"`
	// Calls is how often somebody was called in the last ten minutes.
	Calls int `json:"calls_in_10_min"`
	// Messages says in words how messages to people elsewhere go.
	Messages string `json:"messages"`
}

// alarmDone says what was done about which alarm.
type alarmDone struct {
	Alarm string `json:"alarm"` // its code
	Done  string `json:"done"`  // acknowledge, shelve, out-of-service or back
}

// alarms lists every alarm that is not normal, and how often somebody was called in
// the last ten minutes. Without live cycles the alarms are not known.
func (s *server) alarms(w http.ResponseWriter, _ *http.Request) {
	shown := []alarmShown{}
	for _, a := range s.Alarms.Now() {
		shown = append(shown, alarmShown{
			Code: a.Code.String(), Pot: a.Pot + 1, State: a.State.String(), Priority: a.Priority.String(),
			Present: a.Present, First: a.First, SinceS: a.Since.Seconds(), Title: a.Code.Title(), Instruction: a.Code.Instruction(),
		})
	}
	live := s.Hub.Latest().Live(time.Now())
	writeJSON(w, http.StatusOK, alarmList{Live: live, Alarms: shown, Calls: s.Alarms.Rate(), Messages: s.messages()})
}

// messages says how messages to people elsewhere go.
func (s *server) messages() string {
	l := view.Texts()
	if s.Away == nil {
		return l.NoMessages
	}
	if err := s.Away(); err != nil {
		return l.MessagesFail
	}
	return l.MessagesGo
}

// alarmAction answers what a person does with one alarm: acknowledge, shelve (form
// field "minutes"), out-of-service (with the field "sure"), back.
func (s *server) alarmAction(w http.ResponseWriter, r *http.Request) {
	k, ok := s.alarmKey(r)
	if !ok {
		refuse(w, noAlarm, "there is no such alarm; /api/v1/alarms lists them")
		return
	}
	err := s.actOn(k, r)
	switch {
	case errors.Is(err, errNoAction), errors.Is(err, alarm.ErrNone):
		refuseFor(w, noAlarm, err)
	case errors.Is(err, errBusy):
		refuseFor(w, queueFull, err)
	case errors.Is(err, alarm.ErrNeeded), errors.Is(err, alarm.ErrInService), errors.Is(err, alarm.ErrHigh):
		refuseFor(w, alarmStays, err)
	case err != nil:
		refuseFor(w, wrongField, err)
	case wantsPage(r):
		http.Redirect(w, r, "/alarms", http.StatusSeeOther)
	default:
		writeJSON(w, http.StatusOK, alarmDone{k.Code.String(), r.PathValue("action")})
	}
}

// What is out of service stays so for hours, so it is asked for twice.
const sureKey, isSure = "sure", "yes"

var errNotSure = &fieldError{field: sureKey, why: "this takes it off lamp and sound until heat is enabled anew, for up to 12 hours", fix: "say so with " + sureKey + "=" + isSure}

var errNoAction = errors.New("there is nothing like that to do with an alarm: acknowledge, shelve, out-of-service, back")

func (s *server) actOn(k alarm.Key, r *http.Request) error {
	switch r.PathValue("action") {
	case "acknowledge":
		return s.Alarms.Acknowledge(k)
	case "shelve":
		minutes, err := strconv.Atoi(r.PostFormValue("minutes"))
		if err != nil {
			return wrong("minutes", r.PostFormValue("minutes"), fmt.Sprintf("write a whole number up to %.0f", alarm.MostShelved.Minutes()))
		}
		d := time.Duration(minutes) * time.Minute
		return s.Alarms.Shelve(k, d, func() error { return s.tellLamp(control.SetAside, k, d) })
	case "out-of-service":
		if r.PostFormValue(sureKey) != isSure {
			return errNotSure
		}
		return s.Alarms.TakeOut(k, func() error { return s.tellLamp(control.TakeOut, k, 0) })
	case "back":
		if err := s.tellLamp(control.TakeUp, k, 0); err != nil {
			return err
		}
		return s.Alarms.PutBack(k)
	}
	return errNoAction
}

func (s *server) tellLamp(kind control.CommandKind, k alarm.Key, d time.Duration) error {
	err := s.Submit(history.Mark{Command: control.Command{Kind: kind, Code: k.Code, Pot: k.Pot, For: d}})
	if err != nil {
		return fmt.Errorf("%w: %w", errBusy, err)
	}
	return nil
}

var errBusy = errors.New("nothing was changed; try again")

// alarmKey reads the alarm that a route names; pot 0 is the bench.
func (s *server) alarmKey(r *http.Request) (alarm.Key, bool) {
	pot, err := strconv.Atoi(r.PathValue("pot"))
	if err != nil || pot < 0 || pot > len(s.Settings.Pots) {
		return alarm.Key{}, false
	}
	for _, c := range guard.Codes() {
		if c.String() == r.PathValue("code") {
			return alarm.Key{Code: c, Pot: pot - 1}, true
		}
	}
	return alarm.Key{}, false
}

func alarmOperations() []describe.Operation {
	act := func(action, does string, form ...describe.Field) describe.Operation {
		return describe.Operation{
			Route: "POST /api/v1/alarms/{code}/{pot}/{action}", Fixed: map[string]string{"action": action}, Group: groupAlarms, Does: does, Form: form, HereOnly: true,
			Answers: answers(http.StatusOK, alarmDone{}, "It is done"), Problems: []*describe.Kind{benchOnly, noAlarm, alarmStays, queueFull, wrongField},
		}
	}
	return []describe.Operation{
		{
			Route: "GET /api/v1/alarms", Group: groupAlarms, Does: "Every alarm that is not normal",
			Answers: []describe.Answer{{Status: http.StatusOK, Body: alarmList{}, Says: "The alarms"}},
		},
		act("acknowledge", "Acknowledge an alarm"),
		act("shelve", "Take an alarm off lamp and sound for a time",
			describe.Field{Name: "minutes", Says: "for how long, in minutes", Is: describe.Whole, Least: 1, Most: alarm.MostShelved.Minutes(), Needed: true, Example: "10"}),
		act("out-of-service", "Take an alarm off lamp and sound until heat is enabled anew, for up to 12 hours",
			describe.Field{Name: sureKey, Says: "that it is meant", Choices: []string{isSure}, Needed: true, Example: isSure}),
		act("back", "Give a shelved alarm, or one out of service, back to lamp and sound"),
		aPage("/alarms", "The alarms, and all that the guard looks for", []describe.Field{inFahrenheitField}),
	}
}

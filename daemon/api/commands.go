package api

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/control"
	"meltwarden/daemon/history"
)

// accepted is the answer to a mark that was queued. It takes effect in the next
// cycle, and shows in the frame after it.
type accepted struct {
	Accepted string `json:"accepted"`
	Pot      int    `json:"pot,omitempty"` // from 1
}

// benchCommand answers a route that is about the whole bench. A shot may name its
// mould in the form field "mould".
func (s *server) benchCommand(kind control.CommandKind) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if kind == control.Silence && !fromHere(r) {
			refuse(w, benchOnly, "silence is given at the bench, by the pedal or on its own computer; ALL OFF works from here")
			return
		}
		m := history.Mark{Command: control.Command{Kind: kind}}
		var err error
		if kind == control.Shot {
			m.Text, err = typed(r, "mould")
		}
		if err != nil {
			refuseFor(w, wrongField, err)
			return
		}
		s.submit(w, r, m)
	}
}

// note answers the route of a note, in the form field "text".
func (s *server) note(w http.ResponseWriter, r *http.Request) {
	text, err := typed(r, "text")
	if err == nil && text == "" {
		err = &fieldError{field: "text", why: "empty", fix: "write what is to be remembered"}
	}
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	s.submit(w, r, history.Mark{Text: text})
}

// potCommand answers the routes that are about one pot, numbered from 1. An
// addition may say in the form fields "what" and "amount" what it was, a draw in
// "amount" how much, in mL; a new set-point needs the field "setpoint", with its unit, and
// a hand-held reading the field "reading", with its unit or with the field "unit".
func (s *server) potCommand(w http.ResponseWriter, r *http.Request) {
	number, err := strconv.Atoi(r.PathValue("pot"))
	if err != nil || number < 1 || number > len(s.Settings.Pots) {
		refuse(w, noPot, "there is no such pot; pots are numbered from 1")
		return
	}
	kind, ok := control.CommandNamed(r.PathValue("command"))
	if !ok || !kind.NeedsPot() {
		refuse(w, noMark, "there is no such mark for a pot")
		return
	}
	m := history.Mark{Command: control.Command{Kind: kind, Pot: number - 1}}
	switch kind {
	case control.ColourAdded:
		m.Text, m.Amount, err = addition(r)
		m.ML = quantity.AmountML(m.Amount)
	case control.Draw:
		m.Amount, m.ML, err = drawn(r)
	case control.TryOut:
		if !fromHere(r) {
			refuse(w, benchOnly, "a pot is tried out on the bench's own computer only: nothing elsewhere may move its heat")
			return
		}
		if f := s.Hub.Latest(); !f.Live(time.Now()) || !f.Pots[m.Pot].CanBeTried {
			refuse(w, notNow, "only a pot that has both probes and has been held at its set-point for some minutes is tried out, one trial at a time; this one can not be now")
			return
		}
	case control.Setpoint:
		if !fromHere(r) {
			refuse(w, benchOnly, "a set-point is changed on the bench's own computer only: nothing elsewhere may raise heat")
			return
		}
		m.Amount = strings.TrimSpace(r.PostFormValue("setpoint"))
		m.C, err = config.SetpointAtBench(s.Settings, number-1, m.Amount)
	case control.HandReading:
		s.handReading(w, r, m)
		return
	}
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	s.submit(w, r, m)
}

// addition reads what was added and how much. Both may be left out; an amount has
// to be one that a recipe can have, since the run may become a new version. One
// that was typed in front of what it is of is taken for an amount.
func addition(r *http.Request) (what, amount string, err error) {
	if what, err = typed(r, "what"); err != nil {
		return "", "", err
	}
	if amount, err = typed(r, "amount"); err != nil {
		return "", "", err
	}
	if amount == "" {
		if words := strings.Fields(what); len(words) > 2 {
			first := strings.Join(words[:2], " ")
			if taken, err := quantity.Amount(first); err == nil {
				return strings.Join(words[2:], " "), taken, nil
			}
		}
		return what, "", nil
	}
	taken, err := quantity.Amount(amount)
	if err != nil {
		return "", "", wrongBy("amount", amount, err)
	}
	return what, taken, nil
}

// drawn reads how much was drawn, which may be left out.
func drawn(r *http.Request) (amount string, ml float64, err error) {
	if amount, err = typed(r, "amount"); err != nil || amount == "" {
		return "", 0, err
	}
	if ml = quantity.AmountML(amount); ml == 0 {
		return "", 0, &fieldError{"amount", &amount, "no volume", "write how much was drawn, such as \"60 mL\""}
	}
	return amount, ml, nil
}

// fromHere reports whether the request comes from the bench's own computer, with
// nobody in between who says that he asks for somebody else.
func fromHere(r *http.Request) bool {
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "Via"} {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	return isLoopback(hostname(r.RemoteAddr)) && isLoopback(hostname(r.Host))
}

// mostTyped is how many letters a typed text may have.
const mostTyped = 200

// typed is a line of text in a form, "" when there is none.
func typed(r *http.Request, field string) (string, error) {
	text := strings.TrimSpace(r.PostFormValue(field))
	if utf8.RuneCountInString(text) > mostTyped || strings.ContainsFunc(text, unicode.IsControl) {
		return "", &fieldError{field: field, why: fmt.Sprintf("more than a line or %d letters", mostTyped), fix: "write less"}
	}
	return text, nil
}

// submit queues the mark. A form without script is sent back to the page.
func (s *server) submit(w http.ResponseWriter, r *http.Request, m history.Mark) {
	m.Afar = !fromHere(r)
	if err := s.Submit(m); err != nil {
		refuseFor(w, queueFull, err)
		return
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	a := accepted{Accepted: "note"}
	if m.Kind != 0 {
		a.Accepted = m.Kind.String()
	}
	if m.Kind != 0 && m.Kind.NeedsPot() {
		a.Pot = m.Pot + 1
	}
	writeJSON(w, http.StatusAccepted, a)
}

// wantsPage reports whether a form without script asks.
func wantsPage(r *http.Request) bool { return strings.Contains(r.Header.Get("Accept"), "text/html") }

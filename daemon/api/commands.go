package api

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/control"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
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

// takesBack reports whether a note is to be taken back rather than kept.
func takesBack(r *http.Request) bool {
	return r.PostFormValue("take-back") == "yes" || r.PostFormValue(ofKey) != ""
}

// ofKey is the form field with the name of the press whose note is taken back.
const ofKey = "of"

// note answers the route of a note, in the form field "text"; what is to be taken back is
// the one of the press that the field "of" names, or, with take-back=yes, the last one from
// the same place.
func (s *server) note(w http.ResponseWriter, r *http.Request) {
	if takesBack(r) {
		takes := cmp.Or(r.PostFormValue(ofKey), history.LastOwn)
		s.submit(w, r, history.Mark{Command: control.Command{Kind: control.TakeBack, Pot: history.WholeBench}, Takes: takes})
		return
	}
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
// a hand-held reading the field "reading", with its unit or with the field "unit"; what is
// taken back is named in the field "mark".
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
		if f := s.Hub.Latest(); !f.Live(time.Now()) || !f.Pots[m.Pot].CanBeTried {
			refuse(w, notNow, "only a pot that has both probes and has been held at its set-point for some minutes is tried out, one trial at a time; this one can not be now")
			return
		}
	case control.Setpoint:
		m.Amount = strings.TrimSpace(r.PostFormValue("setpoint"))
		m.C, err = config.SetpointAtBench(s.Settings, number-1, m.Amount)
	case control.HandReading:
		s.handReading(w, r, m)
		return
	case control.TakeBack:
		s.takeBack(w, r, m)
		return
	}
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	s.submit(w, r, m)
}

// takeBack answers the route that takes back the mark of a pot in the form field "mark". It
// never raises heat, so it may come from anywhere.
func (s *server) takeBack(w http.ResponseWriter, r *http.Request, m history.Mark) {
	m.Mark, _ = control.CommandNamed(r.PostFormValue("mark"))
	f := s.Hub.Latest()
	can := false
	for i, k := range control.MayTakeBack() {
		can = can || k == m.Mark && f.Live(time.Now()) && f.Pots[m.Pot].Said[i].Can
	}
	if !can {
		refuse(w, notNow, view.Texts().NothingToTakeBack)
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

// submit queues the mark.
func (s *server) submit(w http.ResponseWriter, r *http.Request, m history.Mark) {
	m.From = visitorOf(r).from()
	m.Afar = m.From != ""
	m.Key, _ = pressOf(r) // it was looked at before
	if err := s.Submit(m); err != nil {
		refuseFor(w, queueFull, err)
		return
	}
	a := accepted{Accepted: "note"}
	if m.Kind != 0 {
		a.Accepted = m.Kind.String()
	}
	if m.Kind != 0 && m.Kind.NeedsPot() && m.Pot >= 0 {
		a.Pot = m.Pot + 1
	}
	answerMark(w, r, a)
}

// answerMark answers to a mark that was taken; a form without script gets the page.
func answerMark(w http.ResponseWriter, r *http.Request, a accepted) {
	if wantsPage(r) {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusAccepted, a)
}

// wantsPage reports whether a form without script asks.
func wantsPage(r *http.Request) bool { return strings.Contains(r.Header.Get("Accept"), "text/html") }

// The fields of what is typed with a mark.
var (
	mouldField  = describe.Field{Name: "mould", Says: "the mould, in a line", Most: mostTyped, Example: "eel"}
	noteField   = describe.Field{Name: "text", Says: "what is to be remembered, in a line", Most: mostTyped, Needed: true, Example: "draught from the door"}
	ofField     = describe.Field{Name: ofKey, Says: "takes back, instead: the note of the press with this name", Most: mostKey}
	lastField   = describe.Field{Name: "take-back", Says: "yes takes back, instead: the last note from the same place", Choices: []string{"yes"}}
	amountField = describe.Field{Name: "amount", Says: "how much, with its unit, as a recipe can have it", Most: mostTyped, Example: "3 drops"}
)

func commandOperations() []describe.Operation {
	bench := func(path, does string, form ...describe.Field) describe.Operation {
		return describe.Operation{
			Route: "POST /api/v1/" + path, Group: groupMark, Does: does, Form: form,
			Answers: answers(http.StatusAccepted, accepted{}, "It is queued for the next cycle"), Problems: []*describe.Kind{queueFull},
		}
	}
	pot := func(command, does string, form ...describe.Field) describe.Operation {
		key := keyField
		if slices.Contains(alwaysCount, command) {
			key = alwaysKeyField
		}
		o := bench("pots/{pot}/{command}", does, append(form, key)...)
		o.Fixed = map[string]string{"command": command}
		o.Problems = append(o.Problems, noPot, noMark, wrongField)
		return o
	}
	here := func(o describe.Operation, kinds ...*describe.Kind) describe.Operation {
		o.HereOnly, o.Problems = true, append(append(o.Problems, benchOnly), kinds...)
		return o
	}
	shot, note := bench("shot", "A shot: the push into the mould", mouldField, keyField), bench("note", "A note", noteField, ofField, lastField, keyField)
	note.More = "Taken back is a note of the same place only: the bench's own computer, or this phone. All programs elsewhere, and all that ask through a proxy, are one place: " +
		"each should name the press in " + ofKey + ", since the last note may be another's."
	shot.Problems, note.Problems = append(shot.Problems, wrongField), append(note.Problems, wrongField)
	off := bench("off", "ALL OFF: every heater off")
	off.More = "It is not the emergency stop, which breaks the contactor and waits for no program."
	quiet := bench("silence", "The sound off: for two minutes while a warning or a trip calls, and until something new does", keyField)
	quiet.More, quiet.Problems = "From the bench's own computer, or a phone that was let in.", append(quiet.Problems, benchOnly, wrongField)
	return []describe.Operation{
		off, shot, note,
		pot("stir", "The pot was stirred"), pot("clear", "The melt is clear"),
		pot("colour-added", "Something was added to the pot", describe.Field{Name: "what", Says: "what it was, in a line", Most: mostTyped, Example: "black"}, amountField),
		pot("draw", "An injector was filled from the pot", describe.Field{Name: "amount", Says: "how much, with its unit", Most: mostTyped, Example: "60 mL"}),
		pot("arrived-cured", "The pot was already cured"), pot("lift", "The pot was lifted off its plate: its heater goes off at once"),
		pot("return", "The pot is back on its plate; heat waits for a press at the bench"),
		takeBackOperation(pot("take-back", "Take back the last mark of a kind: it was a mistake",
			describe.Field{Name: "mark", Says: "the mark", Needed: true, Choices: marksToTakeBack(), Example: marksToTakeBack()[0]})),
		quiet,
		here(pot("setpoint", "Another injection temperature for the pot",
			describe.Field{Name: "setpoint", Says: "with its unit; within the limits of recipe and bench", Needed: true, Example: "170 C"})),
		here(pot("hand-reading", "What was read in a melt that has no probe, with a thermometer of one's own",
			describe.Field{Name: "reading", Says: "with its unit, here or in unit", Needed: true, Example: "168 C"},
			describe.Field{Name: "unit", Says: "its unit, where it is not in reading", Choices: []string{"C", "F"}}), readingRefused),
		here(pot("try-out", "Try the pot out: a trial of 10 to 20 minutes that tunes its loops"), notNow),
	}
}

// takeBackOperation says what taking back does and does not.
func takeBackOperation(o describe.Operation) describe.Operation {
	o.More = "For five minutes. It never raises heat and clears no trip; what took heat away is given back by a press at the bench only."
	o.Problems = append(o.Problems, notNow)
	return o
}

func marksToTakeBack() (names []string) {
	for _, k := range control.MayTakeBack() {
		names = append(names, k.String())
	}
	return names
}

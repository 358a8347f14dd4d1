package api

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/url"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/review"
	"meltwarden/daemon/view"
	"meltwarden/dashboards"
)

// head is what every page has.
type head struct {
	Labels view.Labels
	Title  string
	Here   string // where the page stands in the navigation
	// Carry is the unit as a query, to go on with a link: "" or "?unit=f".
	Carry string
	// OtherUnit is the address of this page in the other unit.
	OtherUnit string
	Simulated bool
	// DarkOn is the media query of what is dark.
	DarkOn string
	// Now is what the bench's page says of it, and Needed how many alarms need somebody.
	Now    view.BenchWords
	Needed int
	unit   review.Unit
}

// In is a text in the page's unit.
func (h head) In(b view.Both) string {
	if h.unit == review.Fahrenheit {
		return b.F
	}
	return b.C
}

// UnitSign is the sign of the page's unit.
func (h head) UnitSign() string { return h.unit.Sign() }

func (s *server) head(r *http.Request, title, here string) head {
	h := head{Labels: view.Texts(), Title: title, Here: here, Simulated: s.Simulated, DarkOn: darkOn(r, everySize), unit: unitOf(r)}
	h.Now, h.Needed = s.now().Shown, needed(s.Alarms.Now())
	if s.phonesLost() != nil { // no alarm of the bench, and first of what is to be done
		h.Needed++
	}
	other := r.URL.Query()
	if unitOf(r) == review.Fahrenheit {
		h.Carry = "?" + unitQuery(review.Fahrenheit).Encode()
		if other.Del(unitKey); chosen(r, unitKey) == inFahrenheit {
			other.Set(unitKey, inCelsius)
		}
	} else {
		other.Set(unitKey, inFahrenheit)
	}
	if r.Method != http.MethodPost { // an address that takes something shows nothing by itself
		h.OtherUnit = address(r.URL.Path, other)
	}
	return h
}

// unitless is the head of a page on which no words change with the unit: it shows no
// temperature, or each as it was typed or in both units.
func (s *server) unitless(r *http.Request, title, here string) head {
	h := s.head(r, title, here)
	h.OtherUnit = ""
	return h
}

// Fahrenheit stands in the address of a page, so that a link shows what its sender saw;
// an address without a unit shows the one that was chosen in this browser.
const (
	unitKey      = "unit"
	inFahrenheit = "f"
	inCelsius    = "c"
)

func unitOf(r *http.Request) review.Unit {
	switch r.URL.Query().Get(unitKey) {
	case inFahrenheit:
		return review.Fahrenheit
	case inCelsius:
		return review.Celsius
	}
	return chosen(r, unitKey) == inFahrenheit
}

// unitQuery carries the unit on.
func unitQuery(u review.Unit) url.Values {
	if u == review.Fahrenheit {
		return url.Values{unitKey: {inFahrenheit}}
	}
	return nil
}

// address is a path with a query, which may be empty.
func address(path string, q url.Values) string {
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}

// show answers with a page or a part of one. It is made whole first, so that a
// failing template leaves no half page behind.
func show(w http.ResponseWriter, status int, name string, data any) {
	var out bytes.Buffer
	if err := dashboards.Pages.ExecuteTemplate(&out, name, data); err != nil {
		problem(w, http.StatusInternalServerError, err.Error())
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(out.Bytes())
}

// troublePage is what the template for a problem is filled with.
type troublePage struct {
	head
	Detail, Help string
}

// showTrouble says in words why something is not shown or done: because of who asks, or
// because it can not be now.
func (s *server) showTrouble(w http.ResponseWriter, r *http.Request, status int, fromElsewhere bool, detail string) {
	l := view.Texts()
	title, help := l.Trouble, l.TroubleHelp
	if fromElsewhere {
		title, help = l.NotFromHere, l.NotFromHereHelp
	}
	show(w, status, "trouble.html", troublePage{s.unitless(r, title, ""), detail, help})
}

// readable turns a problem into a page, for people.
func (s *server) readable(answer http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		h := held{under: w, header: w.Header(), status: http.StatusOK}
		answer(&h, r)
		var d Problem
		if h.status < http.StatusBadRequest || json.Unmarshal(h.body.Bytes(), &d) != nil {
			w.WriteHeader(h.status)
			w.Write(h.body.Bytes())
			return
		}
		s.showTrouble(w, r, h.status, d.Type == typeOf(benchOnly), d.Detail)
	}
}

// forPeople turns the problem of a form without script into a page.
func (s *server) forPeople(answer http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && wantsPage(r) {
			s.readable(answer)(w, r)
			return
		}
		answer(w, r)
	}
}

// held is an answer that has not been sent yet.
type held struct {
	under  http.ResponseWriter
	header http.Header
	status int
	body   bytes.Buffer
	counts bool // a press that is refused
}

// Unwrap lets a handler move the deadlines of what is underneath.
func (h *held) Unwrap() http.ResponseWriter { return h.under }

func (h *held) Header() http.Header         { return h.header }
func (h *held) WriteHeader(status int)      { h.status = status }
func (h *held) Write(p []byte) (int, error) { return h.body.Write(p) }

func pageOperations() []describe.Operation {
	in := []describe.Field{inFahrenheitField}
	return []describe.Operation{
		aPage("/runs", "Past runs", append(filterFields(), inFahrenheitField), doesNotFit, notReadable),
		aPage("/runs/{run}", "One run", append(styleFields()[:2], inFahrenheitField), runKinds...),
		aPage("/runs/{run}/beside", "Another run over one", []describe.Field{
			{Name: "other", Says: "the other run's number", Is: describe.Whole, Example: "2"}, {Name: "align", Says: "what falls together", Choices: []string{byReady, byShot}},
			{Name: "shot", Says: "the run's shot", Is: describe.Whole}, {Name: "their", Says: "the other's shot", Is: describe.Whole}, inFahrenheitField,
		}, kinds(shotKinds, doesNotFit)...),
		aPage("/runs/now/last-shot", "The last shot of the run being recorded: a part of the bench's page", in, notReadable),
		aPage("/runs/now/potfuls", "What is in the pots: a part of the bench's page", in, notReadable),
		aPage("/batches", "Every batch", in, notReadable),
		aPage("/batches/{batch}", "One batch", in, noBatch, notReadable),
		aPage(pagesPath, "Every page", in),
		aPage("/find", "Words in all that is kept", []describe.Field{{Name: "words", Says: "the words, in any order", Most: mostTyped, Example: "eel bled"}, inFahrenheitField}, wrongField, notReadable, otherSite, tooBusy),
		aPage("/commissioning", "What is proven of the bench", in, notReadable),
		aPage("/estimates", "How a melt cools and flows", []describe.Field{{Name: questionKey, Says: "the question that is asked; its fields go with it"}, inFahrenheitField}),
	}
}

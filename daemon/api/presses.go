package api

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"unicode"

	"meltwarden/control"
	"meltwarden/daemon/describe"
	"meltwarden/daemon/history"
)

// A mark whose answer was lost is sent again, and must not count twice. So every press has
// a name of its own, made at the press and sent with each try: what comes again from the
// same place, for the same route and by the same name is answered as before and counts no
// more. What was refused is forgotten, but for what counted all the same: a reading that is
// doubted. ALL OFF has none of this: it always counts. Nor has a lift, which may have been
// followed by a return since and takes heat away, nor a set-point, of which the last word
// holds: a second one that was meant must not be lost, and one that was not changes nothing.

// keyKey is the form field with the name of a press.
const keyKey = "key"

var keyField = describe.Field{
	Name: keyKey, Most: mostKey,
	Says: "a name for this press, random and made anew for each: what is sent again with it, because no answer came, counts once",
}

var alwaysKeyField = describe.Field{Name: keyKey, Most: mostKey, Says: "a name for this press; this mark counts each time that it is sent"}

const (
	mostKey     = 64  // letters
	mostPresses = 512 // remembered
)

// presses are the last ones that counted. The zero value knows of none.
type presses struct {
	mu       sync.Mutex
	seen     []press
	recalled atomic.Int64 // the run of which the history's were asked for
}

// press is one that counted; refused is its answer where it was refused all the same.
type press struct {
	name    string
	refused *held
}

// pressRoutes are those whose presses count once.
var pressRoutes = []string{"POST /api/v1/silence", "POST /api/v1/shot", "POST /api/v1/note", potRoute}

// alwaysCount are the marks of a pot that count each time.
var alwaysCount = []string{control.Lift.String(), control.Setpoint.String()}

// once answers a press that counted already as it was answered then.
func (s *server) once(pattern string, answer http.HandlerFunc) http.HandlerFunc {
	if !slices.Contains(pressRoutes, pattern) {
		return answer
	}
	return func(w http.ResponseWriter, r *http.Request) {
		key, err := pressOf(r)
		switch {
		case err != nil:
			refuseFor(w, wrongField, err)
		case key == "" || slices.Contains(alwaysCount, r.PathValue("command")):
			answer(w, r)
		default:
			s.count(w, r, pressName(visitorOf(r).from(), r.URL.Path, key), answer)
		}
	}
}

// count answers a press by its name.
func (s *server) count(w http.ResponseWriter, r *http.Request, name string, answer http.HandlerFunc) {
	s.presses.recall(s.History)
	h := held{under: w, header: w.Header(), status: http.StatusOK}
	s.presses.count(&h, r, name, answer)
	w.WriteHeader(h.status)
	w.Write(h.body.Bytes())
}

// count lets one of several that come at once count, and the others wait for its answer.
func (p *presses) count(h *held, r *http.Request, name string, answer http.HandlerFunc) {
	p.mu.Lock()
	defer p.mu.Unlock() // though an answer panics
	if i := slices.IndexFunc(p.seen, func(was press) bool { return was.name == name }); i >= 0 {
		p.seen[i].answer(h, r)
	} else if answer(h, r); h.status < http.StatusBadRequest {
		p.remember(press{name: name})
	} else if h.counts {
		h.under = nil // it is not kept
		p.remember(press{name, h})
	}
}

// answer answers a press that counted already.
func (p press) answer(h *held, r *http.Request) {
	if p.refused == nil {
		answerMark(h, r, acceptedOf(r))
		return
	}
	h.header.Set("Content-Type", p.refused.header.Get("Content-Type"))
	h.status, h.body = p.refused.status, p.refused.body
}

// countsThough says of a press that is about to be refused that it counts: sent again it is
// refused with the same words, and not taken for another.
func countsThough(w http.ResponseWriter) {
	if h, is := w.(*held); is {
		h.counts = true
	}
}

func (p *presses) remember(one press) {
	p.seen = append(p.seen, one)
	p.seen = p.seen[max(0, len(p.seen)-mostPresses):]
}

// recall takes up those of the run being recorded that counted before the program was
// started, at the run's first press. It is asked for once, and no other press waits for it:
// a history that can not be read, or is slow, must not hold up a mark. What counted before
// is then not known, and counts again.
func (p *presses) recall(h *history.Store) {
	if h == nil {
		return
	}
	run := h.Live()
	if run == 0 || p.recalled.Swap(run) == run {
		return
	}
	events, err := h.Presses(run, mostPresses/2)
	if err != nil {
		return
	}
	var before []press
	for _, e := range slices.Backward(events) {
		if path := routeOf(e); path != "" {
			before = append(before, press{name: pressName(e.From, path, e.Key)})
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.seen = append(before, p.seen...)
	p.seen = p.seen[max(0, len(p.seen)-mostPresses):]
}

func pressName(from, path, key string) string { return key + " " + path + " " + from }

// routeOf is where a mark was sent to; "" for one that is not looked for.
func routeOf(e history.Event) string {
	kind := history.CommandOf(e.Kind)
	switch {
	case e.Pot != history.WholeBench:
		return "/api/v1/pots/" + strconv.Itoa(e.Pot+1) + "/" + kind.String()
	case kind == control.Shot || kind == control.Silence:
		return "/api/v1/" + kind.String()
	case e.Kind == history.Note || e.Kind == history.TakenBack:
		return "/api/v1/note"
	}
	return ""
}

// pressOf is the name of a press; "" where it has none.
func pressOf(r *http.Request) (string, error) {
	key := r.PostFormValue(keyKey)
	if len(key) > mostKey || strings.ContainsFunc(key, func(l rune) bool { return l > unicode.MaxASCII || !unicode.IsGraphic(l) || l == ' ' }) {
		return "", &fieldError{field: keyKey, why: "more than 64 letters, or others than those of ASCII", fix: "make it of letters and digits"}
	}
	return key, nil
}

// acceptedOf is the answer to what a route takes.
func acceptedOf(r *http.Request) accepted {
	parts := strings.Split(strings.TrimPrefix(r.URL.Path, "/api/v1/"), "/")
	if len(parts) == 3 {
		pot, _ := strconv.Atoi(parts[1]) // it was a number when it counted
		return accepted{Accepted: parts[2], Pot: pot}
	}
	if parts[0] == "note" && takesBack(r) {
		return accepted{Accepted: control.TakeBack.String()}
	}
	return accepted{Accepted: parts[0]}
}

package api

import (
	"cmp"
	"errors"
	"net/http"
	"time"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/qr"
	"meltwarden/daemon/view"
)

// The addresses of phones, and where a phone goes to be paired.
const (
	phonesPath = "/phones"
	pairPath   = "/pair"
)

// phonesPage is what the template of the phones is filled with.
type phonesPage struct {
	head
	Rows []phoneRow
	// Shut says why no phone can reach this computer; "" where one can.
	Shut string
	// Lost says that the phones are out, and why; "" where they are not.
	Lost string
	For  string // offered as the time for which one is let in
	// Added is one that was added just now, with its codes.
	Added *addedPhone
}

// phoneRow is a phone in words.
type phoneRow struct {
	ID                     int64
	Name, Made, Ends, Seen string
	State                  string
	MayBeRevoked           bool
}

// addedPhone is what a new phone is to be shown, once.
type addedPhone struct {
	Name, Until, CodeUntil string
	Ways                   []pairWay
}

// pairWay is one address to pair a phone at.
type pairWay struct {
	URL, On, Path string
	Side          int
	Public        bool
}

func phoneRowOf(p phone.Phone, now time.Time) phoneRow {
	state := p.State(now)
	return phoneRow{
		ID: p.ID, Name: p.Name, Made: view.PhoneTime(p.Made), Ends: view.PhoneTime(p.Ends), Seen: view.PhoneTime(p.Seen), State: state.Words(),
		MayBeRevoked: state.MayBeRevoked(),
	}
}

// phonesHere answers where no phone can be let in at all.
func (s *server) phonesHere(w http.ResponseWriter) bool {
	if s.Phones == nil {
		refuse(w, nothingKept, "no phones are kept here")
	}
	return s.Phones != nil
}

// phonesPage lists the phones, and offers to add one.
func (s *server) phonesPage(w http.ResponseWriter, r *http.Request) {
	if s.phonesHere(w) {
		s.showPhones(w, r, nil)
	}
}

func (s *server) showPhones(w http.ResponseWriter, r *http.Request, added *addedPhone) {
	all, err := s.Phones.List()
	if err != nil {
		refuseFor(w, phonesFail, err)
		return
	}
	p := phonesPage{head: s.unitless(r, view.Texts().Phones, phonesPath), Added: added, For: cmp.Or(r.PostFormValue("for"), phone.DefaultForTyped)}
	if len(phone.Addresses(s.Listen)) == 0 {
		p.Shut = view.PhonesShut(s.Listen)
	}
	if why := s.Phones.Trouble(); why != nil {
		p.Lost = view.PhonesLost(why).Instruction
	}
	for _, one := range all {
		p.Rows = append(p.Rows, phoneRowOf(one, s.door.now()))
	}
	show(w, http.StatusOK, "phones.html", p)
}

// phoneList are all phones there ever were.
type phoneList struct {
	Phones []phone.Shown `json:"phones"` // the last first
}

// phoneAdded is a new phone, and how it is paired.
type phoneAdded struct {
	Phone phone.Shown `json:"phone"`
	// PairAt are addresses to open on the phone, the likeliest first; the code in them is good once.
	PairAt []string `json:"pair_at"`
	// PairUntil is until when the code is good.
	PairUntil time.Time `json:"pair_until"`
}

// phoneChanged is a phone that was paired or put out.
type phoneChanged struct {
	Phone phone.Shown `json:"phone"`
}

// phones lists the phones as data.
func (s *server) phones(w http.ResponseWriter, _ *http.Request) {
	if !s.phonesHere(w) {
		return
	}
	all, err := s.Phones.List()
	if err != nil {
		refuseFor(w, phonesFail, err)
		return
	}
	shown := []phone.Shown{}
	for _, p := range all {
		shown = append(shown, p.Shown(s.door.now()))
	}
	writeJSON(w, http.StatusOK, phoneList{shown})
}

// addPhone makes room for the phone in the form field "name", for the time in "for", and
// shows its pairing code, this once.
func (s *server) addPhone(w http.ResponseWriter, r *http.Request) {
	if !s.phonesHere(w) {
		return
	}
	ways := phone.Addresses(s.Listen)
	if len(ways) == 0 {
		refuse(w, notReached, view.PhonesShut(s.Listen))
		return
	}
	valid, err := phone.ParseFor(cmp.Or(r.PostFormValue("for"), phone.DefaultForTyped))
	if err != nil {
		refuseFor(w, wrongField, err)
		return
	}
	p, code, err := s.Phones.Add(r.PostFormValue("name"), valid, s.door.now())
	if err != nil {
		refuseFor(w, kindOfPhones(err), err)
		return
	}
	added, err := addedOf(p, code, ways)
	switch {
	case err != nil:
		problem(w, http.StatusInternalServerError, err.Error())
	case wantsPage(r):
		s.showPhones(w, r, added)
	default:
		var urls []string
		for _, way := range added.Ways {
			urls = append(urls, way.URL)
		}
		writeJSON(w, http.StatusCreated, phoneAdded{p.Shown(s.door.now()), urls, p.CodeEnds})
	}
}

func addedOf(p phone.Phone, code string, addresses []phone.Address) (*addedPhone, error) {
	added := &addedPhone{Name: p.Name, Until: view.PhoneTime(p.Ends), CodeUntil: p.CodeEnds.Local().Format("15:04")}
	for _, a := range addresses {
		drawn, err := qr.Of(a.URL(pairPath + "/" + code))
		if err != nil {
			return nil, err
		}
		added.Ways = append(added.Ways, pairWay{URL: drawn.Text(), On: a.On, Path: drawn.Path(), Side: drawn.Side(), Public: a.Public})
	}
	return added, nil
}

// kindOfPhones tells a file that can not be used from what was typed.
func kindOfPhones(err error) *describe.Kind {
	var trouble *phone.TroubleError
	switch {
	case errors.As(err, &trouble):
		return phonesFail
	case errors.Is(err, phone.ErrNoPhone):
		return noPhone
	}
	return wrongField
}

// revokePhone puts a phone out.
func (s *server) revokePhone(w http.ResponseWriter, r *http.Request) {
	if !s.phonesHere(w) {
		return
	}
	p, err := s.Phones.Revoke(r.PathValue("phone"), s.door.now())
	switch {
	case err != nil:
		refuseFor(w, kindOfPhones(err), err)
	case wantsPage(r):
		http.Redirect(w, r, phonesPath, http.StatusSeeOther)
	default:
		writeJSON(w, http.StatusOK, phoneChanged{p.Shown(s.door.now())})
	}
}

// pairShown is what the template for pairing is filled with.
type pairShown struct {
	head
	Code, Detail string
}

// pairPage asks on the phone whether it is to be let in. It uses up nothing: cameras and
// messengers open addresses by themselves, to show what is there.
func (s *server) pairPage(w http.ResponseWriter, r *http.Request) {
	s.showPair(w, r, http.StatusOK, r.PathValue("code"), "")
}

func (s *server) showPair(w http.ResponseWriter, r *http.Request, status int, code, detail string) {
	p := pairShown{head: s.head(r, view.Texts().PairTitle, ""), Code: code, Detail: detail}
	show(w, status, "pair.html", p)
}

// pair trades the pairing code in the form field "code" for the cookie by which the phone
// is known.
func (s *server) pair(w http.ResponseWriter, r *http.Request) {
	if s.Phones == nil {
		refuse(w, nothingKept, "no phones are kept here")
		return
	}
	if visitorOf(r).who == ownComputer {
		refuse(w, notReached, view.Texts().PairElsewhere)
		return
	}
	if no, ok := s.door.slow(r); !ok {
		s.turnAway(w, r, no)
		return
	}
	now := s.door.now()
	p, token, err := s.Phones.Pair(r.PostFormValue("code"), now)
	switch {
	case errors.Is(err, phone.ErrCode):
		s.door.tries.Wrong(hostname(r.RemoteAddr), now)
		s.refuse(w, r, wrongCode, view.Texts().WrongCode)
		return
	case err != nil:
		s.refuse(w, r, phonesFail, view.Texts().PhonesFail)
		return
	}
	http.SetCookie(w, &http.Cookie{
		Name: cookieOf(r), Value: token, Path: "/", MaxAge: int(p.Ends.Sub(now).Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
	if wantsPage(r) {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	writeJSON(w, http.StatusOK, phoneChanged{p.Shown(now)})
}

func phoneOperations() []describe.Operation {
	may := []*describe.Kind{nothingKept, benchOnly, phonesFail}
	code := describe.Field{Name: "code", Says: "the pairing code", Needed: true, Most: 80, Example: "7-abcdefghijklmnopqrstuvwxyz"}
	return []describe.Operation{
		{
			Route: "GET /api/v1" + phonesPath, Group: groupPhones, Does: "The phones: until when each is let in, and when it was seen last", HereOnly: true,
			Answers: []describe.Answer{{Status: http.StatusOK, Body: phoneList{}, Says: "The phones"}}, Problems: may,
		},
		{
			Route: "POST /api/v1" + phonesPath, Group: groupPhones, Does: "Let a phone in: a pairing code, good once and for ten minutes", HereOnly: true,
			Form: []describe.Field{
				{Name: "name", Says: "the phone's name", Needed: true, Most: 40, Example: "blue"},
				{Name: "for", Says: "for how long, from 10 min to 365 days", Most: 20, Example: phone.DefaultForTyped},
			},
			Answers:  []describe.Answer{{Status: http.StatusCreated, Body: phoneAdded{}, Says: "The code"}, {Status: 200, MediaType: "text/html"}},
			Problems: kinds(may, notReached, wrongField),
		},
		{
			Route: "POST /api/v1" + phonesPath + "/{phone}/revoke", Group: groupPhones, Does: "Put a phone out at once", HereOnly: true,
			Answers: answers(http.StatusOK, phoneChanged{}, "It is out"), Problems: kinds(may, noPhone),
		},
		{
			Route: "POST " + pairPath, Group: groupPhones, Does: "Trade a pairing code for the cookie of a phone", More: "It needs nothing but the code.",
			Form:    []describe.Field{code},
			Answers: answers(http.StatusOK, phoneChanged{}, "The cookie"), Problems: []*describe.Kind{nothingKept, notReached, wrongCode, phonesFail},
		},
		aPage(phonesPath, "The phones", nil, may...),
		aPage(pairPath, "Asks for a pairing code", nil),
		aPage(pairPath+"/{code}", "Asks whether the phone is to be let in", nil),
	}
}

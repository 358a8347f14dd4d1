package api

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"math"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/daemon/describe"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/photo"
	"meltwarden/daemon/view"
)

// cookieName begins the name of the cookie that a phone carries. The port follows: to a
// browser two benches on one computer are the same.
const cookieName = "meltwarden-"

func cookieOf(r *http.Request) string {
	port := (&url.URL{Host: r.Host}).Port()
	if port == "" {
		port = "80"
	}
	return cookieName + port
}

// visitor is who asks.
type visitor struct {
	who   who
	phone phone.Phone // of a phone
}

// from is what a visitor's marks are kept to come from; "" is the bench's own computer.
func (v visitor) from() string {
	switch v.who {
	case ownComputer:
		return ""
	case phoneIn:
		return "phone " + v.phone.Name
	}
	return "another computer"
}

type visitorKey struct{}

// visitorOf is who sent a request that the door has let through.
func visitorOf(r *http.Request) visitor {
	v, _ := r.Context().Value(visitorKey{}).(visitor)
	return v
}

// door decides who gets in. Loopback is not a lock: a web page from elsewhere
// can make a browser on this computer ask for anything, under a name of its own
// that resolves to 127.0.0.1; so the Host header is checked as well.
type door struct {
	hosts  []string
	digest []byte       // of the bench file's token; nil when there is none
	phones *phone.Store // nil lets none in
	tries  phone.Tries
	now    func() time.Time
}

func newDoor(o Options) *door {
	d := &door{phones: o.Phones, now: time.Now}
	if o.Token != "" {
		d.digest = digest(o.Token)
	}
	for _, h := range o.Hosts {
		d.hosts = append(d.hosts, strings.ToLower(h))
	}
	return d
}

// digest makes tokens of any length comparable in constant time.
func digest(token string) []byte {
	sum := sha256.Sum256([]byte(token))
	return sum[:]
}

// refusal is why somebody is not let in.
type refusal struct {
	kind   *describe.Kind
	detail string
	// forget tells a browser to drop what it carries: it is nobody's.
	forget bool
	wait   time.Duration
}

// guard lets in whom it knows. Others get to what is open to all.
func (s *server) guard(mux *http.ServeMux, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name := hostname(r.Host)
		if !isLoopback(name) && !slices.Contains(s.door.hosts, name) && !isHere(r, name) {
			refuse(w, unknownName, "this computer is not known under that name; use the address it printed at its start, or its own name")
			return
		}
		v, no := s.door.visitor(r)
		if _, pattern := mux.Handler(r); v.who == stranger && deedOf(pattern, "") != openToAll {
			s.turnAway(w, r, no)
			return
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), visitorKey{}, v)))
	})
}

// isHere reports whether a name is the very address that a request came to. A router may
// give this computer another one while the program runs; a strange name never is one.
func isHere(r *http.Request, name string) bool {
	at, is := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	return is && hostname(at.String()) == name
}

func (s *server) turnAway(w http.ResponseWriter, r *http.Request, no refusal) {
	if no.kind == tokenNeeded {
		w.Header().Set("WWW-Authenticate", "Bearer")
		if !wantsPage(r) && no.detail == view.Texts().NotLetIn {
			no.detail += view.Texts().ForPrograms
		}
	}
	if no.forget {
		http.SetCookie(w, &http.Cookie{Name: cookieOf(r), Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	}
	if no.wait > 0 {
		w.Header().Set("Retry-After", retryAfter(no.wait))
	}
	s.refuse(w, r, no.kind, no.detail)
}

func retryAfter(wait time.Duration) string {
	return strconv.Itoa(int(math.Ceil(wait.Seconds())))
}

// refuse tells a person on a page, and a program as a problem.
func (s *server) refuse(w http.ResponseWriter, r *http.Request, k *describe.Kind, detail string) {
	switch {
	case !wantsPage(r):
		refuse(w, k, detail)
	case visitorOf(r).who == stranger:
		s.showPair(w, r, k.Status, "", detail)
	default:
		s.showTrouble(w, r, k.Status, k == benchOnly, detail)
	}
}

// hostname is the lower-case host of "host", "host:port", "[v6]" or "[v6]:port".
func hostname(hostport string) string {
	return strings.ToLower((&url.URL{Host: hostport}).Hostname())
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// visitor tells who asks; for a stranger also why he is none that is known.
func (d *door) visitor(r *http.Request) (visitor, refusal) {
	switch {
	case fromHere(r):
		return visitor{who: ownComputer}, refusal{}
	case isLoopback(hostname(r.Host)) && isLoopback(hostname(r.RemoteAddr)):
		return visitor{who: throughProxy}, refusal{}
	case d.digest == nil && d.phones == nil:
		return visitor{}, refusal{kind: noToken, detail: "only this computer gets in; set a token in the bench file to let programs elsewhere in"}
	}
	scheme, bearer, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	carried, err := r.Cookie(cookieOf(r))
	switch {
	case strings.EqualFold(scheme, "Bearer"):
		return d.byToken(r, bearer)
	case err == nil && d.phones != nil:
		return d.byCookie(r, carried.Value)
	}
	return visitor{}, refusal{kind: tokenNeeded, detail: view.Texts().NotLetIn}
}

// slow is the refusal of who has tried too many wrong secrets; ok is false for it.
func (d *door) slow(r *http.Request) (no refusal, ok bool) {
	wait := d.tries.Wait(hostname(r.RemoteAddr), d.now())
	return refusal{kind: tooManyTries, detail: view.Texts().TooManyTries, wait: wait}, wait == 0
}

// wrong counts a wrong secret and returns the refusal. Only who carries one is slowed down:
// a guesser next door must not keep a phone from ALL OFF.
func (d *door) wrong(r *http.Request, no refusal) refusal {
	if slow, ok := d.slow(r); !ok {
		return slow
	}
	d.tries.Wrong(hostname(r.RemoteAddr), d.now())
	return no
}

// byToken is who carries the bench file's token in a header.
func (d *door) byToken(r *http.Request, bearer string) (visitor, refusal) {
	if d.digest != nil && subtle.ConstantTimeCompare(d.digest, digest(bearer)) == 1 {
		return visitor{who: script}, refusal{}
	}
	return visitor{}, d.wrong(r, refusal{kind: tokenNeeded, detail: view.Texts().NotLetIn})
}

// byCookie is the phone that carries a secret of its own. One that is out already has not
// guessed it.
func (d *door) byCookie(r *http.Request, carried string) (visitor, refusal) {
	p, err := d.phones.Who(carried, d.now())
	switch {
	case err == nil:
		return visitor{who: phoneIn, phone: p}, refusal{}
	case errors.Is(err, phone.ErrUnknown) && d.setAside():
		// It may be in the file that was set aside, and is let in again where that is mended.
		return visitor{}, refusal{kind: tokenNeeded, detail: view.Texts().NotLetIn}
	case errors.Is(err, phone.ErrUnknown):
		return visitor{}, d.wrong(r, refusal{kind: tokenNeeded, detail: view.Texts().NotLetIn, forget: true})
	case errors.Is(err, phone.ErrExpired):
		return visitor{}, refusal{kind: tokenNeeded, detail: view.Texts().PhoneExpired}
	case errors.Is(err, phone.ErrRevoked):
		return visitor{}, refusal{kind: tokenNeeded, detail: view.Texts().PhonePutOut}
	}
	return visitor{}, refusal{kind: phonesFail, detail: view.Texts().PhonesFail}
}

// setAside reports whether the file of the phones was, and none has been let in since.
func (d *door) setAside() bool {
	var aside *phone.SetAsideError
	return errors.As(d.phones.Trouble(), &aside)
}

// still reports whether who was let in still is: a stream outlasts its door.
func (d *door) still(v visitor) bool {
	return v.who != phoneIn || d.phones.Still(v.phone.ID, d.now()) == nil
}

// sameOrigin refuses what a page from elsewhere makes a browser send.
func sameOrigin(next http.Handler) http.Handler {
	p := http.NewCrossOriginProtection()
	p.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		refuse(w, otherSite, "marks are taken from this computer's own page only")
	}))
	return p.Handler(next)
}

// maxBody is the largest request body in bytes: a form of a few lines. That of a recipe
// holds its whole text, in which a form makes up to three bytes of one.
const (
	maxBody       = 4096
	maxRecipeBody = 128 << 10
)

func mostOf(r *http.Request) int64 {
	switch {
	case strings.HasPrefix(r.URL.Path, "/api/v1/recipes/"):
		return maxRecipeBody
	case r.Method != http.MethodPost || !fromHere(r):
	case strings.HasSuffix(r.URL.Path, photosPath):
		return photo.MostBytes + aroundFile
	case r.URL.Path == importPath:
		return mostArchive + aroundFile
	}
	return maxBody
}

// limitBody refuses large bodies and keeps the others from growing.
func limitBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		most := mostOf(r)
		if r.ContentLength > most {
			refuse(w, tooLarge, tooMuch(most))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next.ServeHTTP(w, r)
	})
}

func tooMuch(most int64) string {
	switch most {
	case maxBody:
		return "more than a form of a few lines; write less"
	case maxRecipeBody:
		return "more than a recipe; write less"
	}
	return fmt.Sprintf("larger than %d MB; make it smaller", most>>20)
}

// withSecurityHeaders lets the page use its own files and nothing else.
func withSecurityHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "+
			"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		// With none at all a browser elsewhere says of a form without script that it comes from
		// nowhere: it would be taken for another site's.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

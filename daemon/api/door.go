package api

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"meltwarden/daemon/photo"
)

// cookieName holds the token's digest after a visit with "?token=".
const cookieName = "meltwarden"

// door decides who gets in. Loopback is not a lock: a web page from elsewhere
// can make a browser on this computer ask for anything, under a name of its own
// that resolves to 127.0.0.1; so the Host header is checked as well.
type door struct {
	hosts  []string
	digest string // of the token; empty when there is none
}

func newDoor(hosts []string, token string) *door {
	d := &door{digest: digest(token)}
	for _, h := range hosts {
		d.hosts = append(d.hosts, strings.ToLower(h))
	}
	return d
}

// digest makes tokens of any length comparable in constant time, and keeps the
// token itself out of the cookie.
func digest(token string) string {
	if token == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

func (d *door) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := hostname(r.Host)
		switch {
		case !isLoopback(host) && !slices.Contains(d.hosts, host):
			refuse(w, unknownName, "this computer is not known under that name; use the address it printed at its start, or its own name")
		case isLoopback(host) && isLoopback(hostname(r.RemoteAddr)), d.known(r):
			next.ServeHTTP(w, r)
		case d.introduces(r):
			d.remember(w, r)
		case d.digest == "":
			refuse(w, noToken, "only this computer gets in; set a token in the bench file to let others in")
		default:
			w.Header().Set("WWW-Authenticate", "Bearer")
			refuse(w, tokenNeeded, "a token is needed: as a bearer token, or once as /?token=…")
		}
	})
}

// hostname is the lower-case host of "host", "host:port", "[v6]" or "[v6]:port".
func hostname(hostport string) string {
	return strings.ToLower((&url.URL{Host: hostport}).Hostname())
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// known reports whether the request carries the token, in a header or a cookie.
func (d *door) known(r *http.Request) bool {
	if scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " "); strings.EqualFold(scheme, "Bearer") {
		return d.fits(digest(token))
	}
	c, err := r.Cookie(cookieName)
	return err == nil && d.fits(c.Value)
}

// introduces reports whether this is a first visit to the page with the token.
func (d *door) introduces(r *http.Request) bool {
	return r.Method == http.MethodGet && r.URL.Path == "/" && d.fits(digest(r.URL.Query().Get("token")))
}

func (d *door) fits(digest string) bool {
	return d.digest != "" && subtle.ConstantTimeCompare([]byte(d.digest), []byte(digest)) == 1
}

// remember trades the token for a cookie and takes it out of the address, where
// it would stay in the browser's history.
func (d *door) remember(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, &http.Cookie{
		Name: cookieName, Value: d.digest, Path: "/",
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
	http.Redirect(w, r, "/", http.StatusSeeOther)
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
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

package api

import (
	"compress/gzip"
	"io"
	"net/http"
	"strings"
	"sync"
)

// worthIt are the media types that get a good deal smaller. A stream is not among
// them: it would wait in the packer. A secret can not be guessed from the length of
// an answer: a stranger's page gets none that holds one.
var worthIt = map[string]bool{
	"text/html": true, "text/css": true, "text/javascript": true, "image/svg+xml": true, "application/json": true,
}

// compressed packs answers for readers that say they can unpack them.
func compressed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Add("Vary", "Accept-Encoding")
		if !unpacks(r) {
			next.ServeHTTP(w, r)
			return
		}
		p := &packed{under: w, to: w}
		next.ServeHTTP(p, r)
		p.end()
	})
}

// packers are used over and over: one takes most of a megabyte, far more than what it packs.
var packers = sync.Pool{New: func() any { return gzip.NewWriter(nil) }}

// end packs what is left, and lets the packer go. Where the handler broke off it is not
// called: such a packer is never used again.
func (p *packed) end() {
	if p.packer == nil {
		return
	}
	_ = p.packer.Close()       // a reader that went away unpacks nothing
	p.packer.Reset(io.Discard) // it holds on to no answer
	packers.Put(p.packer)
}

// unpacks reports whether the reader takes gzip: RFC 9110, 12.5.3, where a weight of
// zero says no.
func unpacks(r *http.Request) bool {
	for one := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, weight, _ := strings.Cut(strings.ReplaceAll(one, " ", ""), ";")
		if name == "gzip" {
			return weight == "" || strings.Trim(strings.TrimPrefix(weight, "q="), "0.") != ""
		}
	}
	return false
}

// packed is an answer that is packed if its type is worth it.
type packed struct {
	under  http.ResponseWriter
	to     io.Writer
	packer *gzip.Writer
	begun  bool
}

// Unwrap lets a handler flush, and move the deadlines of, what is underneath.
func (p *packed) Unwrap() http.ResponseWriter { return p.under }

func (p *packed) Header() http.Header { return p.under.Header() }

func (p *packed) WriteHeader(status int) {
	p.begun = true
	h := p.Header()
	kind, _, _ := strings.Cut(h.Get("Content-Type"), ";")
	if status == http.StatusOK && worthIt[kind] && h.Get("Content-Encoding") == "" {
		h.Set("Content-Encoding", "gzip")
		h.Del("Content-Length")
		p.packer = packers.Get().(*gzip.Writer)
		p.packer.Reset(p.under)
		p.to = p.packer
	}
	p.under.WriteHeader(status)
}

func (p *packed) Write(body []byte) (int, error) {
	if !p.begun {
		p.WriteHeader(http.StatusOK)
	}
	return p.to.Write(body)
}

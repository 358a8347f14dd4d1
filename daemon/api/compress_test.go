package api

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"runtime"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
)

// hiddenKey is the name of its presses, which every page has anew.
var hiddenKey = regexp.MustCompile(`name="key" value="[^"]+"`)

// RFC 9110: 8.4.1.3 and 12.5.3 (gzip, and who takes it), 12.5.5 (Vary).
func TestAnswersArePackedForWhoUnpacksThem(t *testing.T) {
	o, _ := options(&frames.Hub{})
	h := New(o)
	body := func(target string, headers ...string) (string, http.Header) {
		a := do(h, request("GET", target, headers...))
		require.Equal(t, http.StatusOK, a.StatusCode)
		require.Equal(t, "Accept-Encoding", a.Header.Get("Vary"))
		all, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		return string(all), a.Header
	}
	for _, target := range []string{"/", "/assets/bench.css", "/assets/bench.js", "/assets/icon.svg", "/api/v1/trend"} {
		plain, header := body(target)
		assert.Empty(t, header.Get("Content-Encoding"), target)
		a := do(h, request("GET", target, "Accept-Encoding: br, gzip;q=0.5"))
		assert.Equal(t, "gzip", a.Header.Get("Content-Encoding"), target)
		assert.Empty(t, a.Header.Get("Content-Length"), target)
		unpacked, err := gzip.NewReader(a.Body)
		require.NoError(t, err, target)
		all, err := io.ReadAll(unpacked)
		require.NoError(t, err, target)
		assert.Equal(t, hiddenKey.ReplaceAllString(plain, ""), hiddenKey.ReplaceAllString(string(all), ""), target)
	}
	for _, refused := range []string{"gzip;q=0", "gzip; q=0.000", "br", "identity"} {
		_, header := body("/", "Accept-Encoding: "+refused)
		assert.Empty(t, header.Get("Content-Encoding"), refused)
	}
	_, header := body("/metrics", "Accept-Encoding: gzip")
	assert.Empty(t, header.Get("Content-Encoding"), "of no type that is worth it")
}

// RFC 9110, 13.1.2: who has the same file already gets none.
func TestAFileIsSentOnce(t *testing.T) {
	o, _ := options(&frames.Hub{})
	h := New(o)
	first := do(h, request("GET", "/assets/bench.js"))
	assert.Equal(t, "no-cache", first.Header.Get("Cache-Control"), "asked for each time")
	again := do(h, request("GET", "/assets/bench.js", "If-None-Match: "+first.Header.Get("ETag")))
	assert.Equal(t, http.StatusNotModified, again.StatusCode)
	other := do(h, request("GET", "/assets/past.js", "If-None-Match: "+first.Header.Get("ETag")))
	assert.Equal(t, http.StatusOK, other.StatusCode)
	assert.Equal(t, "no-store", do(h, request("GET", "/")).Header.Get("Cache-Control"), "what changes is never kept")
}

// TestNumbersOfPacking: what an answer takes of memory with packers that are used again, and
// with one made for each. Answers that are packed at the same time stay apart.
func TestNumbersOfPacking(t *testing.T) {
	body := bytes.Repeat([]byte("168.4 °C, 3 in band; "), 500)
	h := compressed(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write(append([]byte(r.URL.Path), body...))
	}))
	anew := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		packer := gzip.NewWriter(w)
		_, _ = packer.Write(body)
		_ = packer.Close()
	})
	takes := func(h http.Handler) uint64 {
		const rounds = 50
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		for range rounds {
			h.ServeHTTP(httptest.NewRecorder(), request("GET", "/", "Accept-Encoding: gzip"))
		}
		runtime.ReadMemStats(&after)
		return (after.TotalAlloc - before.TotalAlloc) / rounds
	}
	again, each := takes(h), takes(anew)
	t.Logf("an answer of %d bytes takes %d bytes of memory with packers that are used again, %d with one made for each", len(body), again, each)
	assert.Less(t, again, each/2, "the race detector drops every fourth one")

	var all sync.WaitGroup
	for _, path := range []string{"/a", "/b", "/c", "/d", "/e", "/f", "/g", "/h"} {
		all.Go(func() {
			for range 20 {
				unpacked, err := gzip.NewReader(do(h, request("GET", path, "Accept-Encoding: gzip")).Body)
				if assert.NoError(t, err) {
					got, err := io.ReadAll(unpacked)
					assert.NoError(t, err)
					assert.Equal(t, path+string(body), string(got))
				}
			}
		})
	}
	all.Wait()
}

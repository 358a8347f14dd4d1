package api

import (
	"compress/gzip"
	"io"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
)

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
		assert.Equal(t, plain, string(all), target)
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

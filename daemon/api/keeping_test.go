package api

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// keepingBench is a handler over a history of its own.
func keepingBench(s *history.Store) http.Handler {
	o, _ := options(&frames.Hub{})
	o.History = s
	return New(o)
}

// TestRunsGoFromPageToPage: what one bench's page gives, another one's takes, once.
func TestRunsGoFromPageToPage(t *testing.T) {
	s := twoEvenings(t)
	a := do(keepingBench(s), request("GET", "/keeping/runs.sqlite?run=1"))
	require.Equal(t, http.StatusOK, a.StatusCode)
	assert.Contains(t, a.Header.Get("Content-Disposition"), "runs.sqlite")
	file, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	other, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer other.Close()
	h := keepingBench(other)
	var last string
	bring := func() string {
		r := withPhoto(t, "/api/v1/import", file, "Accept: text/html")
		body, _ := io.ReadAll(r.Body)
		text := strings.Replace(string(body), `name="photo"`, `name="archive"`, 1)
		r.Body, r.ContentLength = io.NopCloser(strings.NewReader(text)), int64(len(text))
		a := do(h, r)
		page, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, a.StatusCode, string(page))
		last = string(page)
		return words(string(page))
	}
	requireAll(t, bring(), "is run 1 here", "1 run brought in")
	assert.NotContains(t, last, `href="/api/`, "an address that only takes something leads nowhere")
	requireAll(t, bring(), "is here already as run 1: left as it is", "0 runs brought in")
	requireAll(t, reader(t, other)("/runs/1", 200), "made elsewhere, on ")
	for _, folder := range []string{filepath.Dir(s.Path()), filepath.Dir(other.Path())} {
		left, err := os.ReadDir(folder)
		require.NoError(t, err)
		for _, e := range left {
			assert.False(t, e.IsDir(), "%s is left behind", e.Name())
		}
	}
	requireProblem(t, do(keepingBench(s), request("GET", "/keeping/runs.sqlite?run=9")), http.StatusNotFound)
	requireProblem(t, do(keepingBench(s), request("GET", "/keeping/runs.sqlite?run=x")), http.StatusBadRequest)
}

// TestAFileThatIsNoArchiveIsNamedAsItWasChosen, and not by where it was put to be read.
func TestAFileThatIsNoArchiveIsNamedAsItWasChosen(t *testing.T) {
	h := keepingBench(twoEvenings(t))
	r := withPhoto(t, "/api/v1/import", []byte("no archive"))
	body, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	text := strings.Replace(string(body), `name="photo"`, `name="archive"`, 1)
	r.Body, r.ContentLength = io.NopCloser(strings.NewReader(text)), int64(len(text))
	a := do(h, r)
	require.Equal(t, http.StatusBadRequest, a.StatusCode)
	said, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	assert.Contains(t, string(said), `"bait.png: damaged, cut short, or no archive at all`)
}

// TestOldRunsAreThinnedOnThePage, after a look at what would become of them.
func TestOldRunsAreThinnedOnThePage(t *testing.T) {
	s := twoEvenings(t)
	h := keepingBench(s)
	ask := func(older, dry string) (int, string) {
		a := do(h, form("/api/v1/tidy", url.Values{"older-than": {older}, "dry-run": {dry}}, "Accept: text/html"))
		page, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		return a.StatusCode, words(string(page))
	}
	status, page := ask("30 days", "yes")
	require.Equal(t, http.StatusOK, status)
	requireAll(t, page, "run 1 of 2026-01-", "would be thinned", "nothing was changed", `value="30 days"`)
	status, page = ask("30 days", "")
	require.Equal(t, http.StatusOK, status)
	requireAll(t, page, "was thinned", "kB before")
	status, page = ask("12 h", "")
	assert.Equal(t, http.StatusBadRequest, status)
	requireAll(t, page, "older-than", "12 days")
	requireAll(t, reader(t, s)("/runs/1", 200), "replay no longer possible", "plot.svg")
}

// TestKeepingIsDoneHere only, and the page says so elsewhere.
func TestKeepingIsDoneHere(t *testing.T) {
	s := twoEvenings(t)
	h := keepingBench(s)
	away := func(r *http.Request) *http.Response {
		r.RemoteAddr = "192.0.2.7:50000" // RFC 5737
		return do(h, r)
	}
	elsewhere := []string{"Host: bench.example", "Authorization: Bearer " + token, "Accept: text/html"}
	for _, r := range []*http.Request{
		request("GET", "/keeping/runs.sqlite", elsewhere[:2]...),
		form("/api/v1/tidy", url.Values{"older-than": {"30 days"}}, elsewhere[:2]...),
		withPhoto(t, "/api/v1/import", nil, elsewhere[:2]...),
	} {
		requireProblem(t, away(r), http.StatusForbidden)
	}
	page, err := io.ReadAll(away(request("GET", "/keeping", elsewhere...)).Body)
	require.NoError(t, err)
	requireAll(t, words(string(page)), "on the bench&#39;s own computer only", "v_shot_pot", "one row a shot")
	here := reader(t, s)("/keeping", 200)
	requireAll(t, here, "runs.sqlite", `action="/api/v1/import" data-plain`, `value="365 days"`, s.Path())
	requireAll(t, reader(t, nil)("/keeping", 200), "Nothing is kept here")
	requireAll(t, reader(t, s)("/runs", 200), `href="/keeping"`)
}

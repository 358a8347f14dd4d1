package api

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
)

// letting is a handler that lets phones in, its queue of marks, and itself.
func letting(t testing.TB) (*server, http.Handler, chan history.Mark) {
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, queue := options(hub)
	o.Phones, o.Listen = phone.Open(t.TempDir()), "0.0.0.0:8080"
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}}})
	t.Cleanup(func() { require.NoError(t, o.Phones.Close()) })
	s := newServer(o)
	return s, s.handler(), queue
}

// carriedBy is what a phone carries that was let in at a time, for a time.
func carriedBy(t testing.TB, s *phone.Store, name string, at time.Time, valid time.Duration) string {
	t.Helper()
	_, code, err := s.Add(name, valid, at)
	require.NoError(t, err)
	_, carried, err := s.Pair(code, at)
	require.NoError(t, err)
	return carried
}

// fromPhone is a request from elsewhere by what carries a cookie.
func fromPhone(method, target, carried string, fields url.Values) *http.Request {
	r := form(target, fields, "Host: bench.example:8080", "Cookie: "+cookieName+"8080="+carried)
	r.Method, r.RemoteAddr = method, "192.0.2.7:50000" // RFC 5737
	if r.URL.Path == "/api/v1/events" {                // or the stream would never end
		ended, end := context.WithCancel(context.Background())
		end()
		r = r.WithContext(ended)
	}
	return r
}

// phonePosts are the routes that take something from a phone, written down here a second
// time: nothing that enables or raises heat, and no alarm, is among them.
var phonePosts = []string{
	"/api/v1/off", "/api/v1/silence", "/api/v1/shot", "/api/v1/note", "/api/v1/runs/{run}/note",
	"/api/v1/runs/{run}/shots/{shot}", "/api/v1/runs/{run}/shots/{shot}/verdict",
	"/api/v1/runs/{run}/pots/{pot}/batch", "/api/v1/batches/{batch}", "/pair",
	"/api/v1/pots/{pot}/stir", "/api/v1/pots/{pot}/clear", "/api/v1/pots/{pot}/arrived-cured", "/api/v1/pots/{pot}/colour-added",
	"/api/v1/pots/{pot}/lift", "/api/v1/pots/{pot}/return", "/api/v1/pots/{pot}/draw", "/api/v1/pots/{pot}/take-back",
	"/api/v1/checks", "/api/v1/settings",
}

// phoneMayNotSee are the routes that show what a phone has nothing to do with.
var phoneMayNotSee = []string{"/phones", "/api/v1/phones", "/keeping/runs.sqlite"}

// everyRoute is every route there is, the commands of a pot each by its name.
func everyRoute() (all []route) {
	o, _ := options(&frames.Hub{})
	for _, r := range newServer(o).routes() {
		if r.pattern != potRoute {
			all = append(all, r)
			continue
		}
		for kind := control.CommandKind(0); kind < 64; kind++ {
			if _, is := control.CommandNamed(kind.String()); is && kind.NeedsPot() {
				all = append(all, route{strings.Replace(r.pattern, "{command}", kind.String(), 1), r.answer})
			}
		}
	}
	return all
}

var filled = strings.NewReplacer("{$}", "", "{name}", "bench.css", "{pot}", "2", "{run}", "1", "{shot}", "1", "{plot}", "plot.svg",
	"{fingerprint}", "abc", "{photo}", "1", "{attempt}", "1", "{size}", "small", "{code}", "e_stop_open", "{action}", "acknowledge", "{batch}", "1", "{phone}", "1")

// TestWhatAPhoneMay: over every route, by what a phone carries. One that was let in sees
// and marks, and is refused whatever may raise heat; one that is unknown, over or revoked,
// or carries nothing, is refused everything but the page on which it is paired.
func TestWhatAPhoneMay(t *testing.T) {
	s, h, queue := letting(t)
	now := time.Now()
	revoked := carriedBy(t, s.Phones, "old phone", now, time.Hour)
	_, err := s.Phones.Revoke("old phone", now)
	require.NoError(t, err)
	blue := carriedBy(t, s.Phones, "blue", now, time.Hour)
	out := map[string]string{
		"unknown": "1-" + strings.Repeat("a", 52), "wrong": blue[:len(blue)-4] + "aaaa", "revoked": revoked, "nothing": "", "no secret": "blue",
		"expired": carriedBy(t, s.Phones, "last year's", now.Add(-2*time.Hour), time.Hour),
	}
	asked, allowed, refused := 0, 0, 0
	for _, r := range everyRoute() {
		method, path, _ := strings.Cut(r.pattern, " ")
		target := filled.Replace(path)
		may := method == "GET" && !slices.Contains(phoneMayNotSee, path) || slices.Contains(phonePosts, path)
		a := do(h, fromPhone(method, target, blue, nil))
		asked++
		switch {
		case path == "/pair" && method == "POST": // a wrong code is refused by itself
		case may:
			allowed++
			assert.NotContains(t, []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusTooManyRequests}, a.StatusCode, r.pattern)
		default:
			refused++
			requireProblem(t, a, http.StatusForbidden)
			assert.Empty(t, queue, r.pattern)
		}
		for len(queue) > 0 {
			m := <-queue
			assert.True(t, m.Afar && m.From == "phone blue", "%s: %+v", r.pattern, m)
		}
		for what, carried := range out {
			s.door.tries = phone.Tries{} // not what is asked here
			a := do(h, fromPhone(method, target, carried, nil))
			if strings.HasPrefix(path, "/assets/") || strings.HasPrefix(path, pairPath) {
				assert.NotEqual(t, http.StatusUnauthorized, a.StatusCode, "%s, %s", what, r.pattern)
				continue
			}
			asked++
			requireProblem(t, a, http.StatusUnauthorized)
		}
		assert.Empty(t, queue, r.pattern)
	}
	t.Logf("%d routes: a phone may use %d and is refused %d; %d requests, of which those with what lets nobody in were all refused", len(everyRoute()), allowed, refused, asked)
}

// TestEveryRouteThatTakesSomethingIsListed: none is open by oversight.
func TestEveryRouteThatTakesSomethingIsListed(t *testing.T) {
	o, _ := options(&frames.Hub{})
	patterns := map[string]bool{}
	for _, r := range newServer(o).routes() {
		patterns[r.pattern] = true
		_, listed := deeds[r.pattern]
		assert.True(t, strings.HasPrefix(r.pattern, "GET ") || r.pattern == potRoute || listed, "%s: write down in deeds what it is for", r.pattern)
	}
	for pattern := range deeds {
		assert.True(t, patterns[pattern], "%s is no route", pattern)
	}
	assert.Equal(t, letIn, deedOf("POST /api/v1/new", ""), "what nobody listed is for the bench's own computer")
	assert.Equal(t, heat, deedOf(potRoute, control.TryOut.String()))
	for d, p := range permits {
		assert.True(t, len(p.who) >= len(known) || p.told != "", d)
	}
}

// TestAScriptMayNotWhatAPhoneMay: the bench file's token silences nothing.
func TestAScriptMayNotWhatAPhoneMay(t *testing.T) {
	_, h, queue := letting(t)
	with := func(target string) *http.Response {
		r := form(target, nil, "Host: bench.example", "Authorization: Bearer "+token)
		r.RemoteAddr = "192.0.2.7:50000"
		return do(h, r)
	}
	requireProblem(t, with("/api/v1/silence"), http.StatusForbidden)
	require.Equal(t, http.StatusAccepted, with("/api/v1/pots/1/stir").StatusCode)
	assert.Equal(t, "another computer", (<-queue).From)
	require.Equal(t, http.StatusAccepted, with("/api/v1/off").StatusCode)
}

func body(t *testing.T, a *http.Response) string {
	t.Helper()
	text, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	return words(string(text))
}

// TestAPhoneIsLetInAndPutOut, the whole way over the pages.
func TestAPhoneIsLetInAndPutOut(t *testing.T) {
	s, h, queue := letting(t)
	added := form("/api/v1/phones", url.Values{"name": {"blue"}, "for": {"6 h"}})
	a := do(h, added)
	require.Equal(t, http.StatusCreated, a.StatusCode)
	var object struct {
		Phone  phone.Shown
		PairAt []string `json:"pair_at"`
	}
	require.NoError(t, json.NewDecoder(a.Body).Decode(&object))
	assert.Equal(t, 6*time.Hour, object.Phone.Ends.Sub(object.Phone.Made).Round(time.Second))
	at, err := url.Parse(object.PairAt[0])
	require.NoError(t, err)

	stranger := func(method, target string, fields url.Values) *http.Response {
		r := form(target, fields, "Host: bench.example:8080", "Accept: text/html")
		r.Method, r.RemoteAddr = method, "192.0.2.7:50000"
		return do(h, r)
	}
	page := stranger("GET", "/", nil)
	require.Equal(t, http.StatusUnauthorized, page.StatusCode)
	requireAll(t, body(t, page), "is not let in", `name="code"`)
	code := strings.TrimPrefix(at.Path, pairPath+"/")
	for range 2 { // whoever only looks uses up nothing
		page = stranger("GET", at.Path, nil)
		require.Equal(t, http.StatusOK, page.StatusCode)
		requireAll(t, body(t, page), `value="`+code+`"`, "not encrypted", "no heat")
	}
	a = stranger("POST", pairPath, url.Values{"code": {code}})
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	require.Len(t, a.Cookies(), 1)
	cookie := a.Cookies()[0]
	assert.Equal(t, cookieName+"8080", cookie.Name)
	assert.True(t, cookie.HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, cookie.SameSite)
	assert.InDelta(t, 6*3600, cookie.MaxAge, 5)
	assert.NotContains(t, cookie.Value, code)
	page = stranger("POST", pairPath, url.Values{"code": {code}})
	require.Equal(t, http.StatusForbidden, page.StatusCode)
	requireAll(t, body(t, page), "was used already", "Add the phone again")

	a = do(h, fromPhone("GET", "/", cookie.Value, nil))
	require.Equal(t, http.StatusOK, a.StatusCode)
	text := body(t, a)
	requireAll(t, text, "ALL OFF", "Stirred", "A set-point is changed on the bench&#39;s own computer only.")
	for _, not := range []string{`name="setpoint"`, "/try-out", "/hand-reading", `href="/phones"`} {
		assert.NotContains(t, text, not)
	}
	require.Equal(t, http.StatusAccepted, do(h, fromPhone("POST", "/api/v1/silence", cookie.Value, nil)).StatusCode)
	assert.Equal(t, history.Mark{Command: control.Command{Kind: control.Silence, Afar: true}, From: "phone blue"}, <-queue)
	text = body(t, do(h, fromPhone("GET", "/alarms", cookie.Value, nil)))
	assert.False(t, strings.Contains(text, "/acknowledge"))
	requireAll(t, text, "worked through on the bench&#39;s own computer")
	text = body(t, do(h, fromPhone("GET", pagesPath, cookie.Value, nil)))
	requireAll(t, text, `href="/alarms"`, `href="/settings"`)
	assert.NotContains(t, text, `href="/phones"`, "none is offered that is refused")
	byAddress := fromPhone("GET", "/phones", cookie.Value, nil)
	byAddress.Header.Set("Accept", "text/html")
	a = do(h, byAddress)
	require.Equal(t, http.StatusForbidden, a.StatusCode)
	text = body(t, a)
	requireAll(t, text, "<h1>Only on the bench&#39;s own computer</h1>", "Phones are let in, and put out, on the bench&#39;s own computer only.")
	assert.NotContains(t, text, "can not be shown now")

	require.Equal(t, http.StatusOK, do(h, request("GET", "/phones")).StatusCode)
	requireAll(t, body(t, do(h, request("GET", "/phones"))), "blue", "let in", `action="/api/v1/phones/1/revoke"`)
	require.Equal(t, http.StatusOK, do(h, form("/api/v1/phones/1/revoke", nil)).StatusCode)
	a = do(h, fromPhone("GET", "/api/v1/bench", cookie.Value, nil))
	require.Equal(t, http.StatusUnauthorized, a.StatusCode)
	requireAll(t, body(t, a), "was put out")
	requireAll(t, body(t, do(h, request("GET", "/phones"))), "put out")
	requireProblem(t, do(h, form("/api/v1/phones/9/revoke", nil)), http.StatusNotFound)
	requireProblem(t, do(h, form("/api/v1/phones", url.Values{"name": {""}})), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/phones", url.Values{"name": {"x"}, "for": {"2 years"}})), http.StatusBadRequest)
	requireProblem(t, do(h, form(pairPath, url.Values{"code": {code}})), http.StatusConflict)
	assert.Len(t, object.PairAt, len(phone.Addresses(s.Listen)))
}

// TestThePageShowsAPairingCodeOnce, as a picture and as an address.
func TestThePageShowsAPairingCodeOnce(t *testing.T) {
	_, h, _ := letting(t)
	text := body(t, do(h, form("/api/v1/phones", url.Values{"name": {"blue"}}, "Accept: text/html")))
	requireAll(t, text, "<svg", `fill="#000"`, "Point the camera of the phone blue here", ":8080/pair/1-", "not encrypted")
	assert.NotContains(t, body(t, do(h, request("GET", "/phones"))), "/pair/1-")
}

// TestABrokenFileOfPhonesIsSaidLoudly, on the bench page, in its frames and on the page of
// the phones; and nobody gets in by it.
func TestABrokenFileOfPhonesIsSaidLoudly(t *testing.T) {
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, _ := options(hub)
	folder := t.TempDir()
	o.Phones, o.Listen = phone.Open(folder), "0.0.0.0:8080"
	defer o.Phones.Close()
	blue := carriedBy(t, o.Phones, "blue", time.Now(), time.Hour)
	const said = "all are out, so no ALL OFF from one"
	assert.NotContains(t, body(t, do(New(o), request("GET", "/"))), said)
	require.NoError(t, o.Phones.Close())
	require.NoError(t, os.WriteFile(filepath.Join(folder, phone.FileName), []byte("no such file of ours, and long enough to be read as one"), 0o600))
	h := New(o)
	assert.NotContains(t, body(t, do(h, request("GET", "/"))), said, "a page asks no disk")
	require.Error(t, o.Phones.Trouble(), "as the daemon asks every two seconds")
	for range 20 {
		a := do(h, fromPhone("GET", "/", blue, nil))
		require.Equal(t, http.StatusUnauthorized, a.StatusCode)
		assert.Empty(t, a.Cookies(), "a file that is mended has it again")
	}
	for _, page := range []string{"/", "/api/v1/bench"} {
		requireAll(t, body(t, do(h, request("GET", page))), said, "phones-broken-", "meltwarden phone add")
	}
	requireAll(t, body(t, do(h, request("GET", "/phones"))), "phones-broken-")
	needs := body(t, do(h, request("GET", "/alarms")))
	requireAll(t, needs, `id="alarm-phones-out-0"`, said, "phones-broken-")
	assert.NotContains(t, needs, "/acknowledge", "it is no alarm of the guard's")
	require.NoError(t, o.Phones.Close())
	require.NoError(t, os.Remove(filepath.Join(folder, phone.FileName)))
	require.NoError(t, os.Mkdir(filepath.Join(folder, phone.FileName), 0o700))
	require.ErrorContains(t, o.Phones.Trouble(), folder)
	text := body(t, do(h, request("GET", "/api/v1/bench")))
	requireAll(t, text, said, "Why: phones.sqlite: can not be used now")
	assert.NotContains(t, text, folder, "nobody elsewhere is told where it is")
	require.NoError(t, os.Remove(filepath.Join(folder, phone.FileName)))

	carriedBy(t, o.Phones, "blue", time.Now(), time.Hour)
	require.NoError(t, o.Phones.Trouble())
	assert.NotContains(t, body(t, do(New(o), request("GET", "/"))), said)
}

// TestWhoListensToItselfLetsNoPhoneIn, and says how to.
func TestWhoListensToItselfLetsNoPhoneIn(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.Phones, o.Listen = phone.Open(t.TempDir()), "127.0.0.1:8420"
	defer o.Phones.Close()
	h := New(o)
	requireAll(t, body(t, do(h, request("GET", "/phones"))), "only this computer reaches", "listen: 0.0.0.0:8420", "own network only", "from the internet")
	requireProblem(t, do(h, form("/api/v1/phones", url.Values{"name": {"blue"}})), http.StatusConflict)
}

// TestGuessersAreSlowedDown, and nobody else: neither a phone that was let in, nor one
// whose page was left open after it was put out.
func TestGuessersAreSlowedDown(t *testing.T) {
	s, h, _ := letting(t)
	now := time.Now()
	s.door.now = func() time.Time { return now }
	blue := carriedBy(t, s.Phones, "blue", now, time.Hour)
	_, code, err := s.Phones.Add("red", time.Hour, now)
	require.NoError(t, err)
	pair := func(from, code string) *http.Response {
		r := form(pairPath, url.Values{"code": {code}}, "Host: bench.example:8080")
		r.RemoteAddr = from + ":50000"
		return do(h, r)
	}
	for range 10 {
		requireProblem(t, pair("192.0.2.7", "1-"+strings.Repeat("a", 26)), http.StatusForbidden)
	}
	a := pair("192.0.2.7", code)
	requireProblem(t, a, http.StatusTooManyRequests)
	assert.Equal(t, "6", a.Header.Get("Retry-After"))
	require.Equal(t, http.StatusOK, do(h, fromPhone("GET", "/", blue, nil)).StatusCode, "at that place too: it may be about to say ALL OFF")
	requireProblem(t, do(h, fromPhone("GET", "/", "9-"+strings.Repeat("a", 52), nil)), http.StatusTooManyRequests)
	away := fromPhone("GET", "/", blue, nil)
	away.RemoteAddr = "192.0.2.8:50000"
	require.Equal(t, http.StatusOK, do(h, away).StatusCode)
	require.Equal(t, http.StatusOK, do(h, request("GET", "/")).StatusCode)
	now = now.Add(6 * time.Second)
	require.Equal(t, http.StatusOK, pair("192.0.2.7", code).StatusCode)

	_, err = s.Phones.Revoke("blue", now)
	require.NoError(t, err)
	for range 50 {
		r := fromPhone("GET", "/api/v1/events", blue, nil)
		r.RemoteAddr = "192.0.2.9:50000"
		requireProblem(t, do(h, r), http.StatusUnauthorized)
	}
	unknown := fromPhone("GET", "/", "9-"+strings.Repeat("a", 52), nil)
	a = do(h, unknown)
	requireProblem(t, a, http.StatusUnauthorized)
	require.Len(t, a.Cookies(), 1)
	assert.Negative(t, a.Cookies()[0].MaxAge, "so that a page that was left open does not go on guessing")
}

// TestAStreamEndsWithItsPhone over a real connection.
func TestAStreamEndsWithItsPhone(t *testing.T) {
	s, h, _ := letting(t)
	server := httptest.NewServer(h)
	defer server.Close()
	defer server.CloseClientConnections()
	r, err := http.NewRequestWithContext(t.Context(), "GET", server.URL+"/api/v1/events", nil)
	require.NoError(t, err)
	r.Host = "bench.example:8080"
	r.Header.Set("Cookie", cookieName+"8080="+carriedBy(t, s.Phones, "blue", time.Now(), time.Hour))
	a, err := server.Client().Do(r)
	require.NoError(t, err)
	defer a.Body.Close()
	require.Equal(t, http.StatusOK, a.StatusCode)
	lines := bufio.NewReader(a.Body)
	_, err = lines.ReadString('\n')
	require.NoError(t, err)
	_, err = s.Phones.Revoke("blue", time.Now())
	require.NoError(t, err)
	began := time.Now()
	_, err = io.Copy(io.Discard, lines)
	require.NoError(t, err)
	t.Logf("the stream ended %.1f s after its phone was revoked", time.Since(began).Seconds())
}

// FuzzWhatIsCarried: whatever a device sends as cookie, token or code, nobody is let in by
// it, nothing is queued and nothing fails.
func FuzzWhatIsCarried(f *testing.F) {
	s, h, queue := letting(f)
	blue := carriedBy(f, s.Phones, "blue", time.Now(), time.Hour)
	for _, odd := range []string{"", "=", "1-", `"1-aaaa"`, blue[:20], blue + "a", "2" + blue[1:], strings.Repeat("1-a;", 90), "\x00", "1-\xff"} {
		f.Add(cookieName+"8080="+odd, odd, odd)
	}
	f.Add(cookieName+"8080=a; "+cookieName+"80="+blue, "", "")
	f.Fuzz(func(t *testing.T, cookie, bearer, code string) {
		if strings.Contains(cookie+bearer+code, blue) && !strings.Contains(cookie, "80=a; ") {
			return
		}
		s.door.tries = phone.Tries{}
		for _, r := range []*http.Request{
			request("GET", "/api/v1/bench"), request("POST", "/api/v1/off"), form(pairPath, url.Values{"code": {code}}),
		} {
			r.Host, r.RemoteAddr = "bench.example:8080", "192.0.2.7:50000"
			r.Header["Cookie"] = []string{cookie}
			if bearer != "" {
				r.Header["Authorization"] = []string{"Bearer " + bearer}
			}
			a := do(h, r)
			require.Contains(t, []int{http.StatusUnauthorized, http.StatusForbidden}, a.StatusCode)
			text, err := io.ReadAll(a.Body)
			require.NoError(t, err)
			require.True(t, json.Valid(text))
		}
		require.Empty(t, queue)
	})
}

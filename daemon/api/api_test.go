package api

import (
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/cascade"
	"meltwarden/control/loop"
	"meltwarden/control/model"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// request is one from this computer, with extra headers as "Name: value".
func request(method, target string, headers ...string) *http.Request {
	r := httptest.NewRequest(method, target, nil)
	r.RemoteAddr, r.Host = "127.0.0.1:50000", "localhost:8080"
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			r.Host = value
			continue
		}
		r.Header.Set(name, value)
	}
	return r
}

func do(h http.Handler, r *http.Request) *http.Response {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return asDescribed(r, w.Result())
}

// published is a handler around one frame, and its queue of marks.
func published(f *frames.Frame) (http.Handler, chan history.Mark) {
	hub := &frames.Hub{}
	if f != nil {
		hub.Publish(f)
	}
	o, queue := options(hub)
	return New(o), queue
}

// requireProblem checks an answer against RFC 9457: its media type, and the
// members type, title and status of section 3.1. A relative type has the full path
// (3.1.1); with "about:blank" the title is the status phrase (4.2.1).
func requireProblem(t *testing.T, a *http.Response, status int) {
	t.Helper()
	require.Equal(t, status, a.StatusCode)
	require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"))
	var p map[string]any
	require.NoError(t, json.NewDecoder(a.Body).Decode(&p))
	if p["type"] == "about:blank" {
		assert.Equal(t, http.StatusText(status), p["title"])
	} else {
		assert.Regexp(t, `^/api#[a-z-]+$`, p["type"])
		assert.NotEmpty(t, p["title"])
	}
	assert.InDelta(t, status, p["status"], 0)
}

func TestWhoGetsWhat(t *testing.T) {
	const elsewhere, named = "192.0.2.7:50000", "Host: bench.example:8080" // RFC 5737: an address for examples
	cases := []struct {
		name, method, target, from string
		headers                    []string
		status                     int
	}{
		{"page", "GET", "/", "", nil, 200},
		{"style", "GET", "/assets/bench.css", "", nil, 200},
		{"no such file", "GET", "/assets/none.css", "", nil, 404},
		{"folder", "GET", "/assets/", "", nil, 404},
		{"bench", "GET", "/api/v1/bench", "", nil, 200},
		{"trend", "GET", "/api/v1/trend?rows=10", "", nil, 200},
		{"trend of no rows", "GET", "/api/v1/trend?rows=0", "", nil, 400},
		{"metrics", "GET", "/metrics", "", nil, 200},
		{"nowhere", "GET", "/api/v1/enable", "", nil, 404},
		{"off by GET", "GET", "/api/v1/off", "", nil, 405},
		{"bench by POST", "POST", "/api/v1/bench", "", nil, 405},
		{"off", "POST", "/api/v1/off", "", nil, 202},
		{"stir", "POST", "/api/v1/pots/2/stir", "", nil, 202},
		{"pot 0", "POST", "/api/v1/pots/0/stir", "", nil, 404},
		{"pot 4 of 3", "POST", "/api/v1/pots/4/stir", "", nil, 404},
		{"pot by name", "POST", "/api/v1/pots/left/stir", "", nil, 404},
		{"unknown mark", "POST", "/api/v1/pots/1/enable", "", nil, 404},
		{"bench mark on a pot", "POST", "/api/v1/pots/1/off", "", nil, 404},
		{"form without script", "POST", "/api/v1/silence", "", []string{"Accept: text/html"}, 303},

		{"own page", "POST", "/api/v1/off", "", []string{"Sec-Fetch-Site: same-origin"}, 202},
		{"page from elsewhere", "POST", "/api/v1/off", "", []string{"Sec-Fetch-Site: cross-site"}, 403},
		{"origin from elsewhere", "POST", "/api/v1/off", "", []string{"Origin: http://other.example"}, 403},
		{"rebound name", "GET", "/api/v1/bench", "", []string{"Host: other.example"}, 403},
		{"rebound name with the token", "GET", "/", "", []string{"Host: other.example", "Authorization: Bearer " + token}, 403},
		{"loopback by number", "GET", "/", "", []string{"Host: 127.0.0.1:8080"}, 200},
		{"loopback by IPv6", "GET", "/", "", []string{"Host: [::1]:8080"}, 200},
		{"no host", "GET", "/", "", []string{"Host: "}, 403},

		{"other computer", "GET", "/", elsewhere, []string{named}, 401},
		{"other computer as loopback", "GET", "/", elsewhere, nil, 401},
		{"proxy on this computer", "GET", "/", "", []string{named}, 401},
		{"wrong token", "GET", "/", elsewhere, []string{named, "Authorization: Bearer guess"}, 401},
		{"empty token", "GET", "/", elsewhere, []string{named, "Authorization: Bearer "}, 401},
		{"token", "GET", "/", elsewhere, []string{named, "Authorization: Bearer " + token}, 200},
		{"token, lower-case scheme", "GET", "/metrics", elsewhere, []string{named, "Authorization: bearer " + token}, 200},
		{"token for a mark", "POST", "/api/v1/off", elsewhere, []string{named, "Authorization: Bearer " + token}, 202},
		{"token in another address", "GET", "/api/v1/bench?token=an+invented+token", elsewhere, []string{named}, 401},
		{"token in the page's address", "GET", "/?token=an+invented+token", elsewhere, []string{named}, 401},
		{"token to a mark's address", "POST", "/?token=an+invented+token", elsewhere, []string{named}, 401},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			h, _ := published(holding())
			r := request(c.method, c.target, c.headers...)
			if c.from != "" {
				r.RemoteAddr = c.from
			}
			a := do(h, r)
			if c.status >= 400 {
				requireProblem(t, a, c.status)
				return
			}
			assert.Equal(t, c.status, a.StatusCode)
		})
	}
}

func TestWithoutATokenOnlyThisComputerGetsIn(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.Token = ""
	h := New(o)
	for _, headers := range [][]string{nil, {"Authorization: Bearer "}, {"Cookie: " + cookieName + "80="}} {
		r := request("GET", "/?token=", append(headers, "Host: bench.example")...)
		r.RemoteAddr = "192.0.2.7:50000"
		requireProblem(t, do(h, r), http.StatusForbidden)
	}
}

func TestMarksBecomeCommands(t *testing.T) {
	for target, want := range map[string]control.Command{
		"/api/v1/off":                  {Kind: control.AllOff},
		"/api/v1/silence":              {Kind: control.Silence},
		"/api/v1/pots/1/stir":          {Kind: control.Stir, Pot: 0},
		"/api/v1/pots/2/clear":         {Kind: control.TickClear, Pot: 1},
		"/api/v1/pots/3/arrived-cured": {Kind: control.ArrivedCured, Pot: 2},
		"/api/v1/pots/3/colour-added":  {Kind: control.ColourAdded, Pot: 2},
		"/api/v1/pots/1/lift":          {Kind: control.Lift, Pot: 0},
		"/api/v1/pots/1/return":        {Kind: control.Return, Pot: 0},
		"/api/v1/pots/2/draw":          {Kind: control.Draw, Pot: 1},
		"/api/v1/shot":                 {Kind: control.Shot},
	} {
		h, queue := published(nil) // marks are taken before the first frame as well
		require.Equal(t, http.StatusAccepted, do(h, request("POST", target)).StatusCode, target)
		assert.Equal(t, want, (<-queue).Command, target)
	}
}

func TestFullQueueIsToldAndTriedAgain(t *testing.T) {
	h, _ := published(holding())
	require.Equal(t, http.StatusAccepted, do(h, request("POST", "/api/v1/off")).StatusCode)
	a := do(h, request("POST", "/api/v1/off"))
	requireProblem(t, a, http.StatusServiceUnavailable)
	assert.Equal(t, "1", a.Header.Get("Retry-After"))
}

func TestLargeBodyIsRefused(t *testing.T) {
	h, queue := published(holding())
	r := request("POST", "/api/v1/off")
	r.ContentLength = maxBody + 1
	requireProblem(t, do(h, r), http.StatusRequestEntityTooLarge)
	assert.Empty(t, queue)
}

// Rule: nothing but a person at the bench turns heat on.
func TestNoRouteEnablesHeat(t *testing.T) {
	o, _ := options(&frames.Hub{})
	var writes []string
	for _, r := range (&server{Options: o}).routes() {
		if method, path, _ := strings.Cut(r.pattern, " "); method != "GET" {
			writes = append(writes, path)
		}
	}
	assert.ElementsMatch(t, []string{
		"/api/v1/off", "/api/v1/silence", "/api/v1/shot", "/api/v1/note", "/api/v1/pots/{pot}/{command}",
		"/api/v1/alarms/{code}/{pot}/{action}", "/api/v1/settings",
		"/api/v1/runs/{run}/note", "/api/v1/runs/{run}/shots/{shot}", "/api/v1/runs/{run}/shots/{shot}/verdict",
		"/api/v1/runs/{run}/pots/{pot}/batch", "/api/v1/batches/{batch}",
		"/api/v1/runs/{run}/shots/{shot}/photos", "/api/v1/runs/{run}/photos/{photo}/take-back",
		"/api/v1/runs/{run}/shots/{shot}/try", "/api/v1/attempts/{attempt}/end",
		"/api/v1/recipes/{fingerprint}/change", "/api/v1/recipes/{fingerprint}/scale",
		"/pair", "/api/v1/phones", "/api/v1/phones/{phone}/revoke",
		"/api/v1/import", "/api/v1/tidy", "/api/v1/checks",
	}, writes)
	for _, name := range []string{"enable", "on", "heat", "start", "reset", "heat-enabled", ""} {
		_, is := control.CommandNamed(name)
		assert.False(t, is, "a command %q", name)
	}
}

func TestMethodNotAllowedNamesTheOthers(t *testing.T) {
	h, _ := published(holding())
	a := do(h, request("GET", "/api/v1/off"))
	assert.Equal(t, "POST", a.Header.Get("Allow")) // RFC 9110, section 15.5.6
}

func TestBenchIsJSONWithNullForWhatIsNotKnown(t *testing.T) {
	h, _ := published(tripped())
	a := do(h, request("GET", "/api/v1/bench"))
	require.Equal(t, "application/json", a.Header.Get("Content-Type"))
	var got struct {
		Live, Simulated bool
		Heat            string
		Pots            []map[string]any
	}
	require.NoError(t, json.NewDecoder(a.Body).Decode(&got))
	assert.True(t, got.Live)
	assert.True(t, got.Simulated, "the bench of these tests is")
	assert.Equal(t, "tripped", got.Heat)
	assert.Equal(t, 184.0, got.Pots[1]["melt_c"])
	assert.Nil(t, got.Pots[2]["melt_c"])
	assert.Contains(t, got.Pots[2], "melt_c")
	assert.Equal(t, 165.0, got.Pots[2]["setpoint_c"])
}

func TestPageIsCompleteWithoutScript(t *testing.T) {
	page := func(f *frames.Frame) string {
		h, _ := published(f)
		a := do(h, request("GET", "/"))
		body, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, a.StatusCode, string(body))
		return string(body)
	}
	now := page(tripped())
	for _, text := range []string{
		">184<", ">slate<", "Simulated bench", "invented run, version 3", "tripped, reset at the bench", "ALL OFF",
		"The plate is over its trip temperature", "This program is not the protection", "no good reading: open",
	} {
		assert.Contains(t, now, text)
	}
	old := holding()
	old.At = old.At.Add(-time.Minute)
	assert.Contains(t, page(old), "NOT LIVE – last reading "+old.At.Format(time.TimeOnly))
	assert.NotContains(t, page(old), ">168<")
	assert.Contains(t, page(nil), "NOT LIVE – no reading yet")
	for _, text := range []string{now, page(nil)} {
		assert.NotContains(t, text, "NaN")
		assert.NotContains(t, text, "<style") // the policy would drop it
		assert.NotContains(t, text, " style=")
		assert.NotContains(t, text, "http://")
		assert.NotContains(t, text, "https://")
	}
}

func TestHeatRefusedIsShown(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.HeatRefused = "the proof of the heaters is not on record"
	body, _ := io.ReadAll(do(New(o), request("GET", "/")).Body)
	assert.Contains(t, string(body), o.HeatRefused)
}

// TestThePageSaysWhatIsKnownOfAPot, and where that has turned out otherwise.
func TestThePageSaysWhatIsKnownOfAPot(t *testing.T) {
	f := holding()
	hub := &frames.Hub{}
	o, _ := options(hub)
	o.Settings.Pots = slices.Clone(o.Settings.Pots)
	o.Recalled = []string{"known from 2026-02-01, 3 sessions", "known from 2026-02-08, 1 session", "first heat"}
	for i := range 2 {
		p := &o.Settings.Pots[i]
		p.VolumeML, p.Known = 250, anyPot(p.HeaterW)
		require.True(t, p.Known.Fits(p.LoopPot()))
	}
	f.Pots[0].Recalled = true
	hub.Publish(f)
	body, _ := io.ReadAll(do(New(o), request("GET", "/")).Body)
	assert.Contains(t, string(body), `<p class="known">known from 2026-02-01, 3 sessions</p>`)
	assert.Contains(t, string(body), `<p class="known">known from 2026-02-08, 1 session; set aside, because the pot behaves otherwise</p>`)
	assert.Contains(t, string(body), `<p class="known">first heat</p>`)

	o.Recalled[1], o.Settings.Pots[1].Known = "tried out by 2026-02-08, and not known otherwise", &loop.Known{}
	body, _ = io.ReadAll(do(New(o), request("GET", "/")).Body)
	assert.Contains(t, string(body), `<p class="known">tried out by 2026-02-08, and not known otherwise</p>`, "nothing was to be set aside")
}

// anyPot is what some pot with such a heater was found to be.
func anyPot(heaterW float64) *loop.Known {
	some := model.Figure{Value: 1}
	return &loop.Known{
		Model: model.Known{
			Pot: model.Pot{HeaterW: heaterW, MeltJPerK: 500}, GelShare: 1,
			PlateJPerK: some, ElementS: some, MeltJPerK: some, ContactWK: some, CouplingWK: some,
			PlateLossWK: some, MeltLossWK: some, PlateProbeS: some, MeltProbeS: some,
		},
		Cascade: cascade.Known{PlateJPerK: heaterW, CouplingWK: 2}, RestShare: 1,
	}
}

func TestSecurityHeadersAreOnEveryAnswer(t *testing.T) {
	h, _ := published(holding())
	for _, r := range []*http.Request{request("GET", "/"), request("GET", "/nowhere"), request("GET", "/", "Host: other.example")} {
		a := do(h, r)
		policy := strings.Split(a.Header.Get("Content-Security-Policy"), "; ")
		for _, p := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'"} {
			assert.True(t, slices.Contains(policy, p), p)
		}
		assert.Equal(t, "nosniff", a.Header.Get("X-Content-Type-Options"))
		assert.Equal(t, "no-store", a.Header.Get("Cache-Control"))
	}
}

func TestHealth(t *testing.T) {
	o, _ := options(&frames.Hub{})
	sick := error(nil)
	o.Health = func() error { return sick }
	h := New(o)
	assert.Equal(t, http.StatusOK, do(h, request("GET", "/healthz")).StatusCode)
	sick = errors.New("no cycle has finished for 3 s")
	a := do(h, request("GET", "/healthz"))
	body, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	assert.Equal(t, http.StatusServiceUnavailable, a.StatusCode)
	assert.Contains(t, string(body), "no cycle has finished for 3 s")
}

func TestReadyOnceReadingsHaveCome(t *testing.T) {
	h, _ := published(nil)
	requireProblem(t, do(h, request("GET", "/readyz")), http.StatusServiceUnavailable)
	h, _ = published(tripped()) // a broken probe has reported as well
	assert.Equal(t, http.StatusOK, do(h, request("GET", "/readyz")).StatusCode)
}

package api

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/alarm"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/shot"
)

// whole is the handler of a whole daemon over a history with one invented run, which
// has ended, and what was submitted to it since the last request.
type whole struct {
	handler   http.Handler
	hub       frames.Hub
	alarms    *alarm.List
	store     *history.Store
	settings  control.Settings
	submitted []history.Mark
	kept      string
}

func wholeDaemon(f *testing.F) *whole {
	f.Helper()
	s, err := history.Open(f.TempDir())
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, s.Close()) })
	w := &whole{store: s, settings: settings()}
	w.settings.Limits.MeltTripC = 190
	for i := range w.settings.Pots {
		w.settings.Pots[i].PlateLimitC = 230
	}
	w.record(f)
	o, _ := options(&w.hub)
	w.alarms = o.Alarms
	w.alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{
		{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true},
		{Code: guard.MeltHigh, Pot: 1, Severity: guard.Warning, Active: true},
	}})
	o.History, o.Settings = s, w.settings
	o.Phones, o.Listen = phone.Open(f.TempDir()), "0.0.0.0:8420"
	f.Cleanup(func() { require.NoError(f, o.Phones.Close()) })
	o.Submit = func(m history.Mark) error { w.submitted = append(w.submitted, m); return nil }
	w.handler, w.kept = New(o), w.keeps(f)
	return w
}

func (w *whole) record(f *testing.F) {
	f.Helper()
	began := time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC)
	r, err := w.store.Record(began, history.Start{
		Title: "invented", RecipeName: "invented eel", Fingerprint: "abc", Recipe: "name: invented", Settings: w.settings,
	})
	require.NoError(f, err)
	tracker := shot.NewTracker(w.settings.Pots)
	for i := range 100 {
		fr := holding().Frame
		fr.Cycle, fr.Time = uint64(i+1), time.Duration(i)*w.settings.Period
		in := control.Input{Elapsed: w.settings.Period, Pots: make([]control.PotReadings, len(w.settings.Pots))}
		k := history.Kept{Record: cycles.Keep(began.Add(fr.Time), &in, &fr)}
		if i == 50 {
			k.Events = []history.Event{{Kind: history.ShotPushed, Pot: history.WholeBench, Text: "eel"}}
			k.Shot, k.Mould = tracker.See(&fr, []control.Command{{Kind: control.Shot}}), "eel"
		}
		r.PutAll(k)
	}
	require.NoError(f, r.Close(began.Add(time.Hour)))
}

// keeps is everything that a request can change but the queue of marks.
func (w *whole) keeps(t require.TestingT) string {
	runs, err := w.store.Runs(history.Filter{})
	require.NoError(t, err)
	shots, err := w.store.Shots(1)
	require.NoError(t, err)
	versions, err := w.store.Versions()
	require.NoError(t, err)
	for _, s := range shots {
		slices.SortFunc(s.Verdicts, func(a, b shot.Verdict) int { return a.At.Compare(b.At) })
	}
	text, err := json.Marshal([]any{runs, shots, versions, w.alarms.Now()})
	require.NoError(t, err)
	return string(text)
}

// asks reads a request as a server does; nil where a server would refuse it itself.
func asks(method, target, headers, body, from string) *http.Request {
	text := method + " " + target + " HTTP/1.1\r\n" + headers + "\r\n\r\n"
	r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(text)))
	if err != nil {
		return nil
	}
	r.RemoteAddr, r.Body, r.ContentLength = from, io.NopCloser(strings.NewReader(body)), int64(len(body))
	if r.URL.Path == "/api/v1/events" { // or the stream would never end
		ended, end := context.WithCancel(context.Background())
		end()
		r = r.WithContext(ended)
	}
	return r
}

// marks are what a person may say of a bench whose pots have both probes; none of them
// enables heat.
var marks = []control.CommandKind{
	0, control.Stir, control.TickClear, control.ArrivedCured, control.ColourAdded, control.Lift, control.Return,
	control.Draw, control.Shot, control.AllOff, control.Silence, control.Setpoint,
	control.SetAside, control.TakeUp, control.TakeOut, control.TryOut,
}

func (w *whole) requireMark(t *testing.T, m history.Mark, r *http.Request) {
	t.Helper()
	require.Equal(t, http.MethodPost, r.Method)
	require.Contains(t, marks, m.Kind)
	require.NotEqual(t, "cross-site", r.Header.Get("Sec-Fetch-Site"))
	if m.Kind >= control.SetAside {
		require.True(t, strings.HasPrefix(r.RemoteAddr, "127."), r.RemoteAddr)
	}
	switch m.Kind {
	case control.SetAside, control.TakeUp, control.TakeOut:
		require.True(t, m.Kind == control.TakeUp || m.Code.MaySetAside())
		require.True(t, m.Kind != control.TakeOut || m.Code.MayTakeOut())
	default:
		require.True(t, m.Pot >= 0 && m.Pot < len(w.settings.Pots))
	}
	require.LessOrEqual(t, len([]rune(m.Text)), mostTyped)
	require.NotContains(t, m.Text, "\n")
	if m.Kind == control.Setpoint {
		require.True(t, strings.HasPrefix(r.RemoteAddr, "127."), r.RemoteAddr)
		require.True(t, m.C >= 140 && m.C <= 182, m.C) // eight below the melt trip
	} else {
		require.Zero(t, m.C)
	}
}

// FuzzRequest: whatever is asked, the handler answers: no panic, no failure of its
// own, well-formed JSON. What is no POST changes nothing; a POST leads to marks that
// people may make and to nothing else.
func FuzzRequest(f *testing.F) {
	const here, elsewhere = "127.0.0.1:50000", "192.0.2.7:50000" // RFC 5737
	const host, form = "Host: localhost:8080", "Content-Type: application/x-www-form-urlencoded"
	w := wholeDaemon(f)
	o, _ := options(&frames.Hub{})
	for _, route := range (&server{Options: o}).routes() {
		method, path, _ := strings.Cut(route.pattern, " ")
		path = strings.NewReplacer("{$}", "", "{name}", "bench.css", "{pot}", "2", "{command}", "stir", "{run}", "1",
			"{shot}", "1", "{plot}", "plot.svg", "{fingerprint}", "abc", "{photo}", "1", "{attempt}", "1", "{size}", "small", "{code}", "melt_high", "{action}", "back", "{phone}", "1").Replace(path)
		f.Add(method, path, host, "", false)
		f.Add(method, path, host+"\r\nSec-Fetch-Site: cross-site", "", false)
		f.Add(method, path, "Host: bench.example\r\nAuthorization: Bearer "+token, "", true)
	}
	post := func(path, body string) {
		f.Add("POST", path, host+"\r\nAccept: text/html\r\n"+form, body, false)
		f.Add("POST", path+"?"+body, host, "", false)
	}
	post("/api/v1/pots/1/setpoint", "setpoint=170+C")
	post("/api/v1/pots/3/colour-added", "what=black&amount=3+mL")
	post("/api/v1/pots/1/draw", "amount=60+mL")
	post("/api/v1/pots/2/try-out", "")
	post("/api/v1/pots/2/hand-reading", "reading=168&unit=C")
	post("/api/v1/shot", "mould=eel%0A")
	post("/api/v1/note", "text=remember")
	post("/api/v1/alarms/melt_high/2/shelve", "minutes=10")
	post("/api/v1/alarms/e_stop_open/0/acknowledge", "")
	post("/api/v1/runs/1/note", "note=bled")
	post("/api/v1/runs/1/shots/1", "mould=eel&note=good&withdrawn=yes")
	post("/api/v1/runs/1/shots/1/verdict", "fault=bled&colour=slate&colour=rust&cavity=1&day=2")
	post("/api/v1/runs/1/shots/1/verdict", "fault=bled&take-back=1")
	post("/api/v1/recipes/abc/change", "text=name:+x&do=keep")
	post("/api/v1/runs/1/shots/1/try", "fault=bled&choice=1")
	post("/api/v1/attempts/1/end", "why=no")
	for _, target := range []string{
		"/runs?text=eel&state=finished&fault=bled&spoiled=1&since=2026-01-01&unit=f", "/runs/1?from=3&to=12.5&unit=f",
		"/runs/1/plot.png?width=300&height=500&from=1&to=9&dark=1&fahrenheit=1", "/runs/1/plot.pdf", "/api/v1/trend?rows=3", "/api/v1/trend?rows=9&from=1&to=4",
		"/api/v1/runs/99", "/runs/now", "/?still", "/?token=an+invented+token", "http://localhost/healthz", "/assets/..%2fpages.go", "//runs",
	} {
		f.Add("GET", target, host, "", false)
		f.Add("HEAD", target, host, "", false)
	}
	f.Fuzz(func(t *testing.T, method, target, headers, body string, remote bool) {
		from := here
		if remote {
			from = elsewhere
		}
		r := asks(method, target, headers, body, from)
		if r == nil {
			return
		}
		w.submitted = w.submitted[:0]
		now := holding() // live at any time
		now.Pots[1].CanBeTried = true
		w.hub.Publish(now)
		recorded := httptest.NewRecorder()
		w.handler.ServeHTTP(recorded, r)
		a := recorded.Result()
		text, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		require.True(t, a.StatusCode >= 200 && a.StatusCode < 500, "%d: %s", a.StatusCode, text) // nothing is wrong with this bench
		if strings.HasSuffix(a.Header.Get("Content-Type"), "json") {
			require.True(t, json.Valid(text), "%s", text)
		}
		for _, m := range w.submitted {
			w.requireMark(t, m, r)
		}
		require.True(t, len(w.submitted) <= 1 && (len(w.submitted) == 0 || a.StatusCode < 400))
		if kept := w.keeps(t); r.Method == http.MethodPost && a.StatusCode < 400 {
			w.kept = kept
		} else {
			require.Equal(t, w.kept, kept)
		}
	})
}

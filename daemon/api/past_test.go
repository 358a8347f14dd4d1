package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

// keptBench is a handler over a history with one run being recorded, which has two
// shots. end ends the run.
func keptBench(t *testing.T) (h http.Handler, s *history.Store) {
	t.Helper()
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	began := time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC)
	set := settings()
	r, err := s.Record(began, history.Start{Title: "invented", RecipeName: "invented eel", Fingerprint: "abc", Recipe: "name: invented", Settings: set})
	require.NoError(t, err)
	tracker := shot.NewTracker(set.Pots)
	for i := range 600 {
		f := holding().Frame
		f.Cycle, f.Time = uint64(i+1), time.Duration(i)*set.Period
		in := control.Input{Elapsed: set.Period, Pots: make([]control.PotReadings, len(set.Pots))}
		k := history.Kept{Record: cycles.Keep(began.Add(f.Time), &in, &f)}
		if i%250 == 240 {
			k.Events = []history.Event{{Kind: history.ShotPushed, Pot: history.WholeBench, Text: "eel"}}
			k.Shot, k.Mould = tracker.See(&f, []control.Command{{Kind: control.Shot}}), "eel"
		}
		r.PutAll(k)
	}
	require.Eventually(t, func() bool { shots, err := s.Shots(1); return err == nil && len(shots) == 2 }, time.Minute, time.Millisecond)
	t.Cleanup(func() {
		require.NoError(t, r.Close(began.Add(time.Hour)))
		require.NoError(t, s.Close())
	})
	o, _ := options(&frames.Hub{})
	o.History = s
	return New(o), s
}

// form is a POST of a form from this computer.
func form(target string, fields url.Values, headers ...string) *http.Request {
	r := request("POST", target, append(headers, "Content-Type: application/x-www-form-urlencoded")...)
	r.Body = io.NopCloser(strings.NewReader(fields.Encode()))
	return r
}

func TestMarksCarryWhatWasTyped(t *testing.T) {
	for target, c := range map[string]struct {
		fields url.Values
		want   history.Mark
	}{
		"/api/v1/shot": {url.Values{"mould": {" eel, two cavities "}},
			history.Mark{Command: control.Command{Kind: control.Shot}, Text: "eel, two cavities"}},
		"/api/v1/note": {url.Values{"text": {"fan is loud"}}, history.Mark{Text: "fan is loud"}},
		"/api/v1/pots/2/colour-added": {url.Values{"what": {"black"}, "amount": {"6 drops"}},
			history.Mark{Command: control.Command{Kind: control.ColourAdded, Pot: 1}, Text: "black", Amount: "6 drops"}},
		"/api/v1/pots/1/colour-added": {url.Values{"amount": {"20 mL"}},
			history.Mark{Command: control.Command{Kind: control.ColourAdded, ML: 20}, Amount: "20 mL"}},
		"/api/v1/pots/2/draw": {url.Values{"amount": {"60 mL"}},
			history.Mark{Command: control.Command{Kind: control.Draw, Pot: 1, ML: 60}, Amount: "60 mL"}},
		"/api/v1/pots/1/setpoint": {url.Values{"setpoint": {"338 F"}},
			history.Mark{Command: control.Command{Kind: control.Setpoint, C: 170}, Amount: "338 F"}},
	} {
		o, queue := options(&frames.Hub{})
		o.Settings.Limits.MeltTripC = 190
		for i := range o.Settings.Pots {
			o.Settings.Pots[i].PlateLimitC = 230
		}
		require.Equal(t, http.StatusAccepted, do(New(o), form(target, c.fields)).StatusCode, target)
		assert.Equal(t, c.want, <-queue, target)
	}
}

// TestOnlyAHeldPotIsTriedOut, and whoever asks for another one is told.
func TestOnlyAHeldPotIsTriedOut(t *testing.T) {
	f := holding()
	f.Pots[1].CanBeTried = true
	h, queue := published(f)
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/pots/2/try-out", nil)).StatusCode)
	assert.Equal(t, history.Mark{Command: control.Command{Kind: control.TryOut, Pot: 1}}, <-queue)
	requireProblem(t, do(h, form("/api/v1/pots/3/try-out", nil)), http.StatusConflict)
	h, _ = published(nil)
	requireProblem(t, do(h, form("/api/v1/pots/2/try-out", nil)), http.StatusConflict)
}

func TestMarksThatAreRefused(t *testing.T) {
	o, queue := options(&frames.Hub{})
	o.Settings.Limits.MeltTripC = 190
	h := New(o)
	requireProblem(t, do(h, form("/api/v1/note", nil)), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/pots/1/draw", url.Values{"amount": {"two shots"}})), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/shot", url.Values{"mould": {strings.Repeat("x", 201)}})), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/note", url.Values{"text": {"two\nlines"}})), http.StatusBadRequest)
	for _, typed := range []string{"", "170", "400 F", "nan C", "250 C"} {
		requireProblem(t, do(h, form("/api/v1/pots/1/setpoint", url.Values{"setpoint": {typed}})), http.StatusBadRequest)
	}
	// Rule: nothing elsewhere may raise heat, not with the token either.
	away := form("/api/v1/pots/1/setpoint", url.Values{"setpoint": {"170 C"}}, "Host: bench.example", "Authorization: Bearer "+token)
	away.RemoteAddr = "192.0.2.7:50000"
	requireProblem(t, do(h, away), http.StatusForbidden)
	assert.Empty(t, queue)
}

func answered(t *testing.T, a *http.Response, into any) {
	t.Helper()
	require.Equal(t, http.StatusOK, a.StatusCode)
	require.NoError(t, json.NewDecoder(a.Body).Decode(into))
}

func TestPastRunsAreReadAndJudged(t *testing.T) {
	h, s := keptBench(t)
	var list struct{ Runs []history.Run }
	answered(t, do(h, request("GET", "/api/v1/runs?text=eel")), &list)
	require.Len(t, list.Runs, 1)
	assert.Equal(t, history.Recording, list.Runs[0].State)
	answered(t, do(h, request("GET", "/api/v1/runs?spoiled=yes")), &list)
	assert.Empty(t, list.Runs)

	verdict := "/api/v1/runs/now/shots/2/verdict"
	bled := url.Values{"fault": {"bled"}, "colour": {"chalk", "slate"}, "cavity": {"2"}, "day": {"1"}}
	require.Equal(t, http.StatusOK, do(h, form(verdict, bled)).StatusCode)
	require.Equal(t, http.StatusOK, do(h, form("/api/v1/runs/1/shots/1", url.Values{"withdrawn": {"yes"}, "note": {"dropped it"}})).StatusCode)
	require.Equal(t, http.StatusOK, do(h, form("/api/v1/runs/1/note", url.Values{"note": {"damp"}})).StatusCode)
	var one struct {
		Run   history.Run
		Shots []history.Shot
	}
	answered(t, do(h, request("GET", "/api/v1/runs/now")), &one)
	assert.Equal(t, "damp", one.Run.Note)
	assert.Equal(t, 1, one.Run.Shots, "one was taken back")
	assert.True(t, one.Shots[0].Withdrawn)
	assert.Equal(t, "dropped it", one.Shots[0].Note)
	assert.Equal(t, "bled: slate and chalk, cavity 2, day 1", one.Shots[1].Verdicts[0].String())

	bled.Set("take-back", "yes")
	require.Equal(t, http.StatusOK, do(h, form(verdict, bled)).StatusCode)
	shots, err := s.Shots(1)
	require.NoError(t, err)
	assert.Empty(t, shots[1].Verdicts)

	back := do(h, form(verdict, url.Values{"fault": {"clean"}}, "Accept: text/html"))
	assert.Equal(t, http.StatusSeeOther, back.StatusCode)
	assert.Equal(t, "/runs/1#shot-2", back.Header.Get("Location"))
}

func TestPicturesOfARun(t *testing.T) {
	h, _ := keptBench(t)
	for path, mediaType := range map[string]string{
		"/runs/1/plot.svg": "image/svg+xml", "/runs/now/plot.png?dark=1&fahrenheit=1&width=600&height=700": "image/png",
		"/runs/1/plot.pdf?from=10&to=60.5": "application/pdf",
	} {
		a := do(h, request("GET", path))
		require.Equal(t, http.StatusOK, a.StatusCode, path)
		assert.Equal(t, mediaType, a.Header.Get("Content-Type"))
	}
	for path, status := range map[string]int{
		"/runs/1/plot.gif": 404, "/runs/9/plot.svg": 404, "/runs/1/plot.svg?width=5": 400, "/runs/1/plot.svg?width=x": 400,
		"/runs/1/plot.svg?from=nan": 400, "/runs/1/plot.svg?from=60&to=10": 400, "/runs/x/plot.svg": 404,
	} {
		requireProblem(t, do(h, request("GET", path)), status)
	}
}

func TestMistakesAboutThePast(t *testing.T) {
	h, _ := keptBench(t)
	for target, c := range map[string]struct {
		fields url.Values
		status int
	}{
		"/api/v1/runs/9/note":              {url.Values{"note": {"x"}}, 404},
		"/api/v1/runs/1/shots/9":           {url.Values{"note": {"x"}}, 404},
		"/api/v1/runs/1/shots/x":           {nil, 404},
		"/api/v1/runs/1/shots/9/verdict":   {url.Values{"fault": {"bled"}}, 404},
		"/api/v1/runs/1/shots/1/verdict":   {url.Values{"fault": {"burnt"}}, 400},
		"/api/v1/runs/1/shots/2/verdict":   {url.Values{"fault": {"bled"}, "colour": {"teal"}}, 400},
		"/api/v1/runs/now/shots/1/verdict": {url.Values{"fault": {"bled"}, "day": {"soon"}}, 400},
		"/api/v1/runs/now/shots/2/verdict": {url.Values{"fault": {"seam"}, "take-back": {"yes"}}, 400},
		"/api/v1/runs/one/shots/1/verdict": {url.Values{"fault": {"bled"}}, 404},
	} {
		requireProblem(t, do(h, form(target, c.fields)), c.status)
	}
	nothingKept, _ := published(holding())
	requireProblem(t, do(nothingKept, request("GET", "/api/v1/runs/now")), 404)
	var list struct{ Runs []history.Run }
	answered(t, do(nothingKept, request("GET", "/api/v1/runs")), &list)
	assert.Empty(t, list.Runs)
	var recipes struct{ Recipes []history.Version }
	answered(t, do(h, request("GET", "/api/v1/recipes")), &recipes)
	assert.Len(t, recipes.Recipes, 1)
}

// TestMarksThatDoNotAddUp: what can not become a recipe, letters that would play with
// a terminal, somebody in between, a change of nothing.
func TestMarksThatDoNotAddUp(t *testing.T) {
	h, _ := keptBench(t)
	requireProblem(t, do(h, form("/api/v1/pots/1/colour-added", url.Values{"what": {"black"}, "amount": {"a bit"}})), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/note", url.Values{"text": {"\x1b[2J"}})), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/pots/1/setpoint", url.Values{"setpoint": {"170 C"}}, "X-Forwarded-For: 192.0.2.7")), http.StatusForbidden)
	requireProblem(t, do(h, form("/api/v1/pots/1/try-out", nil, "X-Forwarded-For: 192.0.2.7")), http.StatusForbidden)
	requireProblem(t, do(h, form("/api/v1/runs/1/shots/1", nil)), http.StatusBadRequest)
	requireProblem(t, do(h, form("/api/v1/runs/1/shots/1", url.Values{"withdrawn": {"maybe"}})), http.StatusBadRequest)
	requireProblem(t, do(h, request("GET", "/api/v1/runs?since=june")), http.StatusBadRequest)
	requireProblem(t, do(h, request("GET", "/runs/1/plot.png?width=8000&height=8000")), http.StatusBadRequest)
	requireProblem(t, do(h, request("GET", "/runs/1/plot.png", "Sec-Fetch-Site: cross-site")), http.StatusForbidden)

	o, queue := options(&frames.Hub{})
	require.Equal(t, http.StatusAccepted, do(New(o), form("/api/v1/pots/2/colour-added", url.Values{"what": {"3 drops black"}})).StatusCode)
	m := <-queue
	assert.Equal(t, "black", m.Text)
	assert.Equal(t, "3 drops", m.Amount, "typed in front of what it is of")
	away := form("/api/v1/pots/2/stir", nil, "Host: bench.example", "Authorization: Bearer "+token)
	away.RemoteAddr = "192.0.2.7:50000"
	require.Equal(t, http.StatusAccepted, do(New(o), away).StatusCode)
	assert.True(t, (<-queue).Afar, "it tells nothing about who is at the bench")
}

// TestOnePictureAtATime: the bench comes first.
func TestOnePictureAtATime(t *testing.T) {
	s := &server{drawing: make(chan struct{}, drawAtOnce)}
	require.True(t, s.mayDraw(request("GET", "/")))
	gone, leave := context.WithCancel(context.Background())
	leave()
	assert.False(t, s.mayDraw(request("GET", "/").WithContext(gone)))
	<-s.drawing
	assert.True(t, s.mayDraw(request("GET", "/")))
}

// TestNoTrialIsOfferedWhereThereIsNone: a pot with one probe, or with a controller of its own,
// can not be tried out, and its place says nothing of it.
func TestNoTrialIsOfferedWhereThereIsNone(t *testing.T) {
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, _ := options(hub)
	o.Settings.Pots[0].Controller = control.Controller{RestC: 5, Every: 10 * time.Second}
	o.Settings.Pots[1].Probes = reading.MeltOnly
	text, err := io.ReadAll(do(New(o), request(http.MethodGet, "/")).Body)
	require.NoError(t, err)
	for pot, offered := range []bool{false, false, true} {
		assert.Equal(t, offered, strings.Contains(string(text), fmt.Sprintf("/api/v1/pots/%d/try-out", pot+1)), "pot %d", pot+1)
	}
}

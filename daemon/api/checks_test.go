package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/checks"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

const neverCalibrated = "Calibration: no melt probe has ever been calibrated."

// TestChecksAreAdvice: what is ticked is shown again and written down with the run, no
// command comes of it, and the program says itself what the probes and interlocks read.
func TestChecksAreAdvice(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	e.pass(nil, nil, "")
	t.Cleanup(e.end)
	hub := &frames.Hub{}
	o, _ := options(hub)
	o.History = store
	var marks []history.Mark
	o.Submit = func(m history.Mark) error { marks = append(marks, m); return nil }
	hub.Publish(tripped())
	h := New(o)
	shown := func() (p struct {
		Checks []struct {
			Key    string
			Ticked *time.Time
			Reads  *struct{ State string }
		}
		Probes    []struct{ C *float64 }
		Agreement string
	}) {
		a := do(h, request("GET", "/api/v1/checks"))
		require.Equal(t, http.StatusOK, a.StatusCode)
		require.NoError(t, json.NewDecoder(a.Body).Decode(&p))
		return p
	}
	p := shown()
	require.Len(t, p.Checks, 12)
	require.Len(t, p.Probes, 6)
	assert.Nil(t, p.Probes[4].C, "not read, and not zero")
	assert.Equal(t, "too warm to compare", p.Agreement)
	require.NotNil(t, p.Checks[4].Reads)
	hub.Publish(holding())
	assert.Equal(t, "not compared: heat has been on", shown().Agreement)
	hub.Publish(tripped())

	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/checks", url.Values{"ticked": {"dry", "sound"}})).StatusCode)
	require.Len(t, marks, 2, "each by itself")
	for _, m := range marks {
		assert.Zero(t, m.Kind, "it is nothing to control")
		assert.Equal(t, history.Ticked, m.As)
	}
	marks = nil
	for _, c := range shown().Checks {
		assert.Equal(t, c.Key == "dry" || c.Key == "sound", c.Ticked != nil, c.Key)
	}
	unknown := do(h, form("/api/v1/checks", url.Values{"ticked": {"enable"}}))
	require.Equal(t, http.StatusBadRequest, unknown.StatusCode)
	words, err := io.ReadAll(unknown.Body)
	require.NoError(t, err)
	assert.Contains(t, string(words), `write one of extraction, `)
	var all []string
	for _, c := range p.Checks {
		if c.Key != "sound" {
			all = append(all, c.Key)
		}
	}
	hub.Publish(tripped()) // a frame is old after two seconds
	require.Equal(t, http.StatusSeeOther, do(h, form("/api/v1/checks", url.Values{"ticked": all, "was_ticked": {"sound"}, "keep": {"yes"}}, "Accept: text/html")).StatusCode)
	require.Len(t, marks, 12, "ten ticked off, one taken away, and the line")
	last := marks[11]
	assert.Zero(t, last.Kind, "it is nothing to control")
	event, ok := history.EventOf(last)
	require.True(t, ok)
	assert.Equal(t, history.Checked, event.Kind)
	assert.Contains(t, event.Text, "all but sound; probes: too warm to compare")

	// Of a real bench it is said which probes should be calibrated, of an invented one nothing.
	said := func() string {
		var p struct{ Calibration string }
		require.NoError(t, json.NewDecoder(do(New(o), request("GET", "/api/v1/checks")).Body).Decode(&p))
		return p.Calibration
	}
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	o.Bench, o.Simulated = bench, true
	require.Empty(t, said())
	o.Simulated = false
	require.Equal(t, neverCalibrated, said())
	require.Contains(t, body(t, do(New(o), request("GET", "/checks"))), "<p>"+neverCalibrated+"</p>")

	o.History = nil
	requireProblem(t, do(New(o), form("/api/v1/checks", url.Values{"keep": {"yes"}})), http.StatusNotFound)
}

// TestATickIsOfItsRun, and of the one who made it: a page that was left open takes nothing
// away that was ticked since, and says nothing for others; a tick is gone after twelve hours
// and in another run, and is still there when its run goes on after a restart.
func TestATickIsOfItsRun(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	e.pass([]history.Event{
		{Kind: history.Ticked, Text: "sound", Pot: history.WholeBench}, {Kind: history.Ticked, Text: "gloves and face shield", Pot: history.WholeBench},
		{Kind: history.Unticked, Text: "sound", Pot: history.WholeBench}, {Kind: history.Ticked, Text: "all dry", Pot: history.WholeBench, From: "phone red"},
	}, nil, "")
	require.Eventually(t, func() bool { events, err := store.Events(store.Live()); return err == nil && len(events) == 4 }, time.Minute, 10*time.Millisecond)
	s, _, _ := letting(t)
	s.History = store
	s.Submit = func(history.Mark) error { return nil }
	h := s.handler()
	blue := carriedBy(t, s.Phones, "blue", time.Now(), time.Hour)
	stands := func() string {
		var all []string
		for _, row := range s.checkRows(false) {
			if row.Ticked != nil {
				all = append(all, row.Key+" "+row.From)
			}
		}
		return strings.Join(all, ", ")
	}
	assert.Equal(t, "gloves , dry phone red", stands(), "from before the restart")
	for _, fields := range []url.Values{
		{"ticked": {"fuse"}}, // by a script
		{"ticked": {"dry", "mould"}, "was_ticked": {"dry"}}, // by a page that knew of dry only
		{"ticked": {"gloves"}},                              // it stands: who made it stays
	} {
		require.Equal(t, http.StatusAccepted, do(h, fromPhone("POST", "/api/v1/checks", blue, fields)).StatusCode)
	}
	assert.Equal(t, "gloves , fuse phone blue, dry phone red, mould phone blue", stands())
	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/checks", url.Values{"was_ticked": {"dry"}})).StatusCode)
	assert.Equal(t, "gloves , fuse phone blue, mould phone blue", stands())
	page := body(t, do(h, request("GET", "/checks")))
	requireAll(t, page, "A tick is for this run only, and for 12 hours at most", ", phone blue</small>", ", at the bench</small>")

	now, run := time.Now(), store.Live()
	_, is := s.ticked.when("fuse", now.Add(checks.Stands), run)
	assert.False(t, is)
	_, is = s.ticked.when("fuse", now, run+1)
	assert.False(t, is)
	s.Submit = func(history.Mark) error { return errors.New("full") }
	requireProblem(t, do(h, form("/api/v1/checks", url.Values{"ticked": {"dry"}})), http.StatusServiceUnavailable)
	assert.NotContains(t, stands(), "dry", "it was not kept")
	e.end()
}

// TestWhatIsRecalledLateChangesNothingNewer: a history that could be read only later does not
// write over what was ticked off, or taken away, since.
func TestWhatIsRecalledLateChangesNothingNewer(t *testing.T) {
	store, began := opened(t), time.Now()
	e := begun(t, store, began, string(config.DemoRecipe().Typed))
	t.Cleanup(e.end)
	all := checks.Of(nil, nil, "")
	var events []history.Event
	for i, kind := range []history.Kind{history.Ticked, history.Unticked, history.Ticked, history.Ticked} {
		events = append(events, history.Event{Kind: kind, Text: all[i].Short, Pot: history.WholeBench, From: "phone blue"})
	}
	e.pass(events, nil, "")
	require.Eventually(t, func() bool { got, err := store.Events(store.Live()); return err == nil && len(got) == len(events) }, time.Minute, 10*time.Millisecond)
	var is ticked
	kept := func() error { return nil }
	later := tick{at: began.Add(time.Hour), run: store.Live()}
	for i, on := range []bool{true, true, true} {
		require.NoError(t, is.set(all[i].Key, on, later, kept))
	}
	require.NoError(t, is.set(all[2].Key, false, later, kept))
	is.recall(store, store.Live(), all)
	var stand []string
	for i := range events {
		if on, stands := is.when(all[i].Key, later.at, store.Live()); stands {
			stand = append(stand, fmt.Sprint(i, on.from))
		}
	}
	assert.Equal(t, []string{"0", "1", "3phone blue"}, stand)
}

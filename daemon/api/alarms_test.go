package api

import (
	"database/sql"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

func TestAlarmsAreListedAndActedOn(t *testing.T) {
	o, queue := options(&frames.Hub{})
	said := func() control.Command { m := <-queue; return m.Command }
	h := New(o)
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{
		{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true},
		{Code: guard.MeltNoisy, Pot: 1, Severity: guard.Warning, Active: true},
	}})
	type list struct {
		Alarms []struct {
			Code, State, Priority string
			Pot                   int
		}
		Calls int `json:"calls_in_10_min"`
	}
	var now list
	answered(t, do(h, request("GET", "/api/v1/alarms")), &now)
	require.Len(t, now.Alarms, 2)
	assert.Equal(t, "e_stop_open", now.Alarms[0].Code)
	assert.Equal(t, 2, now.Alarms[1].Pot)
	assert.Equal(t, 2, now.Calls)

	const warm, stop = "/api/v1/alarms/melt_noisy/2/", "/api/v1/alarms/e_stop_open/0/"
	away := form(stop+"acknowledge", nil, "Host: bench.example", "Authorization: Bearer "+token)
	away.RemoteAddr = "192.0.2.7:50000"
	requireProblem(t, do(h, away), http.StatusForbidden)
	quiet := form("/api/v1/silence", nil, "Host: bench.example", "Authorization: Bearer "+token)
	quiet.RemoteAddr = away.RemoteAddr
	requireProblem(t, do(h, quiet), http.StatusForbidden)
	require.Equal(t, http.StatusOK, do(h, form(stop+"acknowledge", nil)).StatusCode)
	require.Equal(t, http.StatusOK, do(h, form(warm+"shelve", url.Values{"minutes": {"10"}})).StatusCode)
	requireProblem(t, do(h, form(warm+"back", nil)), http.StatusServiceUnavailable) // the last mark still waits
	assert.Equal(t, control.Command{Kind: control.SetAside, Code: guard.MeltNoisy, Pot: 1, For: 10 * time.Minute}, said())
	require.Equal(t, http.StatusOK, do(h, form(warm+"back", nil)).StatusCode)
	sure := url.Values{"sure": {"yes"}}
	requireProblem(t, do(h, form(warm+"out-of-service", sure)), http.StatusServiceUnavailable)
	assert.Equal(t, control.Command{Kind: control.TakeUp, Code: guard.MeltNoisy, Pot: 1}, said())
	requireProblem(t, do(h, form(warm+"out-of-service", nil)), http.StatusBadRequest) // asked for twice
	require.Equal(t, http.StatusOK, do(h, form(warm+"out-of-service", sure)).StatusCode)
	requireProblem(t, do(h, form(warm+"shelve", url.Values{"minutes": {"10"}})), http.StatusServiceUnavailable)
	assert.Equal(t, control.Command{Kind: control.TakeOut, Code: guard.MeltNoisy, Pot: 1}, said())
	for target, c := range map[string]struct {
		fields url.Values
		status int
	}{
		stop + "shelve": {url.Values{"minutes": {"10"}}, 403},
		warm + "shelve": {url.Values{"minutes": {"500"}}, 400},
		warm + "forget": {nil, 404},
		"/api/v1/alarms/melt_noisy/1/acknowledge":    {nil, 404},
		"/api/v1/alarms/melt_noisy/9/acknowledge":    {nil, 404},
		"/api/v1/alarms/no_such_alarm/1/acknowledge": {nil, 404},
	} {
		requireProblem(t, do(h, form(target, c.fields)), c.status)
	}
	requireProblem(t, do(h, form(warm+"shelve", nil)), http.StatusBadRequest)
	answered(t, do(h, request("GET", "/api/v1/alarms")), &now)
	assert.Equal(t, "acknowledged", now.Alarms[0].State)
	assert.Equal(t, "out of service", now.Alarms[1].State)
}

// TestOnlyWhatMayBeSetAsideIsOffered: no button answers with a refusal.
func TestOnlyWhatMayBeSetAsideIsOffered(t *testing.T) {
	o, _ := options(&frames.Hub{})
	h := New(o)
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{
		{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true},
		{Code: guard.MeltHigh, Pot: 0, Severity: guard.Warning, Active: true},
		{Code: guard.MeltNoisy, Pot: 1, Severity: guard.Warning, Active: true},
		{Code: guard.FastFall, Pot: 1, Severity: guard.Warning, Active: true},
	}})
	answer := do(h, request("GET", "/alarms"))
	require.Equal(t, http.StatusOK, answer.StatusCode)
	page, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	for alarm, offered := range map[string][2]bool{"e_stop_open/0": {}, "melt_high/1": {}, "melt_noisy/2": {true, true}, "fast_fall/2": {true, false}} {
		for i, act := range []string{"/shelve", "/out-of-service"} {
			assert.Equal(t, offered[i], strings.Contains(string(page), alarm+act), "%s%s", alarm, act)
		}
	}
}

// TestWhatNeedsSomebodyIsShownWithoutAHistory, and that what has happened can not be read is said.
func TestWhatNeedsSomebodyIsShownWithoutAHistory(t *testing.T) {
	folder := t.TempDir()
	store, err := history.Open(folder)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, store.Close()) })
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	t.Cleanup(e.end)
	hub := &frames.Hub{}
	hub.Publish(tripped())
	o, _ := options(hub)
	o.History = store
	h := New(o)
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}}})
	db, err := sql.Open("sqlite", "file:"+filepath.Join(folder, history.FileName))
	require.NoError(t, err)
	defer db.Close()
	_, err = db.Exec(`ALTER TABLE event RENAME TO lost`)
	require.NoError(t, err)
	requireAll(t, pageOf(t, h, "/alarms"), `id="alarm-e_stop_open-0"`, "Do this first", "Not readable")
	_, err = db.Exec(`ALTER TABLE lost RENAME TO event`)
	require.NoError(t, err)
	assert.NotContains(t, pageOf(t, h, "/alarms"), "Not readable")
}

// TestWhatNeedsSomebodyComesInOrder: what to do first, what then, what is over and was not
// seen, what is set aside; then the instruction of every finding, folded, and open where it
// stands. The states are those of ANSI/ISA-18.2, in a maker's words.
func TestWhatNeedsSomebodyComesInOrder(t *testing.T) {
	hub := &frames.Hub{}
	hub.Publish(tripped())
	o, queue := options(hub)
	h := New(o)
	assert.Contains(t, pageOf(t, h, "/alarms"), "That is no proof that all is well.")
	stop := guard.Condition{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}
	noisy := guard.Condition{Code: guard.MeltNoisy, Pot: 1, Severity: guard.Warning, Active: true}
	weak := guard.Condition{Code: guard.HeaterWeak, Pot: 2, Severity: guard.Warning, Active: true}
	falls := guard.Condition{Code: guard.FastFall, Pot: 0, Severity: guard.Warning, Active: true}
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{weak, falls, noisy, stop}})
	o.Alarms.See(&control.Frame{Time: time.Minute, Conditions: []guard.Condition{weak, noisy, stop}})
	o.Alarms.See(&control.Frame{Time: 2 * time.Minute, Conditions: []guard.Condition{weak, noisy, stop}})
	require.Equal(t, http.StatusOK, do(h, form("/api/v1/alarms/melt_noisy/2/shelve", url.Values{"minutes": {"10"}})).StatusCode)
	<-queue
	page := pageOf(t, h, "/alarms")
	last := 0
	for _, next := range []string{
		"Do this first", `id="alarm-e_stop_open-0"`, "stands; not seen yet", "After that", `id="alarm-heater_weak-3"`,
		"Over by itself", `id="alarm-fast_fall-1"`, "over; not seen yet", "Set aside", `id="alarm-melt_noisy-2"`, "set aside for a while", "Call it again",
		"What has happened", "What the guard looks for", "Cuts the heat of every pot", "Only tells you",
	} {
		i := strings.Index(page[last:], next)
		require.GreaterOrEqual(t, i, 0, "%q does not come next", next)
		last += i
	}
	for _, c := range guard.Codes() {
		before, _, found := strings.Cut(page, `<div id="rule-`+c.String()+`"`)
		require.True(t, found, c)
		folded := before[strings.LastIndex(before, "<details"):]
		stands := c == guard.EStopOpen || c == guard.MeltNoisy || c == guard.HeaterWeak || c == guard.FastFall
		assert.Equal(t, stands, strings.HasPrefix(folded, "<details open>"), c)
	}
}

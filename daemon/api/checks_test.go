package api

import (
	"encoding/json"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

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

	require.Equal(t, http.StatusAccepted, do(h, form("/api/v1/checks", url.Values{"ticked": {"dry", "sound"}})).StatusCode)
	assert.Empty(t, marks)
	for _, c := range shown().Checks {
		assert.Equal(t, c.Key == "dry" || c.Key == "sound", c.Ticked != nil, c.Key)
	}
	requireProblem(t, do(h, form("/api/v1/checks", url.Values{"ticked": {"enable"}})), http.StatusBadRequest)
	var all []string
	for _, c := range p.Checks {
		if c.Key != "sound" {
			all = append(all, c.Key)
		}
	}
	require.Equal(t, http.StatusSeeOther, do(h, form("/api/v1/checks", url.Values{"ticked": all, "keep": {"yes"}}, "Accept: text/html")).StatusCode)
	require.Len(t, marks, 1)
	assert.Zero(t, marks[0].Kind, "it is nothing to control")
	event, ok := history.EventOf(marks[0])
	require.True(t, ok)
	assert.Equal(t, history.Checked, event.Kind)
	assert.Contains(t, event.Text, "all but sound; probes: too warm to compare")

	o.History = nil
	requireProblem(t, do(New(o), form("/api/v1/checks", url.Values{"keep": {"yes"}})), http.StatusNotFound)
}

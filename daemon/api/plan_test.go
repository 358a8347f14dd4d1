package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/plan"
)

// planned is a planner that rehearses nothing: an evening that is made up. It tells what
// was wanted of it.
func planned(t *testing.T, wanted *plan.Wanted) func(*config.Recipe, plan.Wanted) (*plan.Plan, error) {
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	return func(r *config.Recipe, w plan.Wanted) (*plan.Plan, error) {
		*wanted = w
		set, err := config.Settings(b, r)
		if err != nil {
			return nil, err
		}
		m := time.Minute
		c := plan.Course{Ready: 30 * m, PeakW: 2400, BusiestW: 1900, MeanW: 600, MinuteW: make([]float64, 30)}
		for range set.Pots {
			c.Pots = append(c.Pots, plan.PotCourse{Cures: 20 * m, Dwelled: 22 * m, Ready: 30 * m, Waits: []plan.Span{{From: 9 * m, To: 12 * m}}})
		}
		g := plan.Given{Bench: b, Recipe: r, Settings: set, Course: &c, Wanted: w}
		for range plan.MostEarlier {
			g.Earlier = append(g.Earlier, plan.Earlier{Run: 1, Took: 31 * m, Foreseen: 30 * m})
		}
		g.AssumeRoom(21)
		return plan.Of(g), nil
	}
}

func TestPlanOfAKeptRecipe(t *testing.T) {
	s := twoEvenings(t)
	versions, err := s.Versions()
	require.NoError(t, err)
	recent, old := versions[0].Fingerprint, versions[1].Fingerprint
	hub := &frames.Hub{}
	o, _ := options(hub)
	var wanted plan.Wanted
	o.History, o.Plan = s, planned(t, &wanted)
	h := New(o)
	get := func(target string, status int) string {
		t.Helper()
		a := do(h, request("GET", target))
		require.Equal(t, status, a.StatusCode)
		var body bytes.Buffer
		_, err := body.ReadFrom(a.Body)
		require.NoError(t, err)
		return body.String()
	}
	requireAll(t, get("/recipes/"+recent, 200), `href="/plan?recipe=`+recent+`"`, "Plan an evening with it")
	requireAll(t, get("/plan", 200), "Plan: slate eel", "local code", "no children", "blue grey: 18 drops", `value="`+recent+`" selected`,
		"31 min after the press, estimated", "171 °C ± 2 °C", `aria-current="page">Plan`, `<rect width="0"`)
	assert.True(t, math.IsNaN(wanted.RoomC), "nothing is read of the room")
	requireAll(t, get("/plan?recipe="+old+"&ready-at=20:00&room=68+F&unit=f", 200), `value="`+old+`" selected`, `value="20:00"`, "all is ready about 20:00", "338 °F ± 4 °F")
	assert.InDelta(t, 20, wanted.RoomC, 1e-9)
	assert.Equal(t, 20, wanted.ReadyAt.Hour())

	for target, want := range map[string]string{
		"/plan?at=25:00":                "at &#34;25:00&#34;: no time of day; write it like 19:30",
		"/plan?at=19:00&ready-at=20:00": "write only one of them",
		"/plan?room=68":                 "room &#34;68&#34;: unit missing",
		"/plan?room=168+C":              "hard to believe of a room",
	} {
		requireAll(t, get(target, 400), want, "Work it out")
	}
	requireAll(t, get("/plan?recipe=none", 404), "there is no such recipe version")
	requireProblem(t, do(h, request("GET", "/api/v1/plan?at=noon")), http.StatusBadRequest)

	var figures struct {
		Ready struct {
			MiddleS float64 `json:"middle_s"`
		}
		Pots []struct{ Amounts []string }
	}
	require.NoError(t, json.Unmarshal([]byte(get("/api/v1/plan?recipe="+old, 200)), &figures))
	assert.InDelta(t, 1850, figures.Ready.MiddleS, 20)
	assert.Len(t, figures.Pots, 3)

	o.Plan = func(*config.Recipe, plan.Wanted) (*plan.Plan, error) { return nil, errors.New("the disk is gone") }
	h = New(o)
	requireAll(t, get("/plan", 503), "the disk is gone")
}

func TestWithoutARecipeNothingIsPlanned(t *testing.T) {
	get := reader(t, opened(t))
	requireAll(t, get("/plan", 200), "Nothing can be planned yet", "meltwarden plan FILE")
	get = reader(t, nil)
	requireAll(t, get("/plan", 200), "Start it with --data")
	h, _ := published(nil)
	requireProblem(t, do(h, request("GET", "/api/v1/plan")), http.StatusNotFound)
}

// TestThePlanFitsAPhoneAndTwoSheets: nothing sticks out sideways, and on paper it is black
// on white, without buttons.
func TestThePlanFitsAPhoneAndTwoSheets(t *testing.T) {
	store := twoEvenings(t)
	var wanted plan.Wanted
	s := newStageWith(t, ready(), func(o *Options) { o.History, o.Plan = store, planned(t, &wanted) })
	for _, wide := range []int64{390, 1600} {
		s.do(chromedp.EmulateViewport(wide, 844), chromedp.Navigate(s.server.URL+"/plan?at=19:30"))
		s.becomes(`document.querySelector(".plan") !== null`)
		assert.True(t, evaluate[bool](s, `document.documentElement.scrollWidth <= innerWidth`), "%d px", wide)
	}
	sheets := s.sheets()
	assert.Positive(t, sheets)
	assert.LessOrEqual(t, sheets, 2)
}

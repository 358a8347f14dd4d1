package api

import (
	"encoding/json"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/batch"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// hot is a potful that was at 177 °C for some minutes.
func hot(minutes int) (h shot.Heat) {
	h.Add(177, 0)
	for range minutes * 60 {
		h.Add(177, time.Second)
	}
	return h
}

// heated is a run with batches, its pots at 177 °C for some minutes each; the recorder is
// not closed yet.
func heated(t *testing.T, s *history.Store, at time.Time, minutes int, events ...history.Event) *evening {
	t.Helper()
	recipe := config.DemoRecipe()
	r, err := s.Record(at, history.Start{
		Title: "invented", RecipeName: recipe.Name, Fingerprint: recipe.Fingerprint(), Recipe: string(recipe.Typed), Settings: settings(),
		Invented: true, DoseKJ: 150, Potfuls: batch.Potfuls(recipe, []string{"left", "middle", "right"}),
	})
	require.NoError(t, err)
	e := &evening{t: t, store: s, run: r, began: at}
	e.pass(events, nil, "")
	e.pass(nil, nil, "")
	card := allRight()
	for i := range card.Pots {
		card.Pots[i].RunDoseMin = frames.Figure(minutes)
	}
	e.shoot(card, "eel")
	require.Eventually(t, func() bool { shots, err := s.Shots(r.Run()); return err == nil && len(shots) == 1 }, time.Minute, time.Millisecond)
	require.NoError(t, s.KeepHeats(r.Run(), at, []shot.Heat{hot(minutes), hot(minutes), hot(minutes)}))
	return e
}

// TestABatchOnItsPages: the list, one of them, and what is in the pots of a run; a form
// without script says that it is the rest of an earlier one, and takes it back.
func TestABatchOnItsPages(t *testing.T) {
	s := opened(t)
	noon := time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)
	heated(t, s, noon, 20).end()
	live := heated(t, s, noon.AddDate(0, 0, 2), 10, history.Event{Kind: history.CameCured, Pot: 0})
	get := reader(t, s)
	all := get("/batches", 200)
	requireAll(t, all, "batch 1: slate", "batch 6: rust", "20 equal minutes", "≈ 260 mL left", "nothing to go by")
	assert.Less(t, strings.Index(all, "batch 6"), strings.Index(all, "batch 1:"), "the newest first")

	requireAll(t, get("/", 200), "What is in the pots", "batch 4: slate", "demo lot 1, ≈ 260 mL left, no reheat, 10 equal minutes",
		"<details open><summary>It was already cured: is it the rest of an earlier batch?", `<option value="1">batch 1: slate, demo lot 1, ≈ 260 mL left, no reheat, 20 equal minutes`)

	hub := &frames.Hub{}
	o, _ := options(hub)
	o.History = s
	h := New(o)
	post := func(path string, fields url.Values, headers ...string) (status int, location, body string) {
		t.Helper()
		a := do(h, form(path, fields, headers...))
		var text strings.Builder
		_ = a.Write(&text)
		return a.StatusCode, a.Header.Get("Location"), text.String()
	}
	status, to, _ := post("/api/v1/runs/2/pots/1/batch", url.Values{"batch": {"1"}, "bench": {"yes"}}, "Accept: text/html")
	assert.Equal(t, 303, status)
	assert.Equal(t, "/#potfuls", to)
	requireAll(t, get("/runs/now/potfuls", 200), "batch 1: slate", "1 reheat, 30 equal minutes", "No, it was made new")
	var remembered adviser
	for _, second := range []int{0, 30, 61} { // nothing is judged yet, then one is, and is seen a minute later
		advice, err := remembered.of(s, noon.Add(time.Duration(second)*time.Second))
		require.NoError(t, err)
		assert.Len(t, advice.Others, map[int]int{61: 3}[second])
		require.NoError(t, s.Judge(1, 1, shot.Verdict{Fault: shot.Clean, At: noon}))
	}
	live.end()
	requireAll(t, get("/runs/2", 200), "What is in the pots", "batch 1: slate", "heat dose", "30.0 equal min", "10.0 equal min")
	requireAll(t, get("/batches/1?unit=f", 200), "30 equal minutes</b> by the end", "in this run: 10 equal minutes", "run 2, shot 1", "at 117.5 kJ/mol", "10 °C hotter counts 2.4 times",
		`href="/runs/1?unit=f#potfuls"`)
	status, to, _ = post("/api/v1/runs/2/pots/1/batch", url.Values{"batch": {"new"}}, "Accept: text/html")
	assert.Equal(t, 303, status)
	assert.Equal(t, "/runs/2", to)
	requireAll(t, get("/runs/2", 200), "batch 4: slate")

	for want, x := range map[string]struct {
		path   string
		fields url.Values
		status int
	}{
		"write the number of an earlier batch, or new": {"/api/v1/runs/2/pots/1/batch", url.Values{"batch": {"x"}}, 400},
		"it was made in a later run":                   {"/api/v1/runs/1/pots/1/batch", url.Values{"batch": {"5"}}, 400},
		"run 2, pot 7: there is no such batch":         {"/api/v1/runs/2/pots/7/batch", url.Values{"batch": {"1"}}, 404},
		"run 9: there is no such run":                  {"/api/v1/runs/9/pots/1/batch", url.Values{"batch": {"1"}}, 404},
		"pots are numbered from 1":                     {"/api/v1/runs/2/pots/x/batch", url.Values{"batch": {"1"}}, 404},
		"there is no such batch; the command":          {"/api/v1/batches/99", url.Values{"lot": {"1"}}, 404},
		"nothing to change":                            {"/api/v1/batches/1", url.Values{}, 400},
		"unit missing":                                 {"/api/v1/batches/1", url.Values{"made": {"200"}}, 400},
		"colour: empty":                                {"/api/v1/batches/1", url.Values{"colour": {""}}, 400},
		"more than a line":                             {"/api/v1/batches/1", url.Values{"note": {"a\nb"}}, 400},
	} {
		status, _, body := post(x.path, x.fields)
		assert.Equal(t, x.status, status, want)
		assert.Contains(t, body, want)
	}
	status, to, _ = post("/api/v1/batches/1", url.Values{"lot": {"<b>7</b>"}, "made": {"1 US cup"}}, "Accept: text/html")
	assert.Equal(t, 303, status)
	assert.Equal(t, "/batches/1", to)
	requireAll(t, get("/batches/1", 200), "&lt;b&gt;7&lt;/b&gt;", "1 US cup", "≈ 237 mL left")
	requireAll(t, get("/batches/99", 404), "there is no such batch")

	a := do(h, request("GET", "/api/v1/batches/1"))
	var object struct {
		Batch map[string]any
		Shots []map[string]any
	}
	require.NoError(t, json.NewDecoder(a.Body).Decode(&object))
	assert.InDelta(t, 20, object.Batch["dose_min"], 0.01)
	assert.Len(t, object.Shots, 1)
	list := do(h, request("GET", "/api/v1/batches"))
	assert.Equal(t, 200, list.StatusCode)
}

// TestARunFromBeforeBatchesWereKept says that they are not recorded, and can have them.
func TestARunFromBeforeBatchesWereKept(t *testing.T) {
	s := twoEvenings(t)
	get := reader(t, s)
	requireAll(t, get("/batches", 200), "No batch is kept yet")
	requireAll(t, get("/runs/1", 200), "Not recorded: this run was kept before batches were.")
	o, _ := options(&frames.Hub{})
	o.History = s
	a := do(New(o), form("/api/v1/runs/1/pots/1/batch", url.Values{"batch": {"new"}}, "Accept: text/html"))
	assert.Equal(t, 303, a.StatusCode)
	assert.Len(t, regexp.MustCompile(`batch \d: `).FindAllString(get("/batches", 200), -1), 3)
	requireAll(t, get("/runs/1", 200), "batch 1: slate")
}

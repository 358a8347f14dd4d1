package api

import (
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

// evening is an invented run that is being recorded.
type evening struct {
	t     *testing.T
	store *history.Store
	run   *history.Recorder
	began time.Time
	n     uint64
}

// opened is an empty history.
func opened(t *testing.T) *history.Store {
	t.Helper()
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

// begun begins a run with a recipe.
func begun(t *testing.T, s *history.Store, began time.Time, recipe string) *evening {
	t.Helper()
	r, err := config.ParseRecipe("recipe", []byte(recipe))
	require.NoError(t, err)
	run, err := s.Record(began, history.Start{
		Title: "invented", RecipeName: r.Name, Fingerprint: r.Fingerprint(), Recipe: recipe, Settings: settings(), Invented: true,
	})
	require.NoError(t, err)
	return &evening{t: t, store: s, run: run, began: began}
}

// pass lets a few seconds pass; what happened is in the first cycle of them.
func (e *evening) pass(events []history.Event, card *shot.Card, mould string) {
	const passed = 30
	for i := range passed {
		e.n++
		at := time.Duration(e.n) * 200 * time.Millisecond
		in := control.Input{Elapsed: 200 * time.Millisecond}
		f := control.Frame{Cycle: e.n, Time: at}
		for _, p := range settings().Pots {
			in.Pots = append(in.Pots, control.PotReadings{Melt: good(p.SetpointC), Plate: good(205)})
			f.Pots = append(f.Pots, control.PotFrame{TargetC: p.SetpointC, Duty: .3})
		}
		kept := history.Kept{Record: cycles.Keep(e.began.Add(at), &in, &f)}
		if i == 0 {
			kept.Events, kept.Shot, kept.Mould = events, card, mould
		}
		e.run.Put(kept)
	}
}

func (e *evening) shoot(card shot.Card, mould string) {
	e.pass([]history.Event{{Kind: history.ShotPushed, Pot: history.WholeBench, Text: mould}}, &card, mould)
}

func (e *evening) end() { require.NoError(e.t, e.run.Close(e.began.Add(time.Hour))) }

// rustHot is the card of a shot with one pot 4 °C above its own target, and no mould
// probe.
func rustHot() shot.Card {
	u := frames.Unknown()
	card := shot.Card{SpreadC: 4.5, DrawToPushS: u, MouldC: u, RoomC: 21}
	for i, p := range settings().Pots {
		deviation := frames.Figure([]float64{-.5, 0, 4}[i])
		card.Pots = append(card.Pots, shot.Pot{
			Name: p.Name, Colour: p.Colour, State: "ready", MeltC: frames.Figure(p.SetpointC) + deviation,
			TargetC: frames.Figure(p.SetpointC), BandC: frames.Figure(p.BandC), DeviationC: deviation,
			SlopeCPerMin: .2, PlateC: 205, HeldMin: 12, SinceStirS: 20, DrawToPushS: u,
		})
	}
	return card
}

func allRight() shot.Card {
	card := rustHot()
	card.Pots[2].MeltC, card.Pots[2].DeviationC, card.SpreadC = 165, 0, .5
	return card
}

const (
	oldRecipe    = "setpoint: 170 C"
	recentRecipe = "setpoint: 171 C"
)

// twoEvenings are a run that was spoiled and, with another version of the recipe, a
// clean one.
func twoEvenings(t *testing.T) *history.Store {
	s := opened(t)
	recent := string(config.DemoRecipe().Typed)
	require.Contains(t, recent, recentRecipe)
	noon := time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)
	e := begun(t, s, noon, strings.Replace(recent, recentRecipe, oldRecipe, 1))
	e.pass([]history.Event{
		{Kind: history.Stirred}, {Kind: history.NewSetpoint, Pot: 2, Amount: "166 C", C: 166},
		{Kind: history.Addition, Pot: 1, Text: "white", Amount: "2 drops"},
	}, nil, "")
	e.shoot(allRight(), "")
	e.shoot(rustHot(), "eel, two cavities")
	e.end()
	require.NoError(t, s.Judge(1, 1, shot.Verdict{Fault: shot.Clean, At: noon}))
	require.NoError(t, s.Judge(1, 2, shot.Verdict{Fault: "bled", Colours: []string{"chalk", "rust"}, Cavity: "2", At: noon}))
	require.NoError(t, s.SetNote(1, "fan was off"))
	e = begun(t, s, noon.Add(24*time.Hour), recent)
	e.shoot(allRight(), "eel")
	e.end()
	require.NoError(t, s.Judge(2, 1, shot.Verdict{Fault: shot.Clean, At: noon}))
	return s
}

// reader gets pages of a history.
func reader(t *testing.T, s *history.Store) func(target string, status int) string {
	hub := &frames.Hub{}
	hub.Publish(holding())
	o, _ := options(hub)
	o.History = s
	h := New(o)
	return func(target string, status int) string {
		t.Helper()
		a := do(h, request("GET", target, "Accept: text/html"))
		body, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		require.Equal(t, status, a.StatusCode, string(body))
		require.Equal(t, "text/html; charset=utf-8", a.Header.Get("Content-Type"))
		assert.NotContains(t, string(body), "NaN")
		assert.NotContains(t, string(body), " style=", "the policy would drop it")
		return words(string(body))
	}
}

var spaces = regexp.MustCompile(`\s+`)

// words are a page with its lines joined, and plain signs where they need not be
// escaped.
func words(page string) string {
	return strings.ReplaceAll(spaces.ReplaceAllString(page, " "), "&#43;", "+")
}

func requireAll(t *testing.T, page string, all ...string) {
	t.Helper()
	for _, text := range all {
		require.Contains(t, page, text)
	}
}

func TestRunsTellWhichWasSpoiledAndByWhat(t *testing.T) {
	get := reader(t, twoEvenings(t))
	all := get("/runs", 200)
	requireAll(t, all, "spoiled: bled", "fan was off", "run 1 · slate eel, version 1", "run 2 · slate eel, version 2",
		"simulated bench, invented", "shots: 2, clean: 1")
	assert.Less(t, strings.Index(all, "run 2 ·"), strings.Index(all, "run 1 ·"), "the newest first")
	assert.Equal(t, 1, strings.Count(all, `class="spoiled"`))

	for target, want := range map[string]string{
		"/runs?spoiled=yes": "run 1", "/runs?fault=bled": "run 1", "/runs?text=fan": "run 1", "/runs?since=2026-01-03": "run 2",
		"/runs?until=2026-01-02": "run 1", "/runs?recipe=slate+eel+v2": "run 2",
	} {
		page := get(target, 200)
		assert.Equal(t, 1, strings.Count(page, `class="count"`), target)
		requireAll(t, page, want+" ·", "Show every run")
	}
	requireAll(t, get("/runs?text=nothing+like+it", 200), "No run passes this filter.")
	assert.Contains(t, get("/runs?unit=f", 200), `href="/runs/1?unit=f"`)
}

func TestRunShowsItsShotsAndThePotThatWasOff(t *testing.T) {
	get := reader(t, twoEvenings(t))
	page := get("/runs/1", 200)
	requireAll(t, page,
		"run 1 · slate eel, version 1",
		"Furthest off: rust 4.0 °C above its own target", "outside its band", "+4.0 °C", "165.0 °C ± 2.0 °C", "169.0 °C",
		"bled: chalk and rust, cavity 2", "Every pot was in its own band.", "not recorded", "eel, two cavities",
		"rust at 0:00:00: set-point 166.0 °C", "2 drops white added",
		"The same with every stir (1)", "meltwarden export 1", `value="fan was off"`,
		`<img src="/runs/1/plot.svg?`, "dark=yes", "Temperatures of slate, chalk, rust from 0:00:00 to 0:00:18", "Around shot 2: bled",
	)
	assert.Equal(t, 1, strings.Count(page, `class="off-target"`), "only the shot that was off says so")
	requireAll(t, page, `name="fault" value="clean" aria-pressed="true"`)

	warm := get("/runs/1?unit=f", 200)
	requireAll(t, warm, "rust 7.2 °F above its own target", "fahrenheit=yes", `href="/recipes/`)
	links := regexp.MustCompile(`href="(/runs|/recipes)[^"]*"`).FindAllString(warm, -1)
	require.Greater(t, len(links), 8)
	for _, link := range links {
		back := link == `href="/runs/1"`
		assert.True(t, back || strings.Contains(link, "unit=f") || strings.Contains(link, "fahrenheit=yes"), "%s loses the unit", link)
	}
}

func TestStretchesOfARun(t *testing.T) {
	get := reader(t, twoEvenings(t))
	page := get("/runs/1?from=2&to=12.5", 200)
	requireAll(t, page, `data-from="2" data-to="12.5"`, "from=2&amp;height=740&amp;to=12.5&amp;width=1556",
		`href="/runs/1#plot">Whole run`, ">Earlier<", ">Later<", ">Wider<", `data-axes="350 `)
	requireAll(t, get("/runs/1?from=nonsense", 200), `data-from="0"`)
	svg := do(New(func() Options { o, _ := options(&frames.Hub{}); o.History = twoEvenings(t); return o }()),
		request("GET", "/runs/1/plot.svg?from=2&height=740&to=12.5&width=1556"))
	require.Equal(t, 200, svg.StatusCode)
	require.Equal(t, "image/svg+xml", svg.Header.Get("Content-Type"))

	rapid.Check(t, func(t *rapid.T) {
		end := time.Duration(rapid.Int64Range(1, 1e13).Draw(t, "end"))
		s := stretch{time.Duration(rapid.Int64Range(-1e13, 1e13).Draw(t, "from")), time.Duration(rapid.Int64Range(-1e13, 1e13).Draw(t, "to"))}
		in := s.within(end)
		assert.GreaterOrEqual(t, in.From, time.Duration(0))
		assert.LessOrEqual(t, in.To, end+time.Second/10)
		assert.GreaterOrEqual(t, in.length()+time.Second/5, min(least, end))
	})
}

func TestRecipesTellWhatDiffers(t *testing.T) {
	s := twoEvenings(t)
	get := reader(t, s)
	all := get("/recipes", 200)
	requireAll(t, all, "<h2>slate eel</h2>", "version 1", "version 2", "runs: 1, shots: 2, clean: 1")
	versions, err := s.Versions()
	require.NoError(t, err)
	recent, old := versions[0].Fingerprint, versions[1].Fingerprint
	page := get("/recipes/"+recent, 200)
	requireAll(t, page, "What differs from version 1", "ivory: set-point 170 °C → 171 °C", "/recipes/"+old, "run 2 ·",
		`href="/runs?text=`+recent+`"`, "# Demo recipe:")
	assert.NotContains(t, page, "run 1 ·")
	requireAll(t, get("/recipes/"+old, 200), "This is its first version.")
	requireAll(t, get("/recipes/nothing", 404), "This can not be shown now", "there is no such recipe version")
}

// Everything typed is text: in moulds, notes, cavities, filters and recipes.
func TestWhatIsTypedIsNeverMarkup(t *testing.T) {
	const typed = `<script>alert("1")</script>`
	s := opened(t)
	recipe := strings.Replace(string(config.DemoRecipe().Typed), "note: an eel-shaped bait", "note: "+typed, 1)
	e := begun(t, s, time.Now(), recipe)
	e.shoot(rustHot(), typed)
	e.pass([]history.Event{{Kind: history.Note, Pot: history.WholeBench, Text: typed}, {Kind: history.Addition, Text: typed, Amount: typed}}, nil, "")
	get := reader(t, s)
	require.Eventually(t, func() bool { shots, err := s.Shots(1); return err == nil && len(shots) == 1 }, time.Minute, time.Millisecond)
	note := typed
	require.NoError(t, s.ChangeShot(1, 1, history.ShotChange{Note: &note}))
	require.NoError(t, s.SetNote(1, typed))
	require.NoError(t, s.Judge(1, 1, shot.Verdict{Fault: "bled", Cavity: "<script>1"}))
	runs, err := s.Runs(history.Filter{})
	require.NoError(t, err)
	for _, target := range []string{
		"/", "/runs", "/runs/1", "/runs/now", "/runs/now/last-shot", "/recipes", "/recipes/" + runs[0].Fingerprint,
		"/recipes/" + runs[0].Fingerprint + "/change", "/recipes/" + runs[0].Fingerprint + "/scale?times=%3Cscript%3E1&volume-1=%3Cscript%3E1",
		"/runs?text=%3Cscript%3E1&fault=%3Cscript%3E1", "/runs/%3Cscript%3E1", "/runs?unit=%3Cscript%3E1",
	} {
		page := get(target, map[bool]int{true: 404, false: 200}[strings.HasPrefix(target, "/runs/%3C")])
		assert.NotContains(t, page, "<script>", target)
	}
	assert.NotContains(t, get("/runs?since=%3Cscript%3E1", 400), "<script>")
	assert.Contains(t, get("/runs/1", 200), "&lt;script&gt;")
	e.end()
}

func TestLastShotIsAskedAbout(t *testing.T) {
	s := opened(t)
	get := reader(t, s)
	assert.Contains(t, get("/runs/now/last-shot", 200), `data-shot="0" hidden`, "nothing is being recorded")
	e := begun(t, s, time.Now(), string(config.DemoRecipe().Typed))
	e.shoot(allRight(), "eel")
	e.shoot(rustHot(), "")
	require.Eventually(t, func() bool { shots, err := s.Shots(1); return err == nil && len(shots) == 2 }, time.Minute, time.Millisecond)

	requireAll(t, get("/runs/now/last-shot", 200), `data-shot="2"`, "Shot 2 – how is it?", "<details open>", `value="slate"`,
		`action="/api/v1/runs/1/shots/2/verdict"`)
	bench := get("/", 200)
	requireAll(t, bench, "Shot 2 – how is it?", `name="mould" value="eel"`, `<option value="white">`, `<option value="salt">`)
	require.NoError(t, s.Judge(1, 2, shot.Verdict{Fault: "bled"}))
	judged := get("/runs/now/last-shot", 200)
	requireAll(t, judged, "Shot 2 – bled", `value="bled" aria-pressed="true"`, `value="clean" aria-pressed="false"`, `name="take-back"`)
	assert.NotContains(t, judged, "<details open>")
	yes := true
	require.NoError(t, s.ChangeShot(1, 2, history.ShotChange{Withdrawn: &yes}))
	requireAll(t, get("/runs/now/last-shot", 200), "taken back", "It was a shot", `name="withdrawn" value="no"`)
	e.end()
	assert.Contains(t, get("/", 200), `data-shot="0" hidden`)
}

func TestNothingKeptSaysWhatToDo(t *testing.T) {
	get := reader(t, opened(t))
	requireAll(t, get("/runs", 200), "No run is kept yet. Start the program with a recipe")
	requireAll(t, get("/recipes", 200), "No recipe is kept yet.")
	requireAll(t, get("/causes", 200), "No fault was seen at demould")
	requireAll(t, get("/runs/7", 404), "This can not be shown now", "there is no such run")
	requireAll(t, get("/runs/now", 404), "nothing is being recorded now")

	get = reader(t, nil)
	for _, target := range []string{"/runs", "/recipes", "/causes"} {
		requireAll(t, get(target, 200), "Start it with --data")
	}
	requireAll(t, get("/runs/1", 404), "nothing is kept here")
	requireAll(t, get("/", 200), `data-shot="0" hidden`)
}

// A history that can not be read is told to people in a page, and to programs as a
// problem; the bench is shown all the same.
func TestUnreadableHistoryIsAPage(t *testing.T) {
	inTheWay := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(inTheWay, nil, 0o600))
	s, err := history.Open(inTheWay)
	require.NoError(t, err)
	get := reader(t, s)
	for _, target := range []string{"/runs", "/runs/1", "/recipes", "/recipes/abc", "/causes"} {
		requireAll(t, get(target, http.StatusServiceUnavailable), "This can not be shown now", "choose another with --data", "This page only")
	}
	get("/", 200)
	o, _ := options(&frames.Hub{})
	o.History = s
	requireProblem(t, do(New(o), request("GET", "/api/v1/runs")), http.StatusServiceUnavailable)
}

func TestOnlyTheWorstFindingsStandAboveThePots(t *testing.T) {
	page := func(headers ...string) string {
		h, _ := published(tripped())
		r := request("GET", "/", headers...)
		if len(headers) > 0 {
			r.RemoteAddr = "192.0.2.7:50000" // RFC 5737: an address for examples
		}
		body, err := io.ReadAll(do(h, r).Body)
		require.NoError(t, err)
		return words(string(body))
	}
	here := page()
	above, below, found := strings.Cut(here, `<details id="others">`)
	require.True(t, found)
	assert.Equal(t, 2, strings.Count(above, `data-severity="trip"`))
	assert.Contains(t, below, `<span id="others-count">1</span>`)
	assert.Contains(t, here, `name="setpoint"`)

	there := page("Host: bench.example", "Authorization: Bearer "+token)
	assert.NotContains(t, there, `name="setpoint"`)
	assert.Contains(t, there, "on the bench&#39;s own computer only")
}

// TestClearIsOfferedWhereItCounts: as control takes the tick.
func TestClearIsOfferedWhereItCounts(t *testing.T) {
	set := settings()
	from := set.Pots[0].CureC - clearBelowC
	for meltC, counts := range map[float64]bool{from - .1: false, from + .1: true, math.NaN(): false} {
		bench := control.NewBench(set)
		var f control.Frame
		for range 20 {
			in := control.Input{Elapsed: set.Period, Commands: []control.Command{{Kind: control.TickClear}}}
			for range set.Pots {
				in.Pots = append(in.Pots, control.PotReadings{Melt: good(meltC), Plate: good(205)})
			}
			bench.Step(&in, &f)
		}
		assert.Equal(t, counts, f.Pots[0].Clear, meltC)

		shown := holding()
		shown.Pots[0].MeltC = meltC
		h, _ := published(shown)
		body, err := io.ReadAll(do(h, request("GET", "/")).Body)
		require.NoError(t, err)
		first, _, _ := strings.Cut(words(string(body)), `data-pot="1"`)
		assert.Equal(t, !counts, strings.Contains(first, `data-from="152" disabled`), meltC)
		assert.Contains(t, first, "from 152 °C")
	}
}

// The page that follows nothing, for typing without script.
func TestPageHeldStillSaysSo(t *testing.T) {
	get := reader(t, nil)
	assert.Contains(t, get("/", 200), `http-equiv="refresh"`)
	still := get("/?still=yes", 200)
	assert.NotContains(t, still, `http-equiv="refresh"`)
	assert.Contains(t, still, "the page is held still since")
}

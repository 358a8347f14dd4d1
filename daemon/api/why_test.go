package api

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/report"
	"meltwarden/daemon/shot"
)

// TestWhyAShotWasSpoiled goes the way of a maker: from the card of the spoiled shot to its
// causes, another shot beside it, both runs over each other, and one file of it all.
func TestWhyAShotWasSpoiled(t *testing.T) {
	get := reader(t, twoEvenings(t))
	run := get("/runs/1", 200)
	requireAll(t, run, `href="/runs/1/shots/2">Why?<`, `href="/runs/1/beside"`, `href="/runs/1/report" download`)
	page := get("/runs/1/shots/2", 200)
	requireAll(t, page,
		"shot 2 of run 1 · slate eel, version 1", "Why bled: chalk and rust, cavity 2?", "Hypotheses, no verdict.",
		"Held against the only 2 clean shots of this recipe: that is little to go by.", "<h3>fits</h3>", "a pot above its own target",
		"hottest pot beside its own target +4.0 °C; both clean shots 0.0 °C: 4.0 °C more, 8.0 times the uncertainty of 0.5 °C; no clean shot had as much; by chance about 1 shot in 3",
		"<h3>no thermometer sees</h3>", "a worn manifold", "mould not recorded at this shot", "can not be told",
		"This shot beside run 1, shot 1: clean", "rust beside its own target", `<option value="2/1">run 2, shot 1 · 2026-01-03 · clean</option>`,
		"No difference that the sensors could tell", "mould (at either shot)", "mould: eel, two cavities, the other not recorded",
		`href="/causes?fault=bled"`, `href="/runs/1/report?beside=1%2F1&amp;shot=2"`,
		"/runs/1/over/plot.svg?", "their=1",
	)
	assert.Less(t, strings.Index(page, "no thermometer sees"), strings.Index(page, "can not be told"))
	other := get("/runs/1/shots/2?beside=2/1&unit=f", 200)
	requireAll(t, other, "This shot beside run 2, shot 1: clean", "recipe, from version 2 there to version 1 here", "ivory: set-point 171 °C → 170 °C",
		"+7.2 °F", "changed at the bench before this shot", `<option value="2/1" selected>`, "fault=bled&amp;unit=f")
	requireAll(t, get("/runs/2/shots/1", 200), "It is called clean: there is no fault to look for.", "This shot beside run 1, shot 1: clean")

	requireAll(t, get("/runs/1/beside", 200), "Choose another run", `<option value="2">run 2 · slate eel, version 2 · 2026-01-03</option>`)
	over := get("/runs/1/beside?other=2&align=shot&shot=2&their=1", 200)
	requireAll(t, over, "other=2", "their=1", "What differs between the two runs", "ivory: set-point 171 °C → 170 °C", `value="shot" selected`)
	requireAll(t, get("/runs/1/beside?other=2&align=ready", 200), "run 1 was never ready to pour: align at a shot")
	requireAll(t, get("/runs/1/beside?other=2&align=shot&shot=7", 200), "run 1, shot 7: there is no such shot")
	for target, status := range map[string]int{
		"/runs/1/shots/9": 404, "/runs/9/shots/1": 404, "/runs/1/shots/x": 404, "/runs/1/shots/2?beside=9/1": 404,
		"/runs/1/shots/2?beside=7": 400, "/runs/1/beside?other=9": 404, "/runs/1/beside?other=x": 400, "/runs/9/beside": 404,
		"/runs/9/report": 404, "/runs/1/report?shot=9": 404, "/runs/1/report?shot=x": 400, "/runs/1/report?shot=2&beside=x": 400,
	} {
		requireAll(t, get(target, status), "This can not be shown now")
	}
}

// TestWhyAsData has what the page has.
func TestWhyAsData(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.History = twoEvenings(t)
	h := New(o)
	var c struct {
		Findings []struct {
			Hypotheses []struct {
				Cause, Standing string
				Value           *float64
			}
			Unseen []string
		}
		Beside struct{ Run, Shot int }
	}
	answered(t, do(h, request("GET", "/api/v1/runs/1/shots/2/why")), &c)
	require.Len(t, c.Findings, 1)
	assert.Equal(t, "fits", c.Findings[0].Hypotheses[0].Standing)
	assert.Equal(t, 4.0, *c.Findings[0].Hypotheses[0].Value)
	assert.Nil(t, c.Findings[0].Hypotheses[3].Value, "not recorded is null")
	assert.Equal(t, 1, c.Beside.Shot)
	for path, status := range map[string]int{
		"/runs/1/over/plot.svg?other=2&shot=2&their=1": 200, "/runs/1/over/plot.png?other=2&shot=2": 200,
		"/runs/1/over/plot.svg?other=2": 400, "/runs/1/over/plot.svg": 400, "/runs/1/over/plot.svg?other=2&shot=none": 400,
		"/runs/1/over/plot.svg?other=9&shot=1": 404, "/runs/1/over/plot.gif?other=2": 404,
	} {
		assert.Equal(t, status, do(h, request("GET", path)).StatusCode, path)
	}
}

// TestABleedOfDayThreeListsNoTemperature on the page either, whatever the pots were.
func TestABleedOfDayThreeListsNoTemperature(t *testing.T) {
	s := twoEvenings(t)
	get := reader(t, s)
	require.NoError(t, s.Unjudge(1, 2, shot.Verdict{Fault: "bled", Colours: []string{"chalk", "rust"}, Cavity: "2"}))
	require.NoError(t, s.Judge(1, 2, shot.Verdict{Fault: "bled", Day: 3}))
	page := get("/runs/1/shots/2", 200)
	_, from, found := strings.Cut(page, "Why bled: day 3?")
	require.True(t, found)
	why, _, found := strings.Cut(from, `<section class="beside"`)
	require.True(t, found)
	requireAll(t, why, "First seen on day 3, not at demould.", "no temperature is charged with it", cause.Migration()[0], "say it with day 0")
	known, _ := cause.Of("bled")
	for _, c := range known.Seen {
		assert.NotContains(t, why, c.Name)
	}
	for _, words := range []string{"<h3>fits", "<h3>against", "°C", "Hypotheses"} {
		assert.NotContains(t, why, words)
	}
	assert.NotContains(t, page, ">bled</td>", "nor is a difference named for it")
	requireAll(t, page, "none of it is charged with a fault that was first seen days later")
}

// TestWhatIsToBeLookedAtAgain: a bait that was clean days ago, until somebody has looked.
func TestWhatIsToBeLookedAtAgain(t *testing.T) {
	s := opened(t)
	e := begun(t, s, time.Now().Add(-5*24*time.Hour-time.Hour), string(config.DemoRecipe().Typed))
	e.shoot(allRight(), "eel")
	e.shoot(rustHot(), "eel")
	e.shoot(allRight(), "eel")
	e.end()
	young := begun(t, s, time.Now().Add(-24*time.Hour), string(config.DemoRecipe().Typed))
	young.shoot(allRight(), "eel")
	young.end()
	get := reader(t, s)
	assert.NotContains(t, get("/runs", 200), "To look at again", "nothing is judged yet")
	require.NoError(t, s.Judge(1, 1, shot.Verdict{Fault: shot.Clean}))
	require.NoError(t, s.Judge(1, 2, shot.Verdict{Fault: "bled"}))
	require.NoError(t, s.Judge(2, 1, shot.Verdict{Fault: shot.Clean}))
	list := get("/runs", 200)
	requireAll(t, list, "To look at again", `href="/runs/1#shot-1">run 1, shot 1: day 5<`)
	assert.Equal(t, 1, strings.Count(list, ": day 5<"))
	page := get("/runs/1", 200)
	assert.Equal(t, 1, strings.Count(page, "Looked at again?"))
	requireAll(t, page, `name="day" value="5" min="1"`)
	assert.NotContains(t, get("/runs/2", 200), "Looked at again?")
	require.NoError(t, s.Judge(1, 1, shot.Verdict{Fault: shot.Clean, Day: 5}))
	assert.NotContains(t, get("/runs", 200), "To look at again")
	requireAll(t, get("/runs/1", 200), "clean; clean: day 5")
}

// TestTheDayOfAnotherLookIsTyped on the card, and the prompt goes.
func TestTheDayOfAnotherLookIsTyped(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now().Add(-5*24*time.Hour-time.Hour), string(config.DemoRecipe().Typed))
	e.shoot(allRight(), "eel")
	e.end()
	require.NoError(t, store.Judge(1, 1, shot.Verdict{Fault: shot.Clean}))
	s := newStageWith(t, ready(), func(o *Options) { o.History = store })
	s.do(chromedp.Navigate(s.server.URL+"/runs"), chromedp.Click(".again a"), chromedp.WaitVisible(".reinspect"),
		chromedp.SetValue(`.reinspect input[name="day"]`, "4"), chromedp.Click(`.reinspect button[value="bled"]`))
	s.becomes(`document.querySelector("#shot-1 .verdict").textContent.includes("clean; bled: day 4")`)
	s.becomes(`document.querySelector(".reinspect") === null`)
	s.do(chromedp.Click(`#shot-1 a[href="/runs/1/shots/1"]`), chromedp.WaitVisible(".unmeasured"))
	assert.Greater(t, evaluate[float64](s, `document.querySelector(".unmeasured").getBoundingClientRect().height`), 48.0, "what no thermometer sees stands there to be read")
	s.becomes(`document.querySelector(".why .later").textContent.includes("First seen on day 4")`)
	s.becomes(`document.querySelector("figure.over img") === null || document.querySelector("figure.over img").naturalWidth > 0`)
}

// TestAReportNeedsNothingElse: no address of another place, no script, and all that
// belongs to it.
func TestAReportNeedsNothingElse(t *testing.T) {
	s := twoEvenings(t)
	note := `<script>alert("1")</script>`
	require.NoError(t, s.SetNote(1, note))
	o, _ := options(&frames.Hub{})
	o.History = s
	a := do(New(o), request("GET", "/runs/1/report?shot=2"))
	require.Equal(t, http.StatusOK, a.StatusCode)
	assert.Equal(t, `attachment; filename="run-1-shot-2.html"`, a.Header.Get("Content-Disposition"))
	body, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	file := string(body)
	for _, outside := range []string{"http://", "https://", "<script", "<link", "<img", "<form", "own computer only", "url(", "@import", "src=", "href=\"/", "NaN"} {
		assert.NotContains(t, file, outside)
	}
	requireAll(t, words(file),
		"Report on run 1 · slate eel, version 1", "Simulated bench – invented scenario", "Hot vinyl sticks to skin", "&lt;script&gt;",
		"Why bled: chalk and rust, cavity 2?", "no thermometer sees", "This shot beside run 1, shot 1: clean", "2 drops white added", "not recorded",
		"What to try next: bled", "rust: band 2 °C → 1.5 °C", "One change at a time", "No thermometer sees these",
		"# Demo recipe:", "setpoint: 170 C", "prefers-color-scheme: dark", "@media print",
	)
	assert.Equal(t, 2, strings.Count(file, `role="img"`), "the run, and the two shots over each other")

	var all, one bytes.Buffer
	require.NoError(t, report.Write(&all, s, report.Options{Run: 1}))
	assert.Equal(t, 1, strings.Count(all.String(), `class="shot-report"`), "every spoiled one")
	require.NoError(t, report.Write(&one, s, report.Options{Run: 2}))
	requireAll(t, one.String(), "No shot was marked as spoiled")
	assert.ErrorIs(t, report.Write(&one, s, report.Options{Run: 9}), history.ErrNoRun)
	assert.ErrorIs(t, report.Write(&one, s, report.Options{Run: 1, Shot: 9}), history.ErrNoShot)
}

// TestAReportIsReadInABrowser from its file alone, on a phone and a screen, in both themes.
func TestAReportIsReadInABrowser(t *testing.T) {
	file := filepath.Join(t.TempDir(), "why.html")
	var out bytes.Buffer
	require.NoError(t, report.Write(&out, twoEvenings(t), report.Options{Run: 1}))
	require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
	s := &stage{t: t, ctx: startBrowser(t)}
	for _, wide := range []int64{390, 1600} {
		s.do(chromedp.EmulateViewport(wide, 844), chromedp.Navigate("file://"+file))
		s.becomes(`document.querySelector("main") !== null`)
		assert.True(t, evaluate[bool](s, `document.documentElement.scrollWidth <= innerWidth`), wide)
		assert.Equal(t, 2, evaluate[int](s, `Array.from(document.querySelectorAll("figure svg")).filter((p) => p.getBoundingClientRect().height > 200).length`))
		for _, theme := range []string{"light", "dark"} {
			s.theme(theme)
			for _, selector := range []string{"h1", ".group h3", ".group li span", ".unmeasured b", ".differences td b", ".named th", ".lines li", ".caution", "pre"} {
				assert.GreaterOrEqual(t, s.contrast(selector), 4.5, "%s, %s", theme, selector)
			}
		}
		ground := `getComputedStyle(document.querySelector("figure svg path, figure svg rect")).fill`
		dark := evaluate[string](s, ground)
		s.theme("light")
		assert.NotEqual(t, dark, evaluate[string](s, ground), "the picture goes with its reader's theme")
	}
	assert.Equal(t, 0, evaluate[int](s, `performance.getEntriesByType("resource").length`), "nothing else was asked for")
}

// TestFindingsAreJSON: what is not known is null and never a number.
func TestFindingsAreJSON(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.History = twoEvenings(t)
	body, err := io.ReadAll(do(New(o), request("GET", "/api/v1/runs/1/shots/2/why?beside=2/1")).Body)
	require.NoError(t, err)
	assert.True(t, json.Valid(body))
	assert.Contains(t, string(body), `"figure":"mould","uncertainty":2,"standing":"can not be told","value":null`)
}

package api

import (
	"encoding/json"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/daemon/commission"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
)

// TestWordsAreFoundInEverythingThatIsKept, and lead to where they stand.
func TestWordsAreFoundInEverythingThatIsKept(t *testing.T) {
	read := reader(t, aPast(t))
	requireAll(t, read("/find?words=FAN", 200), "Found: ", `<h2 id="found-0">Runs</h2>`, `<a href="#found-0">Runs (1)</a>`, `href="/runs/1"`, "bled; fan was off", "What the guard looks for")
	requireAll(t, read("/find?words=bled+eel", 200), ">Shots</h2>", `href="/runs/1#shot-2"`, "bled; eel, two cavities")
	requireAll(t, read("/find?words=slate+eel&unit=f", 200), ">Recipe versions</h2>", "slate eel, version 2", `href="/runs/1?unit=f"`)
	requireAll(t, read("/find?words=demo+lot", 200), ">Batches</h2>", "batch 1: slate", `href="/batches/1"`)
	requireAll(t, read("/find?words=emergency+stop", 200), "/alarms#rule-e_stop_open")
	requireAll(t, read("/find?words=nothing+like+it", 200), "Nothing has all of these words")
	requireAll(t, read("/find", 200), "Type words from a note")
	requireAll(t, read("/find?words="+url.QueryEscape(string(make([]byte, 900))), 400), "write at most 200 letters")
}

// TestSettingsAreKeptInTheBrowser, and pages follow them without a script.
func TestSettingsAreKeptInTheBrowser(t *testing.T) {
	o, _ := options(&frames.Hub{})
	o.History = twoEvenings(t)
	h := New(o)
	a := do(h, form("/api/v1/settings", url.Values{"unit": {"f"}, "theme": {"dark"}, "sound": {"on"}}, "Accept: text/html"))
	require.Equal(t, http.StatusSeeOther, a.StatusCode)
	require.Equal(t, "/settings?kept=yes", a.Header.Get("Location"))
	cookies := "Cookie: "
	for _, c := range a.Cookies() {
		assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
		assert.Equal(t, "/", c.Path)
		cookies += c.Name + "=" + c.Value + "; "
	}
	get := func(target string, headers ...string) string {
		t.Helper()
		a := do(h, request("GET", target, headers...))
		require.Equal(t, http.StatusOK, a.StatusCode)
		return pageText(t, a)
	}
	requireAll(t, get("/settings", cookies), `value="f" aria-describedby="unit-why" checked`, `value="dark" aria-describedby="theme-why" checked`, `media="screen" id="dark"`)
	hub := &frames.Hub{}
	hub.Publish(holding())
	o.Hub = hub
	h = New(o)
	requireAll(t, get("/", cookies), `data-show="shown.melt">335</span><span class="unit">°F`)
	requireAll(t, get("/"), `data-show="shown.melt">168</span><span class="unit">°C`)
	requireAll(t, get("/runs/1", cookies), "rust 7.2 °F above its own target", `media="screen and (max-width: 600px)"`, `href="/runs/1?unit=c"`)
	requireAll(t, get("/runs/1?unit=c", cookies), "rust 4.0 °C above its own target")
	requireAll(t, get("/runs/1"), "rust 4.0 °C above its own target", `media="screen and (prefers-color-scheme: dark)" id="dark"`)
	requireAll(t, get("/runs/1", "Cookie: meltwarden-theme=light"), `media="not all" id="dark"`)
	requireAll(t, get("/runs/1", "Cookie: meltwarden-theme=pink; meltwarden-unit=k"), "rust 4.0 °C", "prefers-color-scheme")

	var now map[string]string
	answered(t, do(h, form("/api/v1/settings", url.Values{"keys": {"off"}}, "Accept: application/json")), &now)
	assert.Equal(t, map[string]string{"unit": "c", "theme": "system", "sound": "off", "keys": "off"}, now)
	requireProblem(t, do(h, form("/api/v1/settings", url.Values{"theme": {"pink"}})), http.StatusBadRequest)
}

// TestCommissioningIsShownAndNotMade: what is missing, what is on record, and why there is
// nothing to show.
func TestCommissioningIsShownAndNotMade(t *testing.T) {
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	o, _ := options(&frames.Hub{})
	get := func() string {
		t.Helper()
		return pageOf(t, New(o), "/commissioning")
	}
	steps := []string{"nothing has to be proven", "<h3>answers</h3>", "<h3>interlocks, opened by hand</h3>", "Press the emergency stop. Release it.", "<h3>melt probes, in hot water</h3>",
		"<h3>devices, when their line goes silent</h3>", "within 2 s the device itself", "<h3>heaters, nudged</h3>", "meltwarden commission --config"}
	requireAll(t, get(), steps...)
	o.Bench = bench
	page := get() // with the names of the pots and devices
	requireAll(t, page, append(steps, "melt probe left", "heater right")...)
	for _, step := range commission.Steps(bench) {
		require.NotEmpty(t, step.How)
		for _, line := range step.Lines {
			assert.Contains(t, page, template.HTMLEscapeString(line))
		}
	}
	o.Simulated, o.Bench = false, nil
	requireAll(t, get(), append(steps[1:], "started without a bench file")...)
	o.Bench = bench
	requireAll(t, get(), "Start it with --data")
	o.History = opened(t)
	requireAll(t, get(), "Heat is refused until", "nothing is on record of this bench", "meltwarden commission --config", "<h2>probes, calibrated</h2>", neverCalibrated)

	record := commission.Record{Program: "test", Digest: commission.Digest(bench), Saved: time.Now(),
		Answers: []commission.Answer{{Question: "fuse", Words: "16 A, <in> the box", At: time.Now()}}}
	text, err := json.Marshal(record)
	require.NoError(t, err)
	require.NoError(t, o.History.KeepCommission(history.Commission{At: time.Now(), Program: "test", Digest: record.Digest, Record: string(text)}))
	page = get()
	requireAll(t, page, "fuse: 16 A, &lt;in&gt; the box", "<h2>answers</h2>", "earth: not answered", "Nothing is on record of this")
	assert.NotContains(t, page, "complete: ")
	for _, status := range commission.StatusOf(&record, bench).Missing {
		assert.Contains(t, words(page), words(template.HTMLEscapeString(status)))
	}
}

func pageText(t *testing.T, a *http.Response) string {
	t.Helper()
	body, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	return string(body)
}

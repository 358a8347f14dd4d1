package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/phone"
	"meltwarden/daemon/plan"
)

// aPast is a history in which every view has something to show: a spoiled run with a
// photo, a clean one, one whose pots hold batches, and a change that is being tried.
func aPast(t *testing.T) *history.Store {
	t.Helper()
	s := twoEvenings(t)
	heated(t, s, time.Date(2026, 1, 5, 12, 0, 0, 0, time.UTC), 20, history.Event{Kind: history.CameCured, Pot: 0}).end()
	hub := &frames.Hub{}
	o, _ := options(hub)
	o.History = s
	h := New(o)
	require.Equal(t, http.StatusOK, do(h, withPhoto(t, "/api/v1/runs/1/shots/2/photos", aPicture(t))).StatusCode)
	choice := url.Values{"fault": {"bled"}, "choice": {"1"}, "change": {"rust: band 2 °C → 1.5 °C"}}
	require.Equal(t, http.StatusSeeOther, do(h, form("/api/v1/runs/1/shots/2/try", choice, "Accept: text/html")).StatusCode)
	return s
}

// shown is a bench with all that a view may show.
func shown(t *testing.T, o *Options, past *history.Store) {
	t.Helper()
	var wanted plan.Wanted
	o.History, o.Plan, o.Lines = past, planned(t, &wanted), troubled(t)
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	o.Bench = bench
	o.Settings.Limits.MeltTripC = 190
	for i := range o.Settings.Pots {
		o.Settings.Pots[i].PlateLimitC = 250
	}
	o.Phones, o.Listen = phone.Open(t.TempDir()), "0.0.0.0:8080"
	t.Cleanup(func() { require.NoError(t, o.Phones.Close()) })
	carriedBy(t, o.Phones, "blue", time.Now(), time.Hour)
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{
		{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true},
		{Code: guard.MeltNoisy, Pot: 1, Severity: guard.Warning, Active: true},
	}})
}

// notPages are the routes of GET that answer programs, files, pictures and parts of a
// page, and what a phone is shown before it is let in (TestAPhoneInABrowser looks at that).
// Every other one is taken for a view that people look at.
var notPages = regexp.MustCompile(`^(/api/v1/.*|/assets/.*|/metrics|/healthz|/readyz|/runs/now/.*|/pair.*|/keeping/runs\.sqlite|` +
	`/runs/\{run\}/over/\{plot\}|/runs/\{run\}/\{plot\}|/runs/\{run\}/photos/.*|/recipes/\{fingerprint\}/text)$`)

// views are the addresses of every view there is, by the routes, so that a new one can
// not be forgotten; and what else some of them show.
func views(t *testing.T, o Options, past *history.Store) []string {
	t.Helper()
	versions, err := past.Versions()
	require.NoError(t, err)
	values := strings.NewReplacer("{run}", "1", "{shot}", "2", "{batch}", "1", "{fingerprint}", versions[0].Fingerprint, "{$}", "")
	var all []string
	for _, r := range (&server{Options: o}).routes() {
		path, isGet := strings.CutPrefix(r.pattern, "GET ")
		if !isGet || notPages.MatchString(path) {
			continue
		}
		path = values.Replace(path)
		require.NotContains(t, path, "{", "say in views what stands in its place")
		all = append(all, path)
	}
	slices.Sort(all)
	return append(all, "/runs/1/shots/2?beside=2/1", "/runs/1/beside?other=2&align=shot", "/recipes/"+versions[0].Fingerprint+"/scale?times=1.5",
		"/estimates?question=injector&preheat=nonsense", "/runs?text=nothing+like+it", "/plan?at=25:00", "/runs/9", "/?still=yes", "/find?words=eel", "/find?words=nothing+like+it", "/settings?kept=yes")
}

// openly serves the report as a page: it is a file to be kept, with a style of its own.
func openly(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasSuffix(r.URL.Path, "/report") {
			h.ServeHTTP(w, r)
			return
		}
		kept := httptest.NewRecorder()
		r.Header.Del("Accept-Encoding")
		h.ServeHTTP(kept, r)
		w.Header().Set("Content-Type", kept.Header().Get("Content-Type"))
		w.WriteHeader(kept.Code)
		w.Write(kept.Body.Bytes())
	})
}

// newViews is a browser before a bench with all that a view may show, and every view.
func newViews(t *testing.T) (*stage, []string) {
	t.Helper()
	past := aPast(t)
	var all []string
	s := newStageWith(t, tripped(), func(o *Options) {
		shown(t, o, past)
		all = views(t, *o, past)
	})
	s.server.Config.Handler = openly(s.server.Config.Handler)
	return s, all
}

// axeFile is the accessibility checker of the tests (axe-core, MPL-2.0), as
// npm ci --prefix .ci puts it there.
const axeFile = "../../.ci/node_modules/axe-core/axe.min.js"

func axe(t *testing.T) string {
	t.Helper()
	source, err := os.ReadFile(axeFile)
	if err != nil {
		if os.Getenv("MELTWARDEN_TEST_ALL") != "" {
			t.Fatal("axe-core is not installed (npm ci --prefix .ci --ignore-scripts), and MELTWARDEN_TEST_ALL asks for every test")
		}
		t.Skip("axe-core is not installed: npm ci --prefix .ci --ignore-scripts")
	}
	return string(source)
}

// checkedBy are the checker's rules: WCAG 2.0 to 2.2, A and AA, and its best practices.
const checkedBy = `{type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}`

// violations of the rules on the page as it stands.
func (s *stage) violations(axe string) []string {
	s.t.Helper()
	evaluate[bool](s, axe+`; window.broken = null;
		axe.run(document, {runOnly: `+checkedBy+`, resultTypes: ["violations"], preload: false, iframes: false}).then(({violations}) => {
			window.broken = violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + n.html.slice(0, 160) + " " + n.failureSummary.replace(/\s+/g, " ")));
		}, (e) => { window.broken = [String(e)]; }); true`)
	s.becomes(`window.broken !== null`)
	return evaluate[[]string](s, `window.broken`)
}

// under is the same stage for a test within the test.
func (s *stage) under(t *testing.T) *stage {
	return &stage{t: t, ctx: s.ctx, server: s.server, queue: s.queue}
}

// TestEveryViewInABrowser: it fits a narrow screen and large letters, the keyboard's place
// on it can be seen, no rule of WCAG 2.2 at the levels A and AA is broken that a program
// can check, light and dark, wide and at 320 px (1.4.10 asks for that width: 1280 px at a
// zoom of 400 %), and what is taken to the bench prints on few sheets.
func TestEveryViewInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser looks at every view, for half a minute")
	}
	source := axe(t)
	s, all := newViews(t)
	for _, address := range all {
		t.Run(address, func(t *testing.T) {
			v := s.under(t)
			v.theme("light")
			v.do(chromedp.EmulateViewport(320, 700), chromedp.Navigate(s.server.URL+address))
			v.becomes(`document.querySelector("main") !== null`)
			v.fits()
			v.showsFocus()
			assert.Empty(t, v.violations(source), "light, 320 px")
			v.theme("dark")
			v.do(chromedp.EmulateViewport(1600, 900))
			assert.Empty(t, v.violations(source), "dark, wide")
			v.fitsLarge()
		})
	}
	evaluate[bool](s, `((main) => {
		main.append(new Image(), "seen by few");
		main.style.color = "#999";
		main.style.background = "#aaa";
	})(document.querySelector("main")); true`)
	broken := strings.Join(s.violations(source), " ")
	requireAll(t, broken, "image-alt", "color-contrast") // what is broken on purpose is found
	s.agreesOnContrast()
	t.Logf("%d views, each light at 320 px and dark at 1600 px: no rule of WCAG 2.2 (A, AA) that a program can check is broken", len(all))
	t.Run("prints", func(t *testing.T) { s.under(t).prints(all) })
}

// TestEveryViewStandsOnItsOwn: it has a title of its own, one heading of the first rank,
// its language, a way past the navigation, tables with captions and heads, and words where
// there is nothing to show.
func TestEveryViewStandsOnItsOwn(t *testing.T) {
	past := aPast(t)
	hub := &frames.Hub{}
	hub.Publish(tripped())
	o, _ := options(hub)
	shown(t, &o, past)
	all := views(t, o, past)
	full := New(o)
	nothing, _ := options(&frames.Hub{})
	nothing.History = opened(t)
	without, _ := options(&frames.Hub{})
	titles := map[string]string{}
	for _, address := range all {
		page := pageOf(t, full, address)
		assert.Equal(t, 1, strings.Count(page, "<h1"), address)
		assert.Contains(t, page, `<html lang="en">`, address)
		title := between(page, "<title>", "</title>")
		assert.NotEmpty(t, title, address)
		path, _, _ := strings.Cut(address, "?")
		if other, seen := titles[title]; seen && other != path {
			t.Errorf("%s and %s have one title: %s", other, path, title)
		}
		titles[title] = path
		for _, table := range tables.FindAllString(page, -1) {
			assert.Contains(t, table, "<caption", address)
			assert.Regexp(t, `<th scope="(col|row)"`, table, address)
		}
		if !strings.HasSuffix(path, "/report") {
			requireAll(t, page, `<a class="skip" href="#main">`, `<main `, ` id="main"`)
		}
		for name, h := range map[string]http.Handler{"nothing kept": New(nothing), "no data folder": New(without)} {
			empty := pageOf(t, h, address)
			assert.Equal(t, 1, strings.Count(empty, "<h1"), "%s: %s", name, address)
			assert.NotContains(t, empty, "NaN", "%s: %s", name, address)
			said := tags.ReplaceAllString("<"+between(empty, "<main", "</main>"), "")
			assert.Greater(t, len(strings.Fields(said)), 8, "%s: %s: says what to do", name, address)
		}
	}
	t.Logf("%d views, %d titles", len(all), len(titles))
}

// TestEveryViewIsInTheIndex: what can be gone to without a number is on one page.
func TestEveryViewIsInTheIndex(t *testing.T) {
	past := aPast(t)
	o, _ := options(&frames.Hub{})
	shown(t, &o, past)
	index := pageOf(t, New(o), pagesPath)
	for _, r := range (&server{Options: o}).routes() {
		path, isGet := strings.CutPrefix(r.pattern, "GET ")
		path = strings.TrimSuffix(path, "{$}")
		if !isGet || notPages.MatchString(path) || strings.Contains(path, "{") || path == pagesPath {
			continue
		}
		assert.Contains(t, index, `href="`+path+`"`, "say in view.Index what it is for")
	}
	for _, link := range regexp.MustCompile(`class="key" href="([^"]*)">([^<]*)`).FindAllStringSubmatch(index, -1) {
		page := pageOf(t, New(o), link[1])
		if link[1] != "/" { // the bench is headed by its answer
			assert.Regexp(t, `<h1[^>]*>`+regexp.QuoteMeta(link[2]), page, "its heading is its name")
		}
	}
}

var tags = regexp.MustCompile(`<[^>]*>`)
var tables = regexp.MustCompile(`(?s)<table.*?</table>`)

// pageOf is a page, whatever its status.
func pageOf(t *testing.T, h http.Handler, address string) string {
	t.Helper()
	a := do(h, request("GET", address, "Accept: text/html"))
	require.Contains(t, a.Header.Get("Content-Type"), "text/html", address)
	return pageText(t, a)
}

func between(s, from, to string) string {
	_, rest, _ := strings.Cut(s, from)
	inside, _, _ := strings.Cut(rest, to)
	return inside
}

const (
	pageWide = `document.documentElement.scrollWidth`
	outside  = `Array.from(document.querySelectorAll("body *")).filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && e.checkVisibility())
		.slice(0, 3).map((e) => e.outerHTML.slice(0, 100))`
	lower = `((least, of) => Array.from(document.querySelectorAll(of)).filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < least - .5)
		.slice(0, 3).map((e) => e.getBoundingClientRect().height + " " + e.outerHTML.slice(0, 100)))`
	unfold = `document.querySelectorAll("details").forEach((d) => d.open = true); true`
)

// fits: at 320 px nothing sticks out sideways. What is pressed is 48 px high (our rule),
// every other link 24 px (WCAG 2.2, 2.5.8), or in a line of words or where a place in a
// picture tells something, as it allows.
func (s *stage) fits() {
	s.t.Helper()
	assert.LessOrEqual(s.t, evaluate[float64](s, pageWide), 320.0, "%v", evaluate[[]string](s, outside))
	evaluate[bool](s, unfold)
	assert.LessOrEqual(s.t, evaluate[float64](s, pageWide), 320.0, "unfolded: %v", evaluate[[]string](s, outside))
	assert.Empty(s.t, evaluate[[]string](s, lower+`(48, "button, summary, select, .key, .chip, nav a, textarea, input:not([type=checkbox], [type=radio], [type=hidden])")`))
	assert.Empty(s.t, evaluate[[]string](s, lower+`(24, "input:not([type=hidden]), :not(p, dd, dt, li, span, label, h1, h2, h3, svg) > a")`))
}

// fitsLarge: with letters twice as large (WCAG 2.2, 1.4.4) nothing sticks out sideways.
func (s *stage) fitsLarge() {
	s.t.Helper()
	s.do(chromedp.EmulateViewport(1280, 900))
	evaluate[bool](s, `document.documentElement.style.fontSize = "225%"; true`) // twice 112.5 %
	assert.LessOrEqual(s.t, evaluate[float64](s, pageWide), 1280.0, "letters twice as large: %v", evaluate[[]string](s, outside))
}

// showsFocus: whatever the keyboard can reach is reached in the order of the page, has an
// outline of 2 px at least, or its label has (WCAG 2.2, 2.4.7), and nothing lies over it (2.4.11).
func (s *stage) showsFocus() {
	s.t.Helper()
	s.do(chromedp.KeyEvent("\t")) // a browser shows focus to who uses the keyboard
	assert.Empty(s.t, evaluate[[]string](s, `Array.from(document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]"))
		.filter((e) => e.tabIndex >= 0 && !e.disabled && e.checkVisibility()).flatMap((e) => {
			e.focus();
			const drawn = [e, e.closest("label")].filter(Boolean).map((on) => getComputedStyle(on)), {left, top, width, height} = e.getBoundingClientRect();
			const over = document.elementFromPoint(left + width / 2, top + Math.min(height, innerHeight) / 2);
			const wrong = [
				document.activeElement !== e && "takes no focus", e.tabIndex > 0 && "is out of order",
				!drawn.some((s) => s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2) && "has no outline",
				over && !e.contains(over) && !over.contains(e) && "lies under " + over.outerHTML.slice(0, 60),
			].filter(Boolean);
			return wrong.length ? [wrong.join(", ") + ": " + e.outerHTML.slice(0, 80)] : [];
		}).slice(0, 4)`))
}

// sheets is how many sheets of A4 the page takes on paper (ISO 216, in inches).
func (s *stage) sheets() int {
	s.t.Helper()
	var paper []byte
	s.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		got, err := cdp.Call(ctx, t, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
		paper = got.Data
		return err
	}))
	return bytes.Count(paper, []byte("/Type /Page\n"))
}

// prints what is taken to the bench or filed on few sheets, black on white whatever the
// theme, and without what can only be pressed; a box can be ticked.
func (s *stage) prints(all []string) {
	t := s.t
	recipe := all[slices.IndexFunc(all, func(a string) bool { return strings.HasPrefix(a, "/recipes/") })]
	s.theme("dark")
	for address, most := range map[string]int{
		"/plan": 2, "/runs/1": 3, "/runs/1/shots/2": 3, recipe: 3, "/batches/1": 1, "/runs/1/report": 5, "/alarms": 5, "/runs": 1, "/checks": 2,
	} {
		if !slices.Contains(all, address) {
			continue // not every bench has it
		}
		s.do(chromedp.EmulateViewport(1600, 900), chromedp.Navigate(s.server.URL+address))
		s.becomes(`document.querySelector("main") !== null && Array.from(document.images).every((i) => i.complete)`)
		sheets := s.sheets()
		assert.Positive(t, sheets, address)
		assert.LessOrEqual(t, sheets, most, address)
		t.Logf("%s: %d sheets, at most %d", address, sheets, most)
		s.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
			return err
		}))
		assert.Zero(t, evaluate[int](s, `Array.from(document.querySelectorAll("button, input:not([type=checkbox]), nav a, .key")).filter((e) => e.checkVisibility()).length`), address)
		assert.Equal(t, "rgb(0, 0, 0)", evaluate[string](s, `getComputedStyle(document.querySelector("h1")).color`), address)
		s.theme("dark")
	}
}

// agreesOnContrast: our formula and the checker's own come to the same for every pair of
// the palette.
func (s *stage) agreesOnContrast() {
	s.t.Helper()
	for _, theme := range []string{"light", "dark"} {
		colours := palette(s.t, theme)
		for _, p := range pairs() {
			got := evaluate[float64](s, fmt.Sprintf(`((a, b) => axe.commons.color.getContrast(a, b))(...[%q, %q].map((hex) => {
				const colour = new axe.commons.color.Color();
				colour.parseString(hex);
				return colour;
			}))`, colours[p.on], colours[p.seen]))
			assert.InDelta(s.t, contrast(s.t, rgb(s.t, colours[p.seen]), rgb(s.t, colours[p.on])), got, .01, "%s: %s on %s", theme, p.seen, p.on)
		}
	}
}

// TestTheOtherUnitIsOfferedWhereItTells: on every view whose words change with it, and on no
// other. The bench's page has a button of its own, and the settings choose it.
func TestTheOtherUnitIsOfferedWhereItTells(t *testing.T) {
	past := aPast(t)
	hub := &frames.Hub{}
	hub.Publish(tripped())
	o, _ := options(hub)
	shown(t, &o, past)
	h := New(o)
	told := func(address, unit string) string {
		path, query, _ := strings.Cut(address, "?")
		q, err := url.ParseQuery(query)
		require.NoError(t, err)
		q.Set(unitKey, unit)
		text := between(pageOf(t, h, path+"?"+q.Encode()), "<main", "</main>")
		return unitInAddress.ReplaceAllString(text, "")
	}
	for _, address := range views(t, o, past) {
		if path, _, _ := strings.Cut(address, "?"); path == "/" || path == "/settings" || strings.HasSuffix(path, "/report") || path == apiPage {
			continue
		}
		offered := strings.Contains(pageOf(t, h, address), `class="unit-link"`)
		assert.Equal(t, told(address, inCelsius) != told(address, inFahrenheit), offered, address)
	}
}

// unitInAddress is what carries the unit on, a clock that goes on, and what is not shown.
var unitInAddress = regexp.MustCompile(`[?&](amp;)?unit=[cf](&amp;)?|<input type="hidden" name="unit" value="f">|As it was at [0-9:]*|-f\.svg`)

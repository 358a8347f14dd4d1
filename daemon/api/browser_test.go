package api

import (
	"context"
	"fmt"
	"math"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/control/model"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/plot"
	"meltwarden/daemon/trend"
	"meltwarden/dashboards/browser"
)

// tabs are those of one browser; TestMain ends it.
var tabs browser.Shared

// startBrowser returns the context of a headless browser that knows nothing of other
// tests nor of the network, or skips the test where there is none.
func startBrowser(t *testing.T) context.Context {
	t.Helper()
	return tabs.Open(t)
}

// stage is a page that follows an invented bench.
type stage struct {
	t      *testing.T
	ctx    context.Context
	server *httptest.Server
	hub    *frames.Hub
	queue  chan history.Mark
	shown  atomic.Pointer[frames.Frame] // published again and again; nil stops the bench
}

// newStage opens the page on a bench that publishes f five times a second.
func newStage(t *testing.T, f *frames.Frame) *stage {
	return newStageWith(t, f, func(*Options) {})
}

// newStageWith is newStage on a bench that is changed first.
func newStageWith(t *testing.T, f *frames.Frame, change func(*Options)) *stage {
	hub := &frames.Hub{}
	o, queue := options(hub)
	change(&o)
	s := &stage{t: t, ctx: startBrowser(t), server: httptest.NewServer(New(o)), hub: hub, queue: queue}
	t.Cleanup(func() {
		s.server.CloseClientConnections() // the page's stream has no end of its own
		s.server.Close()
	})
	s.shown.Store(f)
	go s.publish(hub, o.Trend)
	s.do(chromedp.EmulateViewport(1600, 900), chromedp.Navigate(s.server.URL))
	return s
}

func (s *stage) publish(hub *frames.Hub, tr *trend.Trend) {
	beat := time.NewTicker(200 * time.Millisecond)
	defer beat.Stop()
	for at := time.Duration(0); ; at += 200 * time.Millisecond {
		select {
		case <-s.t.Context().Done():
			return
		case <-beat.C:
		}
		if f := s.shown.Load(); f != nil {
			next := *f
			next.At, next.Time = time.Now(), at
			hub.Publish(&next)
			tr.Add(&next)
		}
	}
}

func (s *stage) do(steps ...chromedp.Action[chromedp.Void]) {
	s.t.Helper()
	browser.Do(s.ctx, s.t, steps...)
}

// becomes waits until the expression is true on the page.
func (s *stage) becomes(expression string) {
	s.t.Helper()
	browser.Becomes(s.ctx, s.t, expression, 10*time.Second)
}

func evaluate[T any](s *stage, expression string) T {
	s.t.Helper()
	return browser.Evaluate[T](s.ctx, s.t, expression)
}

// theme makes the browser ask for a dark or a light page.
func (s *stage) theme(name string) {
	s.t.Helper()
	browser.Theme(s.ctx, s.t, name)
}

func (s *stage) command() control.Command {
	s.t.Helper()
	select {
	case m := <-s.queue:
		return m.Command
	case <-time.After(time.Minute):
		s.t.Fatal("no mark arrived")
		return control.Command{}
	}
}

const (
	melt1  = `document.querySelector(".pot .melt span").textContent`
	answer = `document.getElementById("answer").textContent`
)

func TestPageFollowsTheBench(t *testing.T) {
	s := newStage(t, holding())
	s.becomes(melt1 + ` === "168"`)
	s.becomes(answer + ` === "Not yet: stir slate"`)

	warmer := holding()
	warmer.Pots[0].MeltC = 171.2
	s.shown.Store(warmer)
	s.becomes(melt1 + ` === "171"`)

	s.shown.Store(tripped())
	s.becomes(`document.querySelectorAll("#found li").length === 3`)
	s.becomes(`document.body.dataset.tone === "danger"`)

	s.shown.Store(ready())
	s.becomes(answer + ` === "Yes: ready to pour"`)
	s.becomes(`document.querySelectorAll("#found li").length === 0`)
}

func TestMarksArriveByHandAndByKeyboard(t *testing.T) {
	s := newStage(t, holding())
	s.do(chromedp.Click(`[action="/api/v1/pots/2/stir"] button`))
	assert.Equal(t, control.Command{Kind: control.Stir, Pot: 1}, s.command())
	s.becomes(`document.querySelector('[action="/api/v1/pots/2/stir"] button').dataset.sent === ""`)

	s.do(chromedp.KeyEvent("\t")) // away from the button pressed last
	s.do(chromedp.Focus(".off"), chromedp.KeyEvent("\r"))
	assert.Equal(t, control.AllOff, s.command().Kind)

	s.queue <- history.Mark{} // the queue has room for one
	s.do(chromedp.Click(`[action="/api/v1/silence"] button`))
	s.becomes(`document.getElementById("problem").textContent.includes("the queue of marks is full")`)
	s.do(chromedp.Click(".off"))
	s.becomes(`document.getElementById("problem").textContent.includes("emergency stop")`)
	assert.Equal(t, "/", evaluate[string](s, `location.pathname`), "the script kept the forms from leaving the page")
}

func TestPageSaysWhenItIsNotLiveAndComesBack(t *testing.T) {
	f := holding()
	f.Conditions = []guard.Condition{{Code: guard.MeltHigh, Pot: 1, Severity: guard.Warning, Active: true}}
	s := newStage(t, f)
	s.becomes(`document.body.dataset.live === "true"`)
	s.shown.Store(nil)
	s.becomes(answer + `.startsWith("NOT LIVE – last reading ")`)
	s.becomes(`Number(getComputedStyle(document.querySelector(".reading")).opacity) < 0.5`)
	const read = `Array.from(document.querySelectorAll(".interlocks li, .state, #heat, #found i"), (e) => e.textContent.trim()).join("|")`
	s.becomes(read + ` === "not known|emergency stop not read|cut-out not read|fan not read|as last heard|not known|not known|not known"`)
	assert.True(t, evaluate[bool](s, `[".face", ".interlocks", "#found li"].every((e) => getComputedStyle(document.querySelector(e)).backgroundImage.includes("repeating"))`), "hatched")
	assert.NotEqual(t, "700", evaluate[string](s, `getComputedStyle(document.querySelector(".interlocks li")).fontWeight`))
	s.becomes(`getComputedStyle(document.querySelector(".caution")).display !== "none"`)
	s.shown.Store(ready())
	s.becomes(answer + ` === "Yes: ready to pour"`)
	s.becomes(read + ` === "heat enabled|emergency stop not wired|cut-out not wired|fan not wired|ready|ready|ready"`)

	s.server.CloseClientConnections()
	s.shown.Store(holding())
	s.becomes(answer + ` === "Not yet: stir slate"`)
}

// TestUnitAndSoundAreTheMakersChoice; and out of view only the one page goes on to follow
// the bench that calls.
func TestUnitAndSoundAreTheMakersChoice(t *testing.T) {
	var following atomic.Int64
	s := newStageWith(t, holding(), func(o *Options) { o.Following = &following })
	streams := func(n int64) {
		t.Helper()
		require.Eventually(t, func() bool { return following.Load() == n }, time.Minute, 20*time.Millisecond)
	}
	const (
		// Seconds pass in no time, so that nobody waits for a page to rest.
		hurried = `window.setTimeout = ((f) => (do_, ms, ...more) => f(do_, ms === 5000 ? 1 : ms, ...more))(setTimeout); true`
		hide    = `(() => { Object.defineProperty(document, "hidden", { get: () => window.away, configurable: true });
			window.turn = (away) => { window.away = away; document.dispatchEvent(new Event("visibilitychange")); return true; }; return turn(true); })()`
	)
	s.becomes(melt1 + ` === "168"`)
	s.do(chromedp.Click("#unit"))
	s.becomes(melt1 + ` === "335"`) // 168.4 °C
	s.becomes(`document.querySelector(".unit").textContent === "°F"`)
	s.do(chromedp.Click("#sound"))
	s.becomes(`document.getElementById("sound").ariaPressed === "true"`)
	s.do(chromedp.Navigate(s.server.URL))
	s.becomes(melt1 + ` === "335"`)
	streams(1)
	evaluate[bool](s, hurried)
	evaluate[bool](s, hide)
	streams(0)
	s.becomes(`document.body.dataset.live === "false"`)
	evaluate[bool](s, `turn(false)`)
	s.becomes(`document.body.dataset.live === "true"`)
	s.do(chromedp.Click("#sound"))
	s.becomes(`document.getElementById("sound").ariaPressed === "true"`)
	evaluate[bool](s, `turn(true)`)
	// Another page would call, and waits until this one is gone.
	evaluate[bool](s, `navigator.locks.request("bench sound", { ifAvailable: true }, (l) => { window.isFree = l !== null; }), true`)
	s.becomes(`window.isFree === false`)
	streams(1)
	s.becomes(`document.body.dataset.live === "true"`)
	s.do(chromedp.Click("#sound"))
	streams(0)
}

func TestTrendReadsOutUnderTheCursor(t *testing.T) {
	s := newStage(t, holding())
	s.becomes(`document.querySelector("canvas").width > 300`)
	s.do(chromedp.Focus("canvas"), chromedp.KeyEvent(kb.ArrowLeft))
	s.becomes(`document.querySelectorAll(".readout")[1].textContent.includes("melt 171.4 °C")`)
	assert.True(t, evaluate[bool](s, `document.querySelector("canvas").getContext("2d")
		.getImageData(0, 0, 400, 150).data.some((v) => v > 0)`), "something is drawn")
}

// TestTrendShowsWhatIsPredicted past now, as long as the bench is live.
func TestTrendShowsWhatIsPredicted(t *testing.T) {
	f := holding()
	for i := range f.Pots {
		f.Pots[i].AheadC = model.NothingAhead()
	}
	copy(f.Pots[1].AheadC[:], []float64{171.5, 172, 172.5, 173, 173.5})
	s := newStage(t, f)
	s.becomes(`document.querySelectorAll(".pot")[1].textContent.includes("predicted 174 °C in 5 min")`)
	const right = `document.querySelector(".pot:nth-child(2) canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowRight"}))`
	s.becomes(`(` + right + `, document.querySelectorAll(".readout")[1].textContent.match(/predicted 17[123]\.[05] °C$/) !== null)`)
	s.shown.Store(nil)
	s.becomes(`document.querySelectorAll(".readout")[1].textContent.includes("melt")`)
}

// TestTrendComparesWhatWasPredictedWithWhatCame in one readout.
func TestTrendComparesWhatWasPredictedWithWhatCame(t *testing.T) {
	s := newStageWith(t, nil, func(o *Options) {
		for at := time.Duration(0); at <= 10*time.Minute; at += time.Second {
			f := holding()
			f.Time, f.Pots[1].AheadC[4] = at, 170+at.Minutes()
			o.Trend.Add(f)
		}
	})
	s.becomes(`document.querySelector("canvas").width > 300`)
	s.do(chromedp.Focus(".pot:nth-child(2) canvas"), chromedp.KeyEvent(kb.ArrowLeft))
	s.becomes(`document.querySelectorAll(".readout")[1].textContent.includes("melt 171.4 °C, predicted 5 min before 174.9")`)
	for range 100 {
		s.do(chromedp.KeyEvent(kb.ArrowLeft))
	}
	s.becomes(`document.querySelectorAll(".readout")[1].textContent.includes("predicted 5 min before ––")`)
}

// TestTheListIsInSightOfAPhone: what it is filtered by takes a third of the screen, and the
// rest of that is unfolded where it filters.
func TestTheListIsInSightOfAPhone(t *testing.T) {
	store := opened(t)
	begun(t, store, time.Now(), string(config.DemoRecipe().Typed)).end()
	s := newStageWith(t, ready(), func(o *Options) { o.History = store })
	const more = `document.querySelector(".more-filters input").checkVisibility({contentVisibilityAuto: true, visibilityProperty: true})`
	s.do(chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.server.URL+"/runs"))
	s.becomes(`document.querySelector(".rows li")?.getBoundingClientRect().bottom < document.querySelector(".past-off").getBoundingClientRect().top`)
	assert.False(t, evaluate[bool](s, more))
	s.do(chromedp.EmulateViewport(844, 390)) // on its side: its name at least
	s.becomes(`document.querySelector(".rows .what")?.getBoundingClientRect().bottom < document.querySelector(".past-off").getBoundingClientRect().top`)
	s.do(chromedp.Navigate(s.server.URL + "/runs?recipe=demo"))
	s.becomes(more)
	s.do(chromedp.EmulateViewport(1600, 900), chromedp.Navigate(s.server.URL+"/runs"))
	s.becomes(more)
	const wider = `((l) => Math.max(...l) - Math.min(...l))(Array.from(document.querySelectorAll(".more-filters label"), (e) => e.offsetWidth))`
	assert.LessOrEqual(t, evaluate[float64](s, wider), 1.0, "of what is folded away none takes two places")
}

// TestShotIsMarkedJudgedAndSeenAgain, from the bench to the page of the run.
func TestShotIsMarkedJudgedAndSeenAgain(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	e.pass(nil, nil, "")
	s := newStageWith(t, ready(), func(o *Options) {
		o.History = store
		o.Submit = func(m history.Mark) error {
			e.shoot(rustHot(), m.Text)
			return nil
		}
	})
	s.do(chromedp.SetValue("#mould", "eel"), chromedp.Click(".shot"))
	s.becomes(`document.getElementById("last-shot").dataset.shot === "1"`)
	s.becomes(`document.querySelector("#last-shot summary").textContent.includes("eel")`)

	s.becomes(measured + ` && document.querySelector("#last-shot > details").open`)
	assert.GreaterOrEqual(t, evaluate[float64](s, fmt.Sprintf(beneath, ".marks button")), 0.0, "no mark is under the dock while a shot is judged")
	assert.LessOrEqual(t, evaluate[float64](s, `Math.max(...Array.from(document.querySelectorAll(".marks button, .marks small"), (e) => e.scrollWidth - e.clientWidth))`), 1.0)

	for _, size := range [][2]int64{{1366, 768}, {1280, 800}} { // there is room for three in a row, and for one row
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		s.becomes(measured + ` && document.querySelector(".marks button").offsetHeight === 72`)
		assert.GreaterOrEqual(t, evaluate[float64](s, fmt.Sprintf(beneath, ".marks > :nth-child(-n+3)")), 0.0, "%v", size)
		assert.LessOrEqual(t, evaluate[float64](s, `Math.max(...Array.from(document.querySelectorAll("#last-shot, #last-shot :is(button, .about, .where)"), (e) => e.scrollWidth - e.clientWidth))`), 1.0, "%v", size)
	}
	s.do(chromedp.EmulateViewport(1600, 900))

	const bled = `#last-shot button[value="bled"]`
	judge := func() {
		s.do(chromedp.Click(`#last-shot .chip input[value="chalk"]`), chromedp.Click(`#last-shot .chip input[value="rust"]`), chromedp.Click(bled))
	}
	judge()
	s.becomes(`document.querySelector("#last-shot .said button")?.textContent.startsWith("bled: chalk and rust")`)
	s.becomes(`document.querySelector('` + bled + `').ariaPressed === "false"`) // of the whole bait nobody has said so
	s.becomes(`document.activeElement.value === "bled"`)                        // the keyboard stays where it was
	judge()
	s.becomes(`document.querySelector("#last-shot .said") === null`) // pressed again it is taken back
	judge()
	s.becomes(`document.querySelector("#last-shot .said") !== null`)
	e.end()

	s.do(chromedp.Navigate(s.server.URL+"/runs"), chromedp.Click(".rows a"), chromedp.WaitVisible("#shot-1"))
	s.becomes(`document.querySelector("#shot-1 .verdict")?.textContent.includes("bled: chalk and rust")`)
	s.becomes(`document.querySelector("#shot-1 .off-target").textContent.includes("rust 4.0 °C above its own target")`)
	s.becomes(`document.querySelector("figure.plot img").naturalWidth === 1556`)
	s.theme("dark")
	s.becomes(`document.querySelector("figure.plot img").currentSrc.includes("dark=yes")`)

	s.do(chromedp.Click("#shot-1 summary"), chromedp.Click(`#shot-1 button[value="dented"]`))
	s.becomes(`document.querySelector("#shot-1 .verdict").textContent.includes("dented")`)
	s.becomes(`document.querySelector("#shot-1 details").open`)
}

// TestDraggingAcrossThePictureLooksCloser, and Escape lets go.
func TestDraggingAcrossThePictureLooksCloser(t *testing.T) {
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	for range 10 {
		e.pass(nil, nil, "")
	}
	e.end() // a minute
	s := newStageWith(t, ready(), func(o *Options) { o.History = store })
	s.do(chromedp.Navigate(s.server.URL + "/runs/1"))
	s.becomes(`document.querySelector("figure.plot img").naturalWidth === 1556 && document.querySelector(".dragged") !== null`)
	const source = `document.querySelector("figure.plot img").currentSrc`
	before := evaluate[string](s, source)
	box := evaluate[[]float64](s, `(({left, top, width}) => [left, top, width])(document.querySelector("figure.plot img").getBoundingClientRect())`)
	left, right := plot.Axis(plot.Style{Width: 1556})
	at := func(share float64) (x, y float64) {
		return box[0] + (left+share*(right-left))*box[2]/1556, box[1] + 100
	}
	mouse := func(kind input.DispatchMouseEventType, share float64) {
		x, y := at(share)
		s.do(chromedp.MouseEvent(kind, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	}
	mouse(chromedp.MousePressed, .25)
	mouse(chromedp.MouseMoved, .5)
	s.becomes(`!document.querySelector(".dragged").hidden && document.querySelector(".dragged").textContent.startsWith("0:00:1")`)
	s.do(chromedp.KeyEvent(kb.Escape))
	mouse(chromedp.MouseReleased, .5)
	s.becomes(`document.querySelector(".dragged").hidden && location.search === ""`)

	mouse(chromedp.MousePressed, .25)
	mouse(chromedp.MouseMoved, .75)
	mouse(chromedp.MouseReleased, .75)
	s.do(chromedp.WaitVisible(`figure.plot[data-from^="1"]`)) // another page, with another picture
	s.becomes(source + ` !== "" && ` + source + ` !== "` + before + `"`)
	assert.InDelta(t, 15, evaluate[float64](s, `Number(document.querySelector("figure.plot").dataset.from)`), .2)
	assert.InDelta(t, 45, evaluate[float64](s, `Number(document.querySelector("figure.plot").dataset.to)`), .2)
}

// TestWrongSetpointIsToldWhereItIsTyped.
func TestWrongSetpointIsToldWhereItIsTyped(t *testing.T) {
	s := newStageWith(t, holding(), func(o *Options) {
		o.Settings.Limits.MeltTripC = 190
		for i := range o.Settings.Pots {
			o.Settings.Pots[i].PlateLimitC = 250
		}
	})
	const form = `[action="/api/v1/pots/2/setpoint"]`
	s.do(chromedp.Click(`[data-pot="1"] .folds details:last-child summary`),
		chromedp.SendKeys(form+" [name=setpoint]", "400 C"), chromedp.Click(form+" button"))
	s.becomes(`document.querySelector('` + form + ` .error').textContent.includes("400 C")`)
	s.becomes(`document.querySelector('` + form + ` [name=setpoint]').ariaInvalid === "true"`)
	s.becomes(`document.getElementById(document.querySelector('` + form + ` [name=setpoint]').getAttribute("aria-describedby")).textContent.includes("400 C")`)
	s.do(chromedp.SetValue(form+" [name=setpoint]", "170 C"), chromedp.Click(form+" button"))
	assert.Equal(t, control.Setpoint, s.command().Kind)
	s.becomes(`document.querySelector('` + form + ` .error').textContent === ""`)
}

// At 1600 × 900 and 390 × 844: nothing sticks out sideways, all that a glove
// presses is 72 px high (our rule; WCAG 2.2, 2.5.5 asks for 44), ALL OFF is in
// view, and the melt is in digits of at least 100 px: 15 mm at 6.7 px/mm, about
// 1/200 of three metres (common practice, no source).
func TestPageFitsHandsAndDistance(t *testing.T) {
	s := newStage(t, tripped())
	for _, size := range [][2]int64{{1600, 900}, {390, 844}} {
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		s.becomes(`document.querySelectorAll("#found li").length === 3`)
		assert.True(t, evaluate[bool](s, `document.documentElement.scrollWidth <= innerWidth`), size)
		assert.GreaterOrEqual(t, evaluate[float64](s, `Math.min(...Array.from(document.querySelectorAll("button"))
			.filter((b) => b.checkVisibility() && !b.closest(".trend")).map((b) => b.getBoundingClientRect().height))`), 72.0, size)
		assert.GreaterOrEqual(t, evaluate[float64](s, `Math.min(...Array.from(document.querySelectorAll(".trend .turn"), (b) => b.getBoundingClientRect().height))`), 48.0,
			"%v: nothing is marked with a chart's own button", size)
		assert.LessOrEqual(t, evaluate[float64](s, `document.querySelector(".off").getBoundingClientRect().bottom`), float64(size[1]))
		assert.GreaterOrEqual(t, evaluate[float64](s, `parseFloat(getComputedStyle(document.querySelector(".melt")).fontSize)`), 100.0, size)
	}
}

// WCAG 2.2, 1.4.3: text has a contrast of at least 4.5 to 1.
func TestTextCanBeReadInBothThemes(t *testing.T) {
	s := newStage(t, tripped())
	s.becomes(`document.querySelectorAll("#found li").length === 3`)
	for _, theme := range []string{"light", "dark"} {
		s.theme(theme)
		for _, tone := range []string{"plain", "attend", "warn", "danger", "shoot"} {
			for _, selector := range []string{
				".answer h1", ".facts b", ".facts span", ".pot h2", ".number", ".place", ".melt", ".unit", ".wait",
				".more", ".off", "#silence", "#conditions b", "#conditions i", ".caution", "summary", "figcaption", ".legend span",
			} {
				evaluate[string](s, `document.body.dataset.tone = "`+tone+`"`)
				assert.GreaterOrEqual(t, s.contrast(selector), 4.5, "%s, %s, %s", theme, tone, selector)
			}
		}
	}
}

// contrast is that of an element's text on the ground it stands on.
func (s *stage) contrast(selector string) float64 {
	s.t.Helper()
	colours := evaluate[[]string](s, `((e) => {
		let under = e;
		while (getComputedStyle(under).backgroundColor === "rgba(0, 0, 0, 0)") under = under.parentElement;
		return [getComputedStyle(e).color, getComputedStyle(under).backgroundColor];
	})(document.querySelector('`+selector+`'))`)
	return contrast(s.t, colours[0], colours[1])
}

// WCAG 2.2, "contrast ratio": white on black is 21 to 1.
func TestContrast(t *testing.T) {
	assert.InDelta(t, 21, contrast(t, "rgb(255, 255, 255)", "rgb(0, 0, 0)"), 1e-9)
	assert.InDelta(t, 1, contrast(t, "rgb(9, 9, 9)", "rgb(9, 9, 9)"), 1e-9)
}

func contrast(t *testing.T, a, b string) float64 {
	light, dark := luminance(t, a), luminance(t, b)
	if light < dark {
		light, dark = dark, light
	}
	return (light + .05) / (dark + .05)
}

// luminance is WCAG's relative luminance of an sRGB colour as CSS computes it.
func luminance(t *testing.T, colour string) float64 {
	var rgb [3]float64
	_, err := fmt.Sscanf(colour, "rgb(%f, %f, %f)", &rgb[0], &rgb[1], &rgb[2])
	require.NoError(t, err, colour)
	for i, v := range rgb {
		if v /= 255; v <= .04045 {
			rgb[i] = v / 12.92
		} else {
			rgb[i] = math.Pow((v+.055)/1.055, 2.4)
		}
	}
	return .2126*rgb[0] + .7152*rgb[1] + .0722*rgb[2]
}

// The form of a recipe works with the script as it does without: it is answered by a
// page, here of the version that was kept.
func TestARecipeIsChangedInABrowser(t *testing.T) {
	store := twoEvenings(t)
	s := newStageWith(t, ready(), func(o *Options) { o.History = store })
	versions, err := store.Versions()
	require.NoError(t, err)
	s.do(chromedp.Navigate(s.server.URL + "/recipes/" + versions[0].Fingerprint + "/change"))
	s.becomes(`document.querySelector("main") !== null`)
	s.do(chromedp.SetValue(`[name="colours[1].setpoint"]`, "167 C"), chromedp.SetValue(`[name="pick:colours[3].swatch"]`, "#aa5533"),
		chromedp.Click(`form.change [value="keep"]`), chromedp.WaitVisible(".contrasts"))
	s.becomes(`document.body.textContent.includes("slate: set-point 168 °C → 167 °C")`)
	s.becomes(`document.body.textContent.includes("rust: swatch #a4573a → #aa5533")`)
	all, err := store.Versions()
	require.NoError(t, err)
	assert.Len(t, all, len(versions)+1)
}

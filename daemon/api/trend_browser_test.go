package api

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/history"
)

// computed is what an expression with a promise comes to.
func computed[T any](s *stage, expression string) T {
	s.t.Helper()
	v, err := chromedp.Run(s.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(s.t, err, expression)
	return v
}

// TestNumbersOfTheTrend: what the charts reckon with and what they hold after twelve hours
// (printed), and how fingers, mouse, wheel and keys move them, on a sharp phone and on the
// bench's screen, while the page scrolls as it did.
func TestNumbersOfTheTrend(t *testing.T) {
	c := chartsOf(t)
	checkArithmetic(t, c.stage)
	checkHeld(t, c.stage)
	c.byFingers()
	c.byMouse()
	c.byKeys()
}

func checkArithmetic(t *testing.T, s *stage) {
	const session = `const w = await import("/assets/trend-window.js"), session = {first: 0, now: 3600, end: 3900};`
	in := func(expression string) string { return `(async () => {` + session + `return ` + expression + `})()` }
	for expression, want := range map[string]any{
		`w.shown(null, session)`:                                   map[string]any{"from": 0., "to": 3900.},
		`w.shown(null, {first: 0, now: 1, end: 1})`:                map[string]any{"from": 0., "to": 60.},
		`w.shown(w.recent, session)`:                               map[string]any{"from": 2700., "to": 3900.},
		`w.shown(w.recent, {first: 0, now: 120, end: 120})`:        map[string]any{"from": 0., "to": 120.},
		`w.placed(session, 600, 1000, .5)`:                         map[string]any{"live": false, "from": 700., "to": 1300.},
		`w.placed(session, 600, 3700, .5)`:                         map[string]any{"live": true, "from": -300., "to": 300.},
		`w.placed(session, 1, 1000, .5)`:                           map[string]any{"live": false, "from": 990., "to": 1010.},
		`w.placed(session, 9999, 1000, .5)`:                        nil,
		`w.placed(session, 600, -5000, 0)`:                         map[string]any{"live": false, "from": 0., "to": 600.},
		`w.zoomed(null, session, .5, 1950)`:                        map[string]any{"live": false, "from": 975., "to": 2925.},
		`w.zoomed({live: false, from: 0, to: 9}, session, 999, 5)`: nil,
		`w.moved({live: false, from: 100, to: 200}, session, 50)`:  map[string]any{"live": false, "from": 150., "to": 250.},
		`w.moved(null, session, 50)`:                               nil,
		`w.toNow({live: false, from: 100, to: 700}, session)`:      map[string]any{"live": true, "from": -600., "to": 0.},
		// A program that began anew has less than the window was of.
		`w.shown({live: false, from: 3000, to: 3500}, {first: 0, now: 100, end: 100})`:                   map[string]any{"from": 0., "to": 100.},
		`w.grouped([0, 5, 9, 30, 31].map((at_s) => ({at_s})), (x) => x, 10).map((g) => g.events.length)`: []any{3., 2.},
		`w.shapeOf({events: [{shape: "ring"}, {shape: "shot", number: 3}, {shape: "bar"}]})`:             "shot",
		`w.labelOf({events: [{number: 3}, {}, {number: 5}]})`:                                            "3–5",
		`[w.labelOf({events: [{}]}), w.labelOf({events: [{}, {}]})]`:                                     []any{"", "×2"},
		`[w.clock(59), w.clock(3600), w.clock(4000), w.lasting(89), w.lasting(600), w.lasting(7260)]`:    []any{"0:00:59", "1:00", "1:06:40", "89 s", "10 min", "2 h 1 min"},
		`[w.niceStep(.3), w.niceStep(20), w.nicePace(61), w.nicePace(99999)]`:                            []any{.5, 20., 120., 28800.},
	} {
		assert.Equal(t, want, computed[any](s, in(expression)), expression)
	}
	// Whatever fingers do, a window lies in its session, keeps the moment under them where
	// it is while there is room, and is never shorter than its least.
	assert.Empty(t, computed[string](s, in(`(() => {
		let seed = 1;
		const any = (most) => (seed = seed * 48271 % 2147483647) / 2147483647 * most;
		for (let i = 0; i < 20000; i++) {
			const now = 1 + any(40000), all = {first: any(now), now, end: now + any(1800)};
			const at = all.first + any(now - all.first), share = any(1), spanS = any(50000);
			const {from, to} = w.shown(w.placed(all, spanS, at, share), all), most = w.whole(all);
			if (from < most.from - 1e-6 || to > most.to + 1e-6 || to - from < Math.min(w.leastS, most.to - most.from) - 1e-6) return JSON.stringify([all, at, share, spanS]);
			const free = from > most.from + 1e-3 && to < most.to - 1e-3;
			if (free && Math.abs(from + share * (to - from) - at) > 1e-3) return JSON.stringify(["moved", all, at, share, spanS]);
		}
		return "";
	})()`)))
}

// checkHeld lets twelve hours pass at five frames a second, with a server that gives what
// it gives: as many rows as were asked for.
func checkHeld(t *testing.T, s *stage) {
	held := computed[map[string]float64](s, `(async () => {
		const r = await import("/assets/trend-rows.js");
		const names = ["melt_min_c", "melt_max_c", "plate_min_c", "plate_max_c", "target_c", "foreseen_c", "melt_estimate_c", "duty", "setpoint_c", "band_c"];
		const table = (upTo, slot) => {
			const time_s = Array.from({length: r.rowsAsked}, (_, i) => upTo - (r.rowsAsked - 1 - i) * slot);
			return {time_s, slot_s: slot, foreseen_in_s: 300, pots: [0, 1, 2].map(() => Object.fromEntries(names.map((n) => [n, time_s.map(() => 168)])))};
		};
		const pot = {melt_c: 168, plate_c: 200, target_c: 168, melt_estimate_c: null, duty: .3, setpoint_c: 168, band_c: 2, ahead_c: [168, 168, 168, 168, 168]};
		let rows = new r.Rows(table(1800, 2)), most = 0, fetched = 0, peak = 0;
		const events = new r.Events();
		for (let i = 0; i < 12 * 3600 * 5; i++) {
			const bench = {bench_time_s: 1800 + i * .2, ahead_every_s: 60, pots: [i === 7 ? {...pot, melt_c: 190} : pot, pot, pot]};
			if (!rows.add(bench)) { rows = new r.Rows(table(bench.bench_time_s, 2)); fetched++; }
			if (i === 9) peak = Math.max(...rows.pots[0].melt_max_c);
			most = Math.max(most, rows.timeS.length);
			if (i % 40 === 0) events.take({part: 1, last: i, left_out: 0, events: [{at_s: i, pot: 0, shape: "ring", shown: {c: "stirred", f: "stirred"}}]});
		}
		return {most, fetched, peak, columns: rows.pots[0].melt_max_c.length, rows: rows.timeS.length, events: events.count, leftOut: events.leftOut,
			bound: r.mostRows, kB: JSON.stringify(rows.pots).length / 1000};
	})()`)
	t.Logf("after 12 h of live frames: at most %.0f rows (%.0f kB as JSON), fetched anew %.0f times, %.0f marks and %.0f left out", held["most"], held["kB"], held["fetched"], held["events"], held["leftOut"])
	assert.LessOrEqual(t, held["most"], held["bound"])
	assert.Equal(t, held["rows"], held["columns"])
	assert.Equal(t, 190.0, held["peak"], "a frame between two rows is lost to nobody")
	assert.Equal(t, []float64{2000, 3400}, []float64{held["events"], held["leftOut"]})
}

// TestTheTrendNamesItsLines where they end, its pot above them, and every stroke in its key,
// which is in sight on paper too.
func TestTheTrendNamesItsLines(t *testing.T) {
	s := chartsOf(t).stage
	evaluate[bool](s, `window.written = new Set(), ((as) => {
		CanvasRenderingContext2D.prototype.fillText = function (words, ...where) { window.written.add(words); return as.call(this, words, ...where); };
	})(CanvasRenderingContext2D.prototype.fillText), true`)
	s.becomes(`["melt", "plate"].every((w) => window.written.has(w))`)
	assert.Equal(t, "2 chalk", evaluate[string](s, `document.querySelectorAll(".trend .whose")[1].innerText`))
	const key = `Array.from(document.querySelectorAll(".pot:first-child .legend > span"), (e) => e.checkVisibility() ? e.textContent : "").join(", ")`
	const all = "melt, predicted from now on, predicted 5 min before, set-point in its band, target, plate, heater"
	assert.Equal(t, all, evaluate[string](s, key))
	s.do(chromedp.EmulateViewport(320, 700))
	s.becomes(`document.querySelector(".legend").scrollWidth <= document.querySelector(".trend").clientWidth`)
	s.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	assert.Equal(t, all, evaluate[string](s, key))
}

// charts is a page whose bench has been on for twenty minutes, with some marks, and goes on.
type charts struct {
	*stage
	watched
	stop    chan struct{}
	touched input.TimeSinceEpoch
}

func chartsOf(t *testing.T) *charts {
	w := watch(t, 20*time.Minute, map[time.Duration][]history.Event{
		6 * time.Second:  {{Kind: history.HeatEnabled, Pot: history.WholeBench}},
		10 * time.Minute: {{Kind: history.Drawn, Pot: 1}, {Kind: history.ShotPushed, Pot: history.WholeBench, Text: "eel"}},
		11 * time.Minute: {{Kind: history.ShotPushed, Pot: history.WholeBench}},
		12 * time.Minute: {{Kind: history.Note, Pot: history.WholeBench, Text: "fan was off"}},
	})
	w.kept(t, 5)
	c := &charts{watched: w, stop: make(chan struct{}), touched: input.TimeSinceEpoch(time.Now().Unix())}
	c.stage = newStageWith(t, nil, func(o *Options) { *o = w.Options })
	go c.goOn(20 * time.Minute)
	t.Cleanup(func() { close(c.stop) })
	c.becomes(`document.querySelector("canvas").width > 100`)
	return c
}

// goOn publishes five frames a second.
func (c *charts) goOn(at time.Duration) {
	beat := time.NewTicker(200 * time.Millisecond)
	defer beat.Stop()
	for ; ; at += 200 * time.Millisecond {
		select {
		case <-c.stop:
			return
		case <-beat.C:
			f := watchedFrame(at)
			f.At = time.Now()
			c.Trend.Add(f)
			c.Hub.Publish(f)
		}
	}
}

// chart2 is the second pot's.
const (
	chart2   = `document.querySelectorAll(".trend canvas")[1]`
	stretch2 = `document.querySelectorAll(".stretch")[1].textContent`
	readout2 = `document.querySelectorAll(".readout")[1].textContent`
)

// box is where a chart's plot is, in pixels of the window: the left edge, the width and
// the middle of its height.
func (c *charts) box() (left, width, middle float64) {
	b := evaluate[[]float64](c.stage, `(({left, top, width, height}) => [left + 46, width - 48, top + height / 2])(`+chart2+`.getBoundingClientRect())`)
	return b[0], b[1], b[2]
}

// shown is the stretch that is shown, in seconds of bench time.
func (c *charts) shown() (from, to float64) {
	b := evaluate[[]float64](c.stage, `["valuemin", "valuemax"].map((n) => Number(`+chart2+`.getAttribute("aria-" + n)))`)
	return b[0], b[1]
}

// touch is one event of fingers, a fiftieth of a second after the one before, however busy
// the computer is.
func (c *charts) touch(kind input.DispatchTouchEventType, points ...[2]float64) {
	c.t.Helper()
	c.touched += .02
	p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}, Timestamp: c.touched}
	for i, at := range points {
		id := float64(i)
		p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: at[0], Y: at[1], ID: &id})
	}
	c.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, p)
		return err
	}))
}

// swipe takes fingers from some places to others.
func (c *charts) swipe(from, to [][2]float64) {
	const steps = 8
	c.touch("touchStart", from...)
	for k := 1; k <= steps; k++ {
		at := make([][2]float64, len(from))
		for i := range from {
			share := float64(k) / steps
			at[i] = [2]float64{from[i][0] + share*(to[i][0]-from[i][0]), from[i][1] + share*(to[i][1]-from[i][1])}
		}
		c.touch("touchMove", at...)
	}
	c.touch("touchEnd")
}

func (c *charts) mouse(p input.DispatchMouseEventParams) {
	c.t.Helper()
	c.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, input.DispatchMouseEvent, p)
		return err
	}))
}

func (c *charts) press(key string, modifiers ...chromedp.KeyOption) {
	c.do(chromedp.KeyEvent(key, modifiers...))
}

func (c *charts) byFingers() {
	t := c.t
	c.do(chromedp.EmulateViewport(360, 740, chromedp.EmulateScale(3), chromedp.EmulateTouch))
	c.becomes(chart2 + `.width === Math.round(` + chart2 + `.clientWidth * devicePixelRatio) && devicePixelRatio === 3`)
	evaluate[any](c.stage, chart2+`.scrollIntoView({block: "center"})`)
	c.becomes(stretch2 + ` === "Whole session"`)
	left, width, y := c.box()
	at := func(share, dy float64) [2]float64 { return [2]float64{left + share*width, y + dy} }
	scrolled := evaluate[float64](c.stage, `scrollY`)

	c.swipe([][2]float64{at(.3, 0), at(.5, 10)}, [][2]float64{at(.1, 0), at(.9, 10)}) // four times as close
	c.becomes(stretch2 + `.startsWith("NOT now: 0:")`)
	from, to := c.shown()
	assert.InDelta(t, 1200./4, to-from, 30)
	assert.InDelta(t, .4*1200, from+.5*(to-from), 45, "what was between the fingers stays between them")
	assert.Equal(t, []string{}, evaluate[[]string](c.stage, `Array.from(document.querySelectorAll(".stretch"), (e) => e.textContent).filter((w) => w !== `+stretch2+`)`), "all pots show the same")
	c.becomes(`performance.getEntriesByType("resource").some((r) => r.name.includes("/api/v1/trend?rows=900&from="))`) // finer rows
	assert.Equal(t, scrolled, evaluate[float64](c.stage, `scrollY`))

	c.swipe([][2]float64{at(.2, 0)}, [][2]float64{at(.7, 0)}) // earlier by half
	c.becomes(`Number(` + chart2 + `.ariaValueMin) < ` + fmt.Sprint(from-100))
	earlier, until := c.shown()
	assert.InDelta(t, from-.5*(to-from), earlier, 25)
	assert.InDelta(t, to-from, until-earlier, 2, "moving keeps the length")
	assert.Equal(t, scrolled, evaluate[float64](c.stage, `scrollY`))

	c.swipe([][2]float64{at(.5, 60)}, [][2]float64{at(.5, -140)}) // up: the page's own
	c.becomes(`scrollY > ` + fmt.Sprint(scrolled+60))
	still, _ := c.shown()
	assert.Equal(t, earlier, still)
	evaluate[any](c.stage, chart2+`.scrollIntoView({block: "center"})`)
	left, width, y = c.box()

	c.touch("touchStart", at(.5, 0))
	c.touch("touchEnd")
	c.becomes(readout2 + `.includes("from set-point")`)
	c.becomes(chart2 + `.ariaValueText.includes("heater")`)
	for range 2 { // elsewhere, or the first of them were the second of two
		c.touch("touchStart", at(.1, 0))
		c.touch("touchEnd")
	}
	c.becomes(stretch2 + ` === "Whole session"`)
}

func (c *charts) byMouse() {
	t := c.t
	c.do(chromedp.EmulateViewport(1600, 900))
	c.becomes(`innerWidth === 1600`)
	evaluate[any](c.stage, chart2+`.scrollIntoView({block: "center"}), document.activeElement.blur()`)
	left, width, y := c.box()
	at := func(share float64) input.DispatchMouseEventParams {
		return input.DispatchMouseEventParams{X: left + share*width, Y: y, Button: "left", ClickCount: 1}
	}
	event := func(kind input.DispatchMouseEventType, p input.DispatchMouseEventParams) {
		if p.Type = kind; kind == "mouseMoved" && p.Buttons == 0 {
			p.Button = "none"
		}
		c.mouse(p)
	}
	wheel := func(share, dy float64, modifiers int64) {
		p := at(share)
		p.Button, p.DeltaX, p.DeltaY, p.Modifiers = "none", 1e-3, dy, modifiers // a zero would be left out
		event("mouseWheel", p)
	}
	event("mouseMoved", at(.5))
	c.becomes(readout2 + `.includes("0:10")`)

	scrolled := evaluate[float64](c.stage, `scrollY`)
	wheel(.5, -150, 0) // plain: the page scrolls
	c.becomes(`scrollY < ` + fmt.Sprint(scrolled-50))
	assert.Equal(t, "Whole session", evaluate[string](c.stage, stretch2))
	evaluate[any](c.stage, chart2+`.scrollIntoView({block: "center"})`)
	left, width, y = c.box()
	scrolled = evaluate[float64](c.stage, `scrollY`)
	wheel(.5, -700, 2) // with Ctrl
	c.becomes(stretch2 + `.startsWith("NOT now")`)
	from, to := c.shown()
	assert.Equal(t, scrolled, evaluate[float64](c.stage, `scrollY`))

	event("mousePressed", at(.4))
	drag := at(.6)
	drag.Buttons = 1
	event("mouseMoved", drag)
	event("mouseReleased", at(.6))
	c.becomes(`Number(` + chart2 + `.ariaValueMin) < ` + fmt.Sprint(from-10))
	moved, end := c.shown()
	assert.InDelta(t, from-.2*(to-from), moved, 4)
	assert.InDelta(t, to-from, end-moved, 2)

	assert.Equal(t, "Back to now", evaluate[string](c.stage, `document.querySelectorAll(".turn")[1].textContent`))
	evaluate[any](c.stage, `document.querySelectorAll(".turn")[1].click()`)
	c.becomes(stretch2 + `.startsWith("Last ")`)
	before, _ := c.shown()
	c.becomes(`Number(` + chart2 + `.ariaValueMin) > ` + fmt.Sprint(before)) // it goes along
	evaluate[any](c.stage, `document.querySelectorAll(".turn")[1].click()`)
	c.becomes(stretch2 + ` === "Whole session"`)
}

func (c *charts) byKeys() {
	t := c.t
	c.do(chromedp.Focus(".pot:nth-child(2) canvas"))
	c.press(kb.Home)
	c.becomes(readout2 + `.startsWith("0:00 ") && ` + readout2 + `.includes("heat enabled by a press of the button")`)
	c.press(kb.End)
	c.press("+")
	c.press("+")
	c.becomes(stretch2 + `.startsWith("Last 5 min")`)
	c.press(kb.Home)
	c.becomes(stretch2 + `.startsWith("NOT now: 0:00 to 0:05")`)
	c.becomes(`document.getElementById("trend-said").textContent.startsWith("NOT now")`)
	from, _ := c.shown()
	c.press(kb.ArrowRight, chromedp.KeyModifiers(chromedp.ModifierShift))
	c.becomes(`Number(` + chart2 + `.ariaValueMin) > ` + fmt.Sprint(from+30))
	c.press("0")
	c.becomes(stretch2 + ` === "Whole session"`)

	// A set-point that was changed, and its band, as they were then.
	evaluate[any](c.stage, `document.querySelectorAll(".trend details")[1].open = true`)
	const cells = `Array.from(document.querySelectorAll(".trend tbody")[1].querySelectorAll("tr"), (r) => r.textContent)`
	c.becomes(cells + `.length > 12 && ` + cells + `.join(" ").includes("0:10 shot 1, mould: eel") && ` + cells + `.join(" ").includes("0:12 note, fan was off")`)
	asked := computed[[]map[string]float64](c.stage, `(async () => {
		const {Rows} = await import("/assets/trend-rows.js");
		return new Rows(await (await fetch("/api/v1/trend?rows=900")).json()).asked(1, 0, 100);
	})()`)
	assert.Equal(t, []map[string]float64{{"from": 0, "to": 40, "set": 171, "band": 2}, {"from": 40, "to": 100, "set": 174, "band": 1}}, asked)

	// What happens now is marked without a reload, in the unit that was chosen.
	c.do(chromedp.Click("#unit"))
	w := c.watched
	w.evening.n = 20*60*5 + 1
	w.evening.pass([]history.Event{{Kind: history.NewSetpoint, Pot: 1, C: 100, Amount: "100 C"}}, nil, "")
	c.do(chromedp.Focus(".pot:nth-child(2) canvas"))
	c.press(kb.End)
	c.becomes(readout2 + `.includes("set-point, 212.0 °F")`)
	c.becomes(readout2 + `.includes("°F")`)
	w.evening.pass([]history.Event{{Kind: history.TakenBack, Pot: 1, Text: "set-point"}}, nil, "") // and taken off again
	c.becomes(`!` + readout2 + `.includes("set-point, 212.0 °F")`)
	for _, theme := range []string{"light", "dark"} {
		c.theme(theme)
		for _, selector := range []string{".trend .stretch", ".trend .readout", ".trend td", ".trend .turn"} {
			assert.GreaterOrEqual(t, c.contrast(selector), 4.5, "WCAG 2.2, 1.4.3: %s, %s", theme, selector)
		}
	}
	c.do(chromedp.EmulateViewport(320, 700))
	c.becomes(`innerWidth === 320 && document.documentElement.scrollWidth <= 320`)
	assert.GreaterOrEqual(t, evaluate[float64](c.stage, `Math.min(...Array.from(document.querySelectorAll(".trend button")).filter((b) => b.checkVisibility())
		.map((b) => Math.min(b.getBoundingClientRect().height, b.getBoundingClientRect().width)))`), 48.0)
}

// TestWithoutScriptTheRunHasAPicture, which is drawn only while the page is held still.
func TestWithoutScriptTheRunHasAPicture(t *testing.T) {
	get := reader(t, watch(t, time.Second, nil).History)
	requireAll(t, get("/", 200), `<a class="key" href="/runs/now#plot">The run so far as a picture</a>`)
	assert.NotContains(t, get("/", 200), "plot.svg")
	requireAll(t, get("/?still=yes", 200), `<img src="/runs/now/plot.svg?width=760`)
}

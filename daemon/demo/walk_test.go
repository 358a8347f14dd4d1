package demo

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/dashboards/browser"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// walker is a maker who knows of the bench what the page says, and answers by pressing
// on the page. What hands do besides, stirring and pressing the bench's own button,
// follows from what was pressed.
type walker struct {
	t    *testing.T
	ctx  context.Context
	demo *Demo
	url  string
	end  func() error // stops the daemon

	stirAt      time.Duration // bench time of the next round of stirs
	interrupted int           // how often a busy computer cost the heat
}

// walkSpeed is asked for; a computer that can not keep it up takes longer.
const walkSpeed = 40

// newWalker starts the whole program on a bench with small potfuls, and opens its page.
func newWalker(t *testing.T, past *history.Store, seed uint64) *walker {
	bench, err := config.DemoBench(nil)
	require.NoError(t, err)
	small := strings.NewReplacer("260 mL", "100 mL", "220 mL", "100 mL", "180 mL", "100 mL").Replace(string(config.DemoRecipe().Typed))
	recipe, err := config.ParseRecipe("small potfuls of the demo's recipe", []byte(small))
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	d, err := New(Options{
		Bench: bench, Recipe: recipe, Speed: walkSpeed, Seed: seed, Listener: listener, Log: slog.New(slog.DiscardHandler),
		History: past, InMemory: true, NoMaker: true, Version: "test",
	})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	over := make(chan error, 1)
	stirred := stirs(d)
	go func() { over <- d.Run(ctx, stirred) }()
	w := &walker{t: t, ctx: browser.Open(t), demo: d, url: "http://" + listener.Addr().String()}
	w.end = func() error { stop(); return <-over }
	w.do(chromedp.EmulateViewport(1600, 900), chromedp.Navigate(w.url))
	return w
}

// stirs stirs a pot whose stir has been marked.
func stirs(d *Demo) func(*frames.Frame) {
	since := make([]time.Duration, len(d.Settings.Pots))
	return func(f *frames.Frame) {
		for i := range f.Pots {
			if now := f.Pots[i].SinceStir; f.Pots[i].StirredEver && now <= since[i] {
				d.Bench.Stir(i)
			}
			since[i] = f.Pots[i].SinceStir
		}
	}
}

func (w *walker) do(steps ...chromedp.Action[chromedp.Void]) {
	w.t.Helper()
	browser.Do(w.ctx, w.t, steps...)
}

func (w *walker) sees(expression string) bool {
	w.t.Helper()
	return browser.Evaluate[bool](w.ctx, w.t, expression)
}

// patience is how long, on the wall, the walker waits for the bench: a busy computer
// makes its time slower, not wrong.
const patience = 5 * time.Minute

// until waits for something on the page and meanwhile does what the tiles ask for.
func (w *walker) until(expression string) {
	w.t.Helper()
	for began := time.Now(); !w.sees(expression); {
		if time.Since(began) > patience {
			w.t.Fatalf("never became true: %s\nthe page says: %s", expression, browser.Evaluate[[]string](w.ctx, w.t,
				`Array.from(document.querySelectorAll(".answer, .facts, #found li, .state, .wait"), (e) => e.innerText)`))
		}
		w.tend()
	}
}

// stirEvery is the bench time from a round of stirs to the next (common practice, no source).
const stirEvery = 40 * time.Second

// tend stirs every pot in turn and marks it, and that a melt is clear where its tile waits
// for that.
func (w *walker) tend() {
	w.t.Helper()
	// A computer that is too busy for this speed looks like a dead line, and the guard cuts
	// the heat: the maker sees to it, resets, and enables it again.
	if w.sees(heatIs("tripped")) {
		w.interrupted++
		w.enable()
	}
	if w.sees(heatIs("heat blocked")) { // also where a press was lost on such a computer
		w.enable()
	}
	if w.demo.Bench.Truth().At < w.stirAt {
		time.Sleep(20 * time.Millisecond)
		return
	}
	w.stirAt = w.demo.Bench.Truth().At + stirEvery
	for pot := range w.demo.Settings.Pots {
		w.press(pot, "stir")
		if w.sees(fmt.Sprintf(`document.querySelectorAll(".pot .wait")[%d].textContent.includes("clear")`, pot)) && w.demo.Bench.Truth().Pots[pot].Clear {
			w.press(pot, "clear")
		}
	}
}

// press marks something of a pot on the page.
func (w *walker) press(pot int, mark string) {
	w.t.Helper()
	w.do(chromedp.Click(fmt.Sprintf(`[action="/api/v1/pots/%d/%s"] button`, pot+1, mark)))
}

// enable is the hand on the bench's own button: left alone, held, released.
func (w *walker) enable() {
	w.t.Helper()
	from := w.demo.Bench.Truth().At
	at := func(d time.Duration) bool { return w.demo.Bench.Truth().At-from > d }
	require.Eventually(w.t, func() bool { return at(2 * time.Second) }, patience, time.Millisecond)
	w.demo.Bench.PressEnable()
	require.Eventually(w.t, func() bool { return at(6 * time.Second) }, patience, time.Millisecond)
}

func (w *walker) heated(pot int) bool { return drawing(w.demo.Bench)[pot] }

const (
	isReady   = `document.getElementById("answer").textContent === "Yes: ready to pour"`
	belowBand = `document.querySelector('[data-pot="1"] .melt span').textContent < 168` // ivory's is 171 ± 2 °C
)

func heatIs(word string) string {
	return `document.getElementById("heat").textContent === "` + word + `"`
}

// shoot draws from every pot and pushes, as the page is told.
func (w *walker) shoot(number int) {
	w.t.Helper()
	for pot := range w.demo.Settings.Pots {
		w.press(pot, "draw")
	}
	w.do(chromedp.Click(".shot"))
	browser.Becomes(w.ctx, w.t, fmt.Sprintf(`document.getElementById("last-shot").dataset.shot === "%d"`, number), patience)
}

// add stirs cold colour into a pot and marks it with its amount.
func (w *walker) add(pot int, what string, ml float64) {
	w.t.Helper()
	tile := fmt.Sprintf(`[data-pot="%d"] .folds `, pot)
	w.demo.Bench.Add(pot, ml)
	w.do(chromedp.Click(tile+"summary"), chromedp.SendKeys(tile+"[name=what]", what),
		chromedp.SendKeys(tile+"[name=amount]", fmt.Sprintf("%.0f mL", ml)), chromedp.Click(tile+"form button"))
}

// judge says how the last shot came out, of the colours named.
func (w *walker) judge(verdict string, colours ...string) {
	w.t.Helper()
	if !w.sees(`document.querySelector("#last-shot details").open`) {
		w.do(chromedp.Click("#last-shot summary"))
	}
	for _, colour := range colours {
		w.do(chromedp.Click(`#last-shot .chip input[value="` + colour + `"]`))
	}
	w.do(chromedp.Click(`#last-shot button[value="` + verdict + `"]`))
	browser.Becomes(w.ctx, w.t, `document.querySelector("#last-shot .said button")?.textContent.startsWith("`+verdict+`")`, patience)
	w.do(chromedp.Click("#last-shot summary")) // out of the pots' way
}

// check ticks the before-heat checks, keeps them, and comes back to the bench.
func (w *walker) check() {
	w.t.Helper()
	w.do(chromedp.Click(`.before-heat a[href^="/checks"]`), chromedp.WaitVisible("#checks"))
	boxes := browser.Evaluate[int](w.ctx, w.t, `document.querySelectorAll("#checks input[type=checkbox]").length`)
	for n := range boxes {
		w.do(chromedp.Click(fmt.Sprintf("#checks li:nth-child(%d) .check", n+1)))
	}
	w.do(chromedp.Click(`#checks button[name=keep]`), chromedp.WaitVisible("#checks .kept"))
	w.do(chromedp.Click(`nav a[href="/"]`), chromedp.WaitVisible(".answer"))
}

// TestWalkThroughASession goes through an evening on the page: from cold to ready, a clean
// shot, a probe that slips out of its melt, the way back that the page tells, a shot drawn
// too soon after it, and what review has to say of that one.
func TestWalkThroughASession(t *testing.T) {
	if testing.Short() || os.Getenv("MELTWARDEN_TEST_ALL") == "" && *pictures == "" {
		t.Skip("takes two minutes of real time; MELTWARDEN_TEST_ALL asks for it")
	}
	t.Parallel() // it mostly waits
	past, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer past.Close()
	w := newWalker(t, past, 6)
	began := time.Now()
	told := func(what string) {
		t.Logf("%3.0f s, %v of bench time: %s", time.Since(began).Seconds(), w.demo.Bench.Truth().At.Round(time.Second), what)
	}

	browser.Becomes(w.ctx, t, heatIs("heat blocked"), patience)
	assert.NotContains(t, drawing(w.demo.Bench), true, "nothing heats by itself")
	w.check()
	told("before-heat checks kept")
	w.until(heatIs("heat enabled"))
	told("heat enabled")
	w.until(isReady)
	told("ready to pour")
	w.picture("ready", 1600, 900)

	w.do(chromedp.SetValue("#mould", "eel, two cavities"))
	w.shoot(1)
	w.judge("clean")
	told("a clean shot")

	const ivoryPot = 1
	slipped := simbench.Place{Pot: ivoryPot, Probe: registers.Melt}
	require.NoError(t, w.demo.Bench.Inject(simbench.PulledProbe, slipped))
	w.until(`document.querySelector('#conditions [data-severity="trip"]')?.textContent.includes("See that the probe sits in the melt") === true`)
	told("the guard has cut the heat of ivory: " + browser.Evaluate[string](w.ctx, t, `document.querySelector("#conditions li").innerText`))
	assert.False(t, w.heated(ivoryPot))
	w.picture("trip", 1600, 900)
	w.enable()
	assert.False(t, w.heated(ivoryPot), "the cause is not gone")
	require.NoError(t, w.demo.Bench.Clear(simbench.PulledProbe, slipped)) // the hand that follows the instruction
	w.until(`document.querySelector('#conditions [data-severity="trip"] i').textContent === "its cause is gone; waits for a reset"`)
	w.enable() // resets
	w.until(`document.querySelector('#conditions [data-severity="trip"]') === null`)
	told("reset at the bench")
	w.enable() // heats it again
	w.until(isReady)
	told("ready again")

	w.add(ivoryPot, "white", 20)
	w.until(belowBand)
	w.shoot(2) // too soon
	w.judge("seam", "ivory")
	told("a shot too soon")

	w.do(chromedp.Click(`nav a[href^="/runs"]`), chromedp.WaitVisible(".filter"), chromedp.Click(".rows .what a"), chromedp.WaitVisible("#shot-2"))
	browser.Becomes(w.ctx, t, `document.querySelector("figure.plot img").naturalWidth > 0`, patience)
	assert.True(t, w.sees(`document.querySelector("#shot-1 .verdict").textContent.includes("clean")`))
	assert.True(t, w.sees(`document.querySelector("#shot-2 .off-target").textContent.includes("ivory")`))
	w.do(chromedp.Click(`#shot-2 a[href*="/shots/2"]`), chromedp.WaitVisible(".causes"))
	groups := browser.Evaluate[[]string](w.ctx, t, `Array.from(document.querySelectorAll(".group"), (g) => g.innerText)`)
	assert.True(t, slices.ContainsFunc(groups, func(g string) bool {
		return strings.HasPrefix(g, "fits") && strings.Contains(g, "a pot below its own target")
	}), "%q", groups)
	assert.True(t, w.sees(`document.querySelector(".beside h2").textContent.includes("shot 1: clean")`))
	told("why shot 2 has a seam: " + groups[0])
	w.picture("review", 1600, 900)

	w.do(chromedp.Click(`nav a[href="/"]`), chromedp.WaitVisible(".dock"), chromedp.Click(".dock .off"))
	require.Eventually(t, func() bool { return !slices.Contains(drawing(w.demo.Bench), true) }, patience, time.Millisecond)
	told(fmt.Sprintf("all off; a busy computer had cost the heat %d times", w.interrupted))
	require.NoError(t, w.end())
	back, err := past.Replay(1)
	require.NoError(t, err)
	assert.Nil(t, back.Differs, "and all of it replays")
	require.Equal(t, control.HeatBlocked, w.demo.Daemon.Hub().Latest().Heat)
}

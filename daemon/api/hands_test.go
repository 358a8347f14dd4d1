package api

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/reading"
	"meltwarden/daemon/frames"
)

// digits is how high the digits of an element stand, as a share of the screen's height.
const digits = `((e) => {
	const s = getComputedStyle(e), c = document.createElement("canvas").getContext("2d");
	c.font = s.fontWeight + " " + s.fontSize + " " + s.fontFamily;
	return c.measureText("168").actualBoundingBoxAscent / innerHeight;
})(document.querySelector("%s"))`

// beneath is how far the lowest of the elements ends above the dock, negative where one is
// under it. Free holds once every mark can be pressed as soon as it is gone to.
const (
	beneath = `document.querySelector(".dock").getBoundingClientRect().top - Math.max(...Array.from(document.querySelectorAll("%s"), (e) => e.getBoundingClientRect().bottom))`
	free    = `Array.from(document.querySelectorAll(".marks button")).every((b) => {
	b.scrollIntoView({block: "nearest"});
	const {top, bottom} = b.getBoundingClientRect();
	return top >= 0 && bottom <= document.querySelector(".dock").getBoundingClientRect().top;
})`
)

// nothingUnderTheDock: at 1600 × 900 no mark is, without scrolling, also while findings
// stand above the pots; at 1366 × 768 none that is gone to. A phone on its side has every
// melt, the answer in one line and the interlocks above it.
func (s *stage) nothingUnderTheDock(f *frames.Frame, says string) {
	s.t.Helper()
	s.shown.Store(f)
	s.do(chromedp.EmulateViewport(1600, 900))
	s.becomes(answer + ` === "` + says + `" && scrollY === 0 && ` + fmt.Sprintf(beneath, ".marks button") + ` >= 0`)
	s.do(chromedp.EmulateViewport(1366, 768))
	s.becomes(free)
	evaluate[bool](s, `scrollTo(0, 0), true`)
	s.do(chromedp.EmulateViewport(844, 390))
	s.becomes(fmt.Sprintf(beneath, ".melt, .interlocks li, #answer") + ` >= 0`)
	assert.True(s.t, evaluate[bool](s, oneLine), says)
}

// oneLine is whether the answer is one.
const oneLine = `(({offsetHeight}, size) => offsetHeight < 1.5 * size)(document.getElementById("answer"), parseFloat(getComputedStyle(document.getElementById("answer")).fontSize))`

// pointers is whether every pointer is whole, and every unit beside the top of its figure.
const pointers = `Array.from(document.querySelectorAll(".pot")).every((p) => {
	const [svg, marker, melt, unit] = [".level svg", ".marker", ".melt span", ".unit"].map((s) => p.querySelector(s).getBoundingClientRect());
	return marker.left >= svg.left && marker.right <= svg.right && marker.top >= svg.top - 1 && unit.left >= melt.right - 2 && unit.top < melt.top + melt.height / 2;
})`

// TestNumbersOfTheBenchPage: wide, upright and on a phone every figure of a tile is at
// least 5 % of the screen's height, that of the countdown as well; on a wide screen the
// answer is one line, and wide and upright no figure is out of sight.
func TestNumbersOfTheBenchPage(t *testing.T) {
	s := newStage(t, lifted())
	s.becomes(counted + ` === "cold in ≈ 38 s"`)
	fmt.Println("height of the digits in % of the screen's height: melt; melt beside a countdown; the countdown")
	for _, size := range [][2]int64{{1920, 1080}, {1600, 900}, {1080, 1920}, {768, 1024}, {390, 844}, {320, 640}} {
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		high := func(of string) float64 { return 100 * evaluate[float64](s, fmt.Sprintf(digits, of)) }
		alone, beside, seconds := high(".pot:nth-child(2) .melt"), high(".melt"), high(".seconds")
		fmt.Printf("  %d × %d: %.1f; %.1f; %.1f\n", size[0], size[1], alone, beside, seconds)
		assert.GreaterOrEqual(t, min(alone, beside, seconds), 5.0, size)
		assert.True(t, evaluate[bool](s, `document.documentElement.scrollWidth <= innerWidth`), size)
		assert.LessOrEqual(t, evaluate[float64](s, `Math.max(...Array.from(document.querySelectorAll(".reading, .pour, .seconds, .lead, .state, .marks button"), (e) => e.scrollWidth - e.clientWidth))`), 1.0, size)
		if size[0] >= 768 && size[1] >= 900 {
			part := map[bool]string{true: ".wait", false: ".melt"}[size[0] >= 1000]
			assert.True(t, evaluate[bool](s, `Array.from(document.querySelectorAll(".pot `+part+`")).every((e) => e.getBoundingClientRect().bottom <= document.querySelector(".dock").getBoundingClientRect().top)`), "%v: every pot is in sight", size)
		}
	}
	f := holding()
	f.Heat, f.ReadyIn, f.ReadyWithin = control.HeatEnabled, 34*time.Minute, 12*time.Minute
	f.Pots[0].State, f.Pots[0].Wait, f.Pots[0].MeltC, f.Pots[0].TargetC = control.Heating, control.WaitHeat, 21, 178
	f.Contacts.EStop, f.Contacts.CutOut = reading.Contact{Closed: true, Fault: reading.None}, reading.Contact{Fault: reading.None}
	s.shown.Store(f)
	s.do(chromedp.EmulateViewport(1920, 1080))
	s.becomes(answer + ` === "Not yet: slate 156 °C below its cure temperature, all ready in 34 ± 12 min"`)
	assert.True(t, evaluate[bool](s, oneLine), "one line")
	assert.Equal(t, "emergency stop closed|cut-out open|fan not wired", evaluate[string](s, `Array.from(document.querySelectorAll(".interlocks li"), (li) => li.textContent.trim()).join("|")`))
	assert.Equal(t, "danger", evaluate[string](s, `document.querySelectorAll(".interlocks li")[1].dataset.tone`))
	assert.True(t, evaluate[bool](s, `document.querySelector(".caution.short").checkVisibility()`))
	assert.False(t, evaluate[bool](s, `document.querySelector(".before-heat").checkVisibility()`))

	f = holding()
	f.Heat, f.Hot = control.HeatBlocked, false
	s.shown.Store(f)
	s.becomes(`document.querySelector(".before-heat a").checkVisibility()`)
	assert.False(t, evaluate[bool](s, `document.querySelector(".caution.short").checkVisibility()`), "nothing is hot")

	f = holding()
	f.Pots[0].Cured, f.Pots[0].Melt, f.Pots[0].MeltC = false, good(21), 21
	f.Pots[1].Melt, f.Pots[1].MeltC = good(300), 300
	s.shown.Store(f)
	s.becomes(melt1 + ` === "21"`)
	for _, size := range [][2]int64{{1600, 900}, {1080, 1920}, {820, 1180}, {320, 640}} {
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		s.becomes(pointers)
	}
	s.nothingUnderTheDock(ready(), "Yes: ready to pour")
	s.nothingUnderTheDock(tripped(), "2 chalk tripped, reset at the bench")
}

const offered = `document.querySelector("#offer small").textContent`

// TestAHandAtTheBench: single keys mark and can be switched off, what is typed in a field is
// none; a mark is offered to be taken back; what is typed outlives the page, and a mark that
// was not sent waits for a person; the screen stays on while anything is hot.
func TestAHandAtTheBench(t *testing.T) {
	s := newStage(t, holding())
	s.becomes(`document.body.dataset.live === "true"`)
	s.becomes(`["held", "refused"].includes(document.body.dataset.awake)`)
	press := func(keys string) {
		for _, k := range keys {
			s.do(chromedp.KeyEvent(string(k)))
		}
	}
	press("s")
	s.becomes(`document.getElementById("chosen").textContent.includes("Choose the pot")`)
	press("2s")
	assert.Equal(t, control.Command{Kind: control.Stir, Pot: 1}, s.command())
	press("3d")
	assert.Equal(t, control.Command{Kind: control.Draw, Pot: 2}, s.command())
	press("p")
	assert.Equal(t, control.Shot, s.command().Kind)
	press("O")
	assert.Equal(t, control.AllOff, s.command().Kind)
	press("n")
	s.becomes(`document.activeElement.name === "text"`)
	evaluate[string](s, `document.activeElement.value = ""`) // this driver types the letter all the same
	press("2s? O")                                           // a note
	s.becomes(`document.activeElement.value === "2s? O"`)
	assert.Empty(t, s.queue, "what is typed is no key")

	s.do(chromedp.Reload())
	s.becomes(`document.querySelector("[name=text]").value === "2s? O" && document.body.dataset.live === "true"`)
	s.do(chromedp.Focus("[name=text]"), chromedp.KeyEvent(kb.Enter))
	assert.Equal(t, control.Command{}, s.command())
	s.becomes(`document.querySelector("[name=text]").value === "" && ` + offered + ` === "Note"`)
	press("?") // into the field
	s.do(chromedp.Reload())
	s.becomes(`document.body.dataset.live === "true"`)
	evaluate[string](s, `document.activeElement.blur(), document.querySelector("[name=text]").value = ""`)
	press("?")
	s.becomes(`document.getElementById("key-list").open`)
	assert.GreaterOrEqual(t, evaluate[float64](s, `document.querySelectorAll("#key-list li").length`), 18.0)
	s.do(chromedp.Click("#keys-on"), chromedp.Click("#key-list form button:last-child"))
	s.becomes(`!document.getElementById("key-list").open`)
	press("1s")
	press("O")
	assert.Empty(t, s.queue, "they are switched off")
	s.do(chromedp.Reload())
	s.becomes(`document.body.dataset.live === "true" && document.getElementById("keys-on").ariaPressed === "false"`)

	f := holding()
	f.Pots[0].Said[0] = control.Said{Can: true, Ago: time.Second}
	s.shown.Store(f)
	s.becomes(offered + ` === "slate: Stirred"`)
	s.do(chromedp.Click("#offer button"))
	assert.Equal(t, control.Command{Kind: control.TakeBack, Pot: 0, Mark: control.Stir}, s.command())
	s.becomes(offered + ` === "" && document.querySelector("#offer button").disabled`)
	assert.Equal(t, 1.0, evaluate[float64](s, `document.querySelectorAll(".take-back form").length`))

	evaluate[bool](s, `window.fetch = () => Promise.reject(new TypeError("gone")), true`)
	s.do(chromedp.Click(`[action="/api/v1/pots/2/draw"] button`))
	s.becomes(`document.querySelector("#unsent li b")?.textContent.startsWith("chalk: Drawn, pressed at ")`)
	assert.Empty(t, s.queue)
	s.do(chromedp.Reload())
	s.becomes(`document.querySelector("#unsent li") !== null && document.body.dataset.live === "true"`)
	assert.Empty(t, s.queue, "never by itself")
	s.do(chromedp.Click(`#unsent [data-do="send"]`))
	assert.Equal(t, control.Command{Kind: control.Draw, Pot: 1}, s.command())
	s.becomes(`document.getElementById("unsent").hidden`)
	cold := holding()
	cold.Heat, cold.Hot = control.HeatBlocked, false
	s.shown.Store(cold)
	s.becomes(`document.querySelector(".before-heat a").checkVisibility()`)
	assert.Equal(t, "", evaluate[string](s, `document.getElementById("awake").textContent`))
	s.do(chromedp.Click(".before-heat a"), chromedp.WaitVisible("#checks"), chromedp.Focus(`[value="dry"]`), chromedp.KeyEvent(" "))
	s.becomes(`document.querySelector('[value="dry"]').checked`)
	s.becomes(`(async () => (await (await fetch("/api/v1/checks")).json()).checks.find((c) => c.key === "dry").ticked !== null)()`)
	s.do(chromedp.Reload(), chromedp.WaitVisible("#checks"))
	s.becomes(`document.querySelector('[value="dry"]').checked && !document.querySelector('[value="mould"]').checked`)
	assert.GreaterOrEqual(t, evaluate[float64](s, `Math.min(...Array.from(document.querySelectorAll(".check"), (e) => e.getBoundingClientRect().height))`), 72.0)
	s.do(chromedp.Click(`[data-say="danger"]`))
	assert.Empty(t, s.queue)
}

// TestAMarkWhoseAnswerIsLost counts once: pressed again, sent again from the list, and after
// the page was loaded anew. Once it is answered, the same press is another.
func TestAMarkWhoseAnswerIsLost(t *testing.T) {
	s := newStage(t, holding())
	const live = `document.body.dataset.live === "true"`
	listed := `document.querySelectorAll("#unsent li").length === 1`
	click := func(what string) { // wherever the list has moved it to
		evaluate[bool](s, `document.querySelector('`+what+`').click(), true`)
	}
	stir := func() { click(`[action="/api/v1/pots/3/stir"] button`) }
	send := func() { click(`#unsent [data-do="send"]`) }
	s.becomes(live)
	evaluate[bool](s, `window.lost = true, window.told = window.sent = 0, document.addEventListener("sent", () => window.sent++), document.addEventListener("unsent", () => window.told++), true`)
	evaluate[bool](s, `window.fetch = ((real) => async (...asked) => {
		const answer = await real(...asked);
		if (window.lost) throw new TypeError("gone");
		return answer;
	})(fetch), true`)
	stir()
	assert.Equal(t, control.Command{Kind: control.Stir, Pot: 2}, s.command())
	s.becomes(listed)
	stir()
	s.becomes(`window.told === 2 && ` + listed)
	evaluate[bool](s, `window.lost = false, true`)
	send()
	s.becomes(`document.getElementById("unsent").hidden`)
	assert.Empty(t, s.queue)
	stir()
	assert.Equal(t, control.Command{Kind: control.Stir, Pot: 2}, s.command(), "answered: the next is another")
	s.becomes(`window.sent === 1`)

	evaluate[bool](s, `window.lost = true`)
	stir()
	assert.Equal(t, control.Command{Kind: control.Stir, Pot: 2}, s.command())
	s.becomes(listed)
	s.do(chromedp.Reload())
	s.becomes(listed + ` && ` + live)
	send()
	s.becomes(`document.getElementById("unsent").hidden`)
	assert.Empty(t, s.queue)
}

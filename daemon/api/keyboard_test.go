package api

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/history"
)

// mostTabs is after how many presses of the tab key something counts as out of reach.
const mostTabs = 200

// tabTo presses the tab key until the keyboard is where the selector says.
func (s *stage) tabTo(selector string) { s.tab(selector) }

// tabBackTo does so backwards.
func (s *stage) tabBackTo(selector string) {
	s.tab(selector, chromedp.KeyModifiers(chromedp.ModifierShift))
}

func (s *stage) tab(selector string, how ...chromedp.KeyOption) {
	s.t.Helper()
	for range mostTabs {
		s.do(chromedp.KeyEvent("\t", how...))
		if evaluate[bool](s, `document.activeElement.matches('`+selector+`')`) {
			return
		}
	}
	s.t.Fatalf("the tab key does not reach %s", selector)
}

func (s *stage) press(keys string) { s.t.Helper(); s.do(chromedp.KeyEvent(keys)) }

// TestEveryFlowByKeyboardAlone, with real keys: WCAG 2.2, 2.1.1 (keyboard), 2.1.2 (no
// trap), 2.4.1 (a way past the navigation), 2.4.3 (order).
func TestEveryFlowByKeyboardAlone(t *testing.T) {
	store := twoEvenings(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	e.pass(nil, nil, "")
	marks := make(chan history.Mark, 8)
	s := newStageWith(t, ready(), func(o *Options) {
		shown(t, o, store)
		o.Submit = func(m history.Mark) error {
			if m.Kind == control.Shot {
				e.shoot(rustHot(), m.Text)
			}
			marks <- m
			return nil
		}
	})
	goTo := func(address string) {
		t.Helper()
		s.do(chromedp.Navigate(s.server.URL + address))
		s.becomes(`document.querySelector("main") !== null`)
	}
	versions, err := store.Versions()
	require.NoError(t, err)

	// Past the navigation, and a mark.
	s.becomes(`document.body.dataset.live === "true"`)
	s.press("\t")
	assert.True(t, evaluate[bool](s, `document.activeElement.matches(".off")`), "ALL OFF is the first")
	s.tabTo(".skip")
	s.press(kb.Enter)
	s.press("\t")
	assert.True(t, evaluate[bool](s, `document.activeElement.closest("main") !== null`), "the skip link leads past the navigation")
	s.tabTo(`[action="/api/v1/pots/1/stir"] button`)
	s.press(kb.Enter)
	assert.Equal(t, control.Stir, (<-marks).Kind)

	// A shot, what it was like, and that taken back.
	s.tabTo("#mould")
	s.press("eel")
	s.tabTo(".shot")
	s.press(" ")
	assert.Equal(t, "eel", (<-marks).Text)
	s.becomes(`document.getElementById("last-shot").dataset.shot === "1"`)
	s.tabTo(`#last-shot .chip input[value="rust"]`)
	s.press(" ")
	s.tabTo(`#last-shot button[value="bled"]`)
	s.press(kb.Enter)
	s.becomes(`document.querySelector("#last-shot .said button") !== null`)
	s.becomes(`document.activeElement.value === "bled"`) // kept though the part was replaced
	s.tabBackTo("#last-shot .said button")
	s.press(kb.Enter)
	s.becomes(`document.querySelector("#last-shot .said button") === null`)
	s.becomes(`document.activeElement.closest("#last-shot") !== null`)
	e.end()

	// An alarm that was seen.
	goTo("/alarms")
	waits := evaluate[int](s, `document.querySelectorAll('[action$="/acknowledge"]').length`)
	require.Positive(t, waits)
	s.tabTo(`[action$="/acknowledge"] button`)
	s.press(kb.Enter)
	s.becomes(fmt.Sprintf(`document.querySelectorAll('[action$="/acknowledge"]').length === %d`, waits-1))
	s.becomes(`document.activeElement.matches(".alarm")`) // not on the button that sets it aside, nor at the page's beginning

	// A recipe is changed.
	goTo("/recipes/" + versions[0].Fingerprint + "/change")
	s.tabTo(`[name="colours[1].setpoint"]`)
	s.press("167 C") // in place of what was there: the tab key has selected it
	s.tabTo(`form.change [value="keep"]`)
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible(".contrasts")) // another page
	s.becomes(`document.body.textContent.includes("slate: set-point 168 °C → 167 °C")`)

	// A try is accepted.
	goTo("/runs/1/shots/2")
	s.tabTo(`form[action$="/try"] button`)
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible("#attempt-1"))

	// An evening is planned.
	goTo("/plan")
	s.tabTo(`[name="room"]`)
	s.press("20 C")
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible(`[name="room"][value="20 C"]`), chromedp.WaitVisible(".plan-answer"))

	// A run is found, by two ways.
	goTo("/runs")
	s.tabTo(`[name="text"]`)
	s.press("fan was")
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible(`[name="text"][value="fan was"]`))
	s.becomes(`document.querySelectorAll(".rows li").length === 1`)
	s.tabTo(".rows a")
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible("#shot-2"))
	goTo("/pages")
	s.tabTo(`[name="words"]`)
	s.press("cavities bled")
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible(".hits a"))

	// What is brought and taken can be reached, and nothing holds the keyboard.
	goTo("/keeping")
	for _, there := range []string{`a[href="/keeping/runs.sqlite"]`, `[type="file"]`, `[action="/api/v1/import"] button`, `[name="older-than"]`} {
		s.tabTo(there)
	}
	goTo("/settings")
	s.tabTo(`[name="theme"]`)
	s.press(kb.ArrowRight)
	s.press(kb.ArrowRight)
	s.tabTo(".keep button")
	s.press(kb.Enter)
	s.do(chromedp.WaitVisible(".done"))
	s.becomes(`getComputedStyle(document.documentElement).colorScheme === "dark"`)
	s.noTrap()
}

// noTrap: the tab key goes through all that can be pressed, in the order of the page, and
// comes round.
func (s *stage) noTrap() {
	s.t.Helper()
	const each = `Array.from(document.querySelectorAll("a[href], button, input:not([type=hidden]), summary")).filter((e) => e.checkVisibility() && e.tabIndex >= 0 && (e.type !== "radio" || e.checked))`
	all := evaluate[int](s, each+`.length`)
	s.tabTo(".skip")
	for i := range all {
		assert.Equal(s.t, i, evaluate[int](s, each+`.indexOf(document.activeElement)`))
		s.press("\t")
	}
	s.tabTo(".skip") // comes round
}

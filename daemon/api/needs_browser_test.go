package api

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/guard"
)

// TestPagesThatAreLeftOpen, in one browser: what needs somebody goes on beside an open fold
// and the keyboard, and says when nothing answers; what is gone to is unfolded; a browser
// that goes back gives no old tick back; and a bench page whose script never came says so.
func TestPagesThatAreLeftOpen(t *testing.T) {
	var o Options
	store := opened(t)
	e := begun(t, store, time.Now(), string(config.DemoRecipe().Typed))
	t.Cleanup(e.end)
	s := newStageWith(t, holding(), func(with *Options) {
		with.History = store
		o = *with
	})
	s.becomes(`!("unheard" in document.body.dataset)`)
	s.needsGoesOn(o)
	s.ticksAreNotGivenBack()
	s.unheard(New(o))
}

func (s *stage) needsGoesOn(o Options) {
	weak := guard.Condition{Code: guard.HeaterWeak, Pot: 2, Severity: guard.Warning, Active: true}
	stop := guard.Condition{Code: guard.EStopOpen, Pot: -1, Severity: guard.Trip, Active: true, Latched: true}
	o.Alarms.See(&control.Frame{Time: time.Second, Conditions: []guard.Condition{weak}})
	const often = `{ const later = setTimeout, limit = AbortSignal.timeout.bind(AbortSignal);
		window.setTimeout = (f, ms, ...rest) => later(f, ms === 5000 ? 100 : ms, ...rest);
		AbortSignal.timeout = (ms) => limit(window.hangs ? 50 : ms); }`
	_, err := chromedp.Call(s.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: often})
	require.NoError(s.t, err)
	s.do(chromedp.Navigate(s.server.URL + "/alarms#rule-fast_fall"))
	s.becomes(`document.getElementById("rule-fast_fall")?.checkVisibility()`)
	evaluate[bool](s, `(() => {
		const row = document.getElementById("alarm-heater_weak-3");
		row.querySelector("details").open = true;
		row.querySelector("[action$=acknowledge] button").focus();
		return true; })()`)
	o.Alarms.See(&control.Frame{Time: 2 * time.Second, Conditions: []guard.Condition{weak, stop}})
	s.becomes(`document.getElementById("alarm-e_stop_open-0") !== null`)
	assert.True(s.t, evaluate[bool](s, `document.querySelector("#alarm-heater_weak-3 details").open`), "what is open stays open")
	assert.True(s.t, evaluate[bool](s, `document.activeElement.matches("#alarm-heater_weak-3 [action$=acknowledge] button")`), "the keyboard stays")
	evaluate[bool](s, `(() => { window.kept = document.getElementById("alarm-heater_weak-3"); window.before = fetch; window.hangs = true;
		window.fetch = (address, o) => new Promise((_, no) => o.signal.addEventListener("abort", () => no(o.signal.reason)));
		return true; })()`)
	s.becomes(`document.querySelector("#needs > .problem")?.textContent.startsWith("NOT LIVE")`)
	assert.True(s.t, evaluate[bool](s, `window.kept.isConnected`), "nothing is touched while nothing changes")
	evaluate[bool](s, `(() => { window.fetch = window.before; window.hangs = false; return true; })()`)
	s.becomes(`document.querySelector("#needs > .problem") === null`)
}

func (s *stage) ticksAreNotGivenBack() {
	const box = `document.querySelector("[value=dry]")`
	s.do(chromedp.Navigate(s.server.URL + "/checks"))
	s.becomes(`document.querySelector(".heard")?.hidden === false`)
	evaluate[bool](s, `(() => { `+box+`.click(); return true; })()`)
	<-s.queue
	s.do(chromedp.Navigate(s.server.URL + "/alarms"))
	s.becomes(`document.getElementById("needs") !== null`)
	evaluate[bool](s, `(() => { fetch("/api/v1/checks", { method: "POST", body: new URLSearchParams({ was_ticked: "dry" }) }); return true; })()`)
	<-s.queue
	s.do(chromedp.NavigateBack())
	s.becomes(`document.querySelector(".heard")?.hidden === false && ` + box + `?.checked === false`)
	time.Sleep(100 * time.Millisecond)
	assert.Empty(s.t, s.queue, "no tick is sent again")
}

// unheard looks at a bench page whose script does not arrive, once its time is over.
func (s *stage) unheard(h http.Handler) {
	without := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/assets/bench.js" {
			http.NotFound(w, r)
			return
		}
		h.ServeHTTP(w, r)
	}))
	s.t.Cleanup(without.Close)
	s.do(chromedp.Navigate(without.URL))
	s.becomes(`document.querySelector(".unheard") !== null && document.readyState === "complete"`)
	const shown = `[getComputedStyle(document.querySelector(".unheard")).visibility, getComputedStyle(document.querySelector(".answer")).opacity]`
	require.Equal(s.t, []string{"hidden", "1"}, evaluate[[]string](s, shown))
	evaluate[bool](s, `(() => { document.getAnimations().forEach((a) => a.finish()); return true; })()`)
	assert.Equal(s.t, []string{"visible", "0.28"}, evaluate[[]string](s, shown))
	assert.Equal(s.t, 15000.0, evaluate[float64](s, `document.querySelector(".unheard").getAnimations()[0].effect.getTiming().delay`), "ms")
}

package api

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/pour"
	"meltwarden/dashboards/browser"
)

// TestAReaderHearsTheAnswerAndNoCountdown: the page's live regions say what changed in
// meaning, once (WCAG 2.2, 4.1.3); a number that counts down is no news. With colours that
// the reader's system forces, and with little motion, shapes and words stay.
func TestAReaderHearsTheAnswerAndNoCountdown(t *testing.T) {
	s := newStage(t, ready())
	s.becomes(`document.getElementById("said").textContent === "Yes: ready to pour"`)
	evaluate[bool](s, `window.heard = [];
		for (const e of document.querySelectorAll("[role=status], [role=alert], [aria-live]"))
			new MutationObserver(() => heard.push(e.textContent)).observe(e, {childList: true, characterData: true, subtree: true}); true`)
	for left := 30 * time.Second; left > 20*time.Second; left -= 2 * time.Second {
		f := lifted()
		f.Pots[0].Pour = pour.Left{In: left, Low: left / 2, High: 2 * left, Known: true}
		f.Pour = f.Pots[0].Pour
		s.shown.Store(f)
		s.becomes(answer + ` === "slate: cold in ≈ ` + left.Truncate(time.Second).String()[:2] + ` s"`)
	}
	assert.Equal(t, []string{"slate: cold in ≈ 30 s"}, evaluate[[]string](s, `heard`), "five frames, one thing to hear")
	s.shown.Store(tripped())
	s.becomes(`heard.length === 2`)

	browser.Media(s.ctx, t, "forced-colors", "active")
	assert.Equal(t, evaluate[string](s, `getComputedStyle(document.querySelector(".answer h1")).color`),
		evaluate[string](s, `getComputedStyle(document.querySelector(".answer .shape")).fill`), "the shape has the words' colour")
	assert.Positive(t, evaluate[float64](s, `parseFloat(getComputedStyle(document.querySelector(".answer")).borderTopWidth)`))
	assert.NotEqual(t, evaluate[string](s, `getComputedStyle(document.querySelector(".number")).color`),
		evaluate[string](s, `getComputedStyle(document.querySelector(".number")).backgroundColor`))
	browser.Media(s.ctx, t, "prefers-reduced-motion", "reduce")
	assert.Equal(t, 0, evaluate[int](s, `document.getAnimations().length`))
	assert.Equal(t, "none", evaluate[string](s, `getComputedStyle(document.querySelector("button")).transitionProperty`))
}

package api

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"

	"meltwarden/control"
)

// atItsCentre is what a press of ALL OFF's own place hits.
const atItsCentre = `((r) => document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2)?.className)(
	document.querySelector(".dock .off").getBoundingClientRect())`

// TestNothingIsOverAllOff, whichever pot is chosen and with the list of keys open, in which
// its key goes on working; and the answer stays in sight.
func TestNothingIsOverAllOff(t *testing.T) {
	s := newStage(t, holding())
	for _, size := range [][2]int64{{1600, 900}, {1366, 768}, {844, 390}, {390, 844}} {
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		for _, pot := range []string{"1", "2", "3"} {
			s.do(chromedp.KeyEvent(pot))
			s.becomes(`document.querySelectorAll(".pot")[` + pot + ` - 1].matches(".chosen")`)
			s.becomes(atItsCentre + ` === "off"`)
			assert.True(t, evaluate[bool](s, `((melt, dock) => melt.top >= 0 && melt.bottom <= dock.top + 1)(
				document.querySelector(".pot.chosen .melt").getBoundingClientRect(), document.querySelector(".dock").getBoundingClientRect())`), "%v: pot %s is seen", size, pot)
		}
		if size[1] >= 768 && size[0] > size[1] {
			assert.Zero(t, evaluate[float64](s, `scrollY`), "%v: what is in sight is not scrolled to", size)
		}
		s.do(chromedp.KeyEvent("?"))
		s.becomes(`document.getElementById("key-list").open && document.activeElement.matches("#key-list form button:last-child")`)
		s.becomes(atItsCentre + ` === "off"`)
		s.do(chromedp.KeyEvent("O"))
		assert.Equal(t, control.AllOff, s.command().Kind)
		s.do(chromedp.KeyEvent(kb.Escape))
		s.becomes(`!document.getElementById("key-list").open`)
		s.do(chromedp.ScrollIntoView("#keys"))
		s.becomes(`document.querySelector(".answer").getBoundingClientRect().top >= -1`)
		evaluate[bool](s, `scrollTo(0, 0); true`)
	}
}

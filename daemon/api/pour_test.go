package api

import (
	"math"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/pour"
	"meltwarden/daemon/frames"
)

// lifted is holding, with the first pot off its plate.
func lifted() *frames.Frame {
	f := holding()
	p := &f.Pots[0]
	p.State, p.Wait = control.Lifted, control.WaitReturn
	p.Pour = pour.Left{In: 38 * time.Second, Low: 24 * time.Second, High: 55 * time.Second, Known: true}
	f.Pour = p.Pour
	return f
}

// counted is what the first tile counts down.
const counted = `document.querySelector(".pour .lead").textContent + document.querySelector(".pour .seconds").textContent`

// measured is that the tiles have the height which this screen leaves them: the script
// looks once it is drawn.
const measured = `((px) => px("--above") === Math.ceil(document.querySelector(".pots").getBoundingClientRect().top + scrollY) &&
	px("--dock") === Math.ceil(document.querySelector(".dock").getBoundingClientRect().height)
)((name) => parseFloat(document.documentElement.style.getPropertyValue(name)))`

// settled waits until the page is measured, and then until an expression has been the same for
// ten frames: what is measured is laid out in the frames after it.
func (s *stage) settled(expression string) float64 {
	s.t.Helper()
	s.becomes(measured)
	s.becomes(`((is) => {
		window.steady = window.before === is ? window.steady + 1 : 0;
		window.before = is;
		return window.steady >= 10;
	})(` + expression + `)`)
	return evaluate[float64](s, expression)
}

// TestTheCountdownMovesNoButton: it takes its place from the melt's figure, on a wide
// screen and on a telephone.
func TestTheCountdownMovesNoButton(t *testing.T) {
	s := newStage(t, holding())
	const top = `document.querySelector('[action="/api/v1/pots/1/stir"] button').getBoundingClientRect().top + scrollY -
		document.querySelector('.pot').getBoundingClientRect().top - scrollY`
	for _, size := range [][2]int64{{1600, 900}, {1100, 800}, {390, 844}} {
		s.shown.Store(holding())
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		s.becomes(`getComputedStyle(document.querySelector(".pour")).display === "none"`)
		before := s.settled(top)
		s.shown.Store(lifted())
		s.becomes(counted + ` === "cold in ≈ 38 s"`)
		assert.InDelta(t, before, s.settled(top), 1, "%v", size)
		assert.LessOrEqual(t, evaluate[float64](s, `Math.max(...[".pour", ".pour .lead", ".pour .seconds"].map((s) => document.querySelector(s)).map((e) => e.scrollWidth - e.clientWidth))`), 0.0, "%v: the words fit", size)
	}
	s.becomes(answer + ` === "slate: cold in ≈ 38 s"`)
}

// injected is holding, with what was drawn from the first pot in its injector for a time.
func injected(since time.Duration) *frames.Frame {
	f := holding()
	f.Pots[0].Drawn = control.Drawn{Waits: true, Since: since, C: 168, TubeC: math.NaN()}
	return f
}

// TestADrawMovesNoButton: what is told of an injector takes the same place.
func TestADrawMovesNoButton(t *testing.T) {
	s := newStage(t, holding())
	const top = `document.querySelector('[action="/api/v1/pots/1/stir"] button').getBoundingClientRect().top -
		document.querySelector('.pot').getBoundingClientRect().top`
	for _, size := range [][2]int64{{1600, 900}, {390, 844}} {
		s.shown.Store(holding())
		s.do(chromedp.EmulateViewport(size[0], size[1]))
		s.becomes(`getComputedStyle(document.querySelector(".pour")).display === "none"`)
		before := s.settled(top)
		for since, want := range map[time.Duration]string{2 * time.Second: "injector ≈ 5 s", time.Minute: "injector ≈ 0 s"} {
			s.shown.Store(injected(since))
			s.becomes(counted + ` === "` + want + `"`)
			assert.InDelta(t, before, s.settled(top), 1, "%v", size)
			assert.LessOrEqual(t, evaluate[float64](s, `Math.max(...[".pour", ".pour .lead", ".pour .seconds"].map((s) => document.querySelector(s)).map((e) => e.scrollWidth - e.clientWidth))`), 0.0, "%v: the words fit", size)
		}
	}
}

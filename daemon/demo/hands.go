package demo

import (
	"time"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/control"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// plan is one invented evening.
type plan struct {
	bait                  bait
	daysAgo, hour, minute int
	seed                  uint64
	coolIvory             bool // made with the recipe as it was first
	promoted              bool // its recipe, as changed at the bench, became the present one
	note                  string
	pushes                []push
	rest                  []int  // pots that hold what was left of the evening before
	drawn                 string // how much the maker types with each draw; "" nothing
}

// bait is what is made on an evening.
type bait struct {
	recipe []byte // as typed
	mould  string
	pause  time.Duration // from a push until the next shot is wanted
}

// eel is the demo's own bait.
func eel() bait { return bait{config.DemoRecipe().Typed, "eel, two cavities", 150 * time.Second} }

// push is one shot of a plan.
type push struct {
	when when
	// held is how long the injectors lie about between the last draw and the push.
	held     time.Duration
	verdicts []shot.Verdict
}

// when says whether the maker begins to draw; since is how long it has waited
// for that.
type when func(h *hands, f *control.Frame, since time.Duration) bool

// ready is the maker who waits for the call, and then takes up the injectors.
func ready(h *hands, _ *control.Frame, _ time.Duration) bool { return h.called >= takesUp }

// hasty does not wait for a pot to come down to its band: it draws once all are cured,
// or nearly.
func hasty(pot int) when {
	return func(_ *hands, f *control.Frame, _ time.Duration) bool {
		for _, p := range f.Pots {
			if !p.Cured && p.Dwelled == 0 {
				return false
			}
		}
		p := &f.Pots[pot]
		return p.MeltC-p.SetpointC > 1.3*p.BandC
	}
}

// cold stirs cold colour into a pot that was ready, and does not wait for it to
// come back.
func cold(pot int, what, amount string, volumeML float64) when {
	added := false
	return func(h *hands, f *control.Frame, since time.Duration) bool {
		if !added && ready(h, f, since) {
			added = true
			h.evening.bench.Add(pot, volumeML)
			h.say(history.Mark{Command: control.Command{Kind: control.ColourAdded, Pot: pot, ML: quantity.AmountML(amount)}, Text: what, Amount: amount})
		}
		p := &f.Pots[pot]
		return added && p.SetpointC-p.MeltC > 1.5*p.BandC
	}
}

// trim changes a set-point at the bench, and draws once the pot is ready there.
func trim(pot int, c float64, typed string) when {
	var at time.Duration
	return func(h *hands, f *control.Frame, since time.Duration) bool {
		if at == 0 && ready(h, f, since) {
			at = since
			h.say(history.Mark{Command: control.Command{Kind: control.Setpoint, Pot: pot, C: c}, Amount: typed})
		}
		return at > 0 && since > at+30*time.Second && ready(h, f, since)
	}
}

// The maker's pace (C).
const (
	takesUp      = 40 * time.Second
	betweenDraws = 5 * time.Second
	usualHold    = 6 * time.Second
	lookBack     = time.Minute // after the last shot, until all is switched off
	coolFor      = 2 * time.Minute
)

// hands carry out a plan.
type hands struct {
	evening *evening
	pushes  []push
	waiting time.Duration // bench time since when the next push is wanted
	called  time.Duration // for how long all have been ready meanwhile
	drawn   int
	nextAt  time.Duration // of the next draw or push, once drawing
	offAt   time.Duration
	done    bool
}

func (h *hands) say(m history.Mark) { h.evening.marks = append(h.evening.marks, m) }

// look takes in a cycle and does what is due.
func (h *hands) look(f *control.Frame) {
	if h.called += f.Elapsed; !f.Ready || f.Time < h.waiting {
		h.called = 0
	}
	switch {
	case len(h.pushes) == 0:
		h.endOfEvening(f.Time)
	case h.drawn > 0:
		h.goOn(f)
	case f.Time >= h.waiting && h.pushes[0].when(h, f, f.Time-h.waiting):
		h.draw(f.Time)
	}
}

func (h *hands) draw(now time.Duration) {
	amount := h.evening.plan.drawn
	h.say(history.Mark{Command: control.Command{Kind: control.Draw, Pot: h.drawn, ML: quantity.AmountML(amount)}, Amount: amount})
	h.drawn++
	h.nextAt = now + betweenDraws
	if h.drawn == len(h.evening.settings.Pots) {
		h.nextAt = now + h.pushes[0].held
	}
}

func (h *hands) goOn(f *control.Frame) {
	switch {
	case f.Time < h.nextAt:
	case h.drawn < len(h.evening.settings.Pots):
		h.draw(f.Time)
	default:
		h.say(history.Mark{Command: control.Command{Kind: control.Shot}, Text: h.evening.plan.bait.mould})
		h.evening.verdict = append(h.evening.verdict, h.pushes[0].verdicts)
		h.pushes, h.drawn, h.waiting = h.pushes[1:], 0, f.Time+h.evening.plan.bait.pause
		h.offAt = f.Time + lookBack
	}
}

func (h *hands) endOfEvening(now time.Duration) {
	if h.offAt > 0 && now >= h.offAt {
		h.say(history.Mark{Command: control.Command{Kind: control.AllOff}})
		h.offAt = 0
	}
	h.done = now >= h.waiting-h.evening.plan.bait.pause+lookBack+coolFor
}

// evenings are the plans, the oldest first.
func evenings() []plan {
	good := push{ready, usualHold, []shot.Verdict{{Fault: shot.Clean}}}
	called := func(p push, fault string, colours ...string) push {
		p.verdicts = []shot.Verdict{{Fault: fault, Colours: colours}}
		return p
	}
	soon := func(pot int) push { return push{when: hasty(pot), held: usualHold} }
	twoHot := called(soon(ivory), "bled", "slate", "ivory")
	twoHot.verdicts = append(twoHot.verdicts, shot.Verdict{Fault: "bled", Colours: []string{"ivory", "rust"}})
	later := good
	later.verdicts = []shot.Verdict{{Fault: shot.Clean}, {Fault: "bled", Colours: []string{"ivory", "rust"}, Day: 3}}
	slow := push{when: ready, held: 75 * time.Second, verdicts: []shot.Verdict{{Fault: "seam"}, {Fault: "short", Cavity: "2"}}}
	return append([]plan{
		{bait: eel(), daysAgo: 51, hour: 18, minute: 10, seed: 60, coolIvory: true, pushes: []push{twoHot, good, good}},
		{bait: eel(), daysAgo: 48, hour: 19, minute: 2, seed: 42, coolIvory: true, pushes: []push{called(good, "dull"), good, good}},
		{bait: eel(), daysAgo: 44, hour: 18, minute: 31, seed: 43, coolIvory: true, promoted: true,
			note: "ivory flows better at 171; kept", pushes: []push{
				called(good, "short"), {trim(ivory, 171, "171 C"), usualHold, []shot.Verdict{{Fault: shot.Clean}}}, good}},
		{bait: eel(), daysAgo: 41, hour: 18, minute: 5, seed: 44, pushes: []push{good, good, good, good}},
		{bait: eel(), daysAgo: 38, hour: 20, minute: 15, seed: 45, note: "hunted for the clamp with full injectors", pushes: []push{good, slow, good}},
		{bait: eel(), daysAgo: 35, hour: 18, minute: 44, seed: 46, pushes: []push{good, later, good}},
		{bait: eel(), daysAgo: 32, hour: 17, minute: 58, seed: 67, pushes: []push{called(soon(rust), "bled", "ivory", "rust"), good, good}},
		{bait: eel(), daysAgo: 29, hour: 19, minute: 20, seed: 48, pushes: []push{good, good, good}},
		{bait: eel(), daysAgo: 27, hour: 18, minute: 36, seed: 49, pushes: []push{good,
			called(push{when: cold(slate, "black", "3 mL", 12), held: usualHold}, "seam", "slate", "ivory"), good}},
		{bait: eel(), daysAgo: 24, hour: 18, minute: 12, seed: 50, note: "new mould, perhaps damp", drawn: "25 mL", pushes: []push{called(good, "bubbles"), good, good}},
		{bait: eel(), daysAgo: 22, hour: 19, minute: 47, seed: 51, rest: []int{slate, ivory}, drawn: "25 mL", pushes: []push{
			called(push{when: cold(rust, "salt", "15 g", 16), held: usualHold}, "swirled"), good}},
		{bait: eel(), daysAgo: 19, hour: 18, minute: 25, seed: 52, pushes: []push{good, good, good}},
	}, newts()...)
}

package view

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"meltwarden/control"
	"meltwarden/control/guard"
	"meltwarden/daemon/frames"
)

// benchWords answers "can I shoot?" in one line, with the rest of the bench.
func benchWords(f *frames.Frame, s control.Settings, live bool) BenchWords {
	last := dash
	if f != nil {
		last = f.At.Format(time.TimeOnly)
	}
	w := notLiveWords(last)
	if !live {
		return w
	}
	w.Answer, w.Detail = answer(f, s)
	w.Detail = cmp.Or(urgent(f), drawnFirst(f, s), w.Detail)
	w.Tone, w.Heat = benchTone(f), f.Heat.String()
	w.Power = powerWords(f, s)
	if f.Aside > 0 {
		w.Aside = fmt.Sprintf(texts.aside, f.Aside)
	}
	w.Mould = probe(texts.mould, frames.Measured(f.Mould), f.Mould.Wired())
	w.Room = probe(texts.room, frames.Measured(f.Room), f.Room.Wired())
	return w
}

// notLiveWords are those of a bench that was last heard at a time, or never.
func notLiveWords(last string) BenchWords {
	w := BenchWords{Answer: same(texts.NoReadingYet), Tone: Lost, Heat: notKnown, Mould: same(""), Room: same(""), LastReading: last}
	if last != dash {
		w.Answer = same(fmt.Sprintf("%s – %s %s", texts.NotLive, texts.LastReading, last))
	}
	return w
}

// urgent is the first that is to be done, or to be known, about the worst trip; empty
// without one. The line above it says only what the pour waits for.
func urgent(f *frames.Frame) string {
	c := worstTrip(f)
	if c == nil {
		return ""
	}
	first, _ := FirstSentence(c.Instruction())
	return first
}

// worstTrip is nil without one.
func worstTrip(f *frames.Frame) *guard.Condition {
	i := slices.IndexFunc(f.Conditions, func(c guard.Condition) bool { return c.Severity == guard.Trip })
	if i < 0 {
		return nil
	}
	return &f.Conditions[i]
}

// tripAnswer names the pot that tripped, by the number that the eye looks for: the one
// that the worst trip is about, of several that wait for a reset.
func tripAnswer(f *frames.Frame, s control.Settings, pot int) string {
	if c := worstTrip(f); c != nil {
		pot = c.Pot
	}
	if pot < 0 {
		return texts.benchTripped
	}
	return fmt.Sprintf(texts.potTripped, numbered(pot, s))
}

// probe is a labelled temperature, nothing where the bench has no such probe.
func probe(label string, c Figure, wired bool) Both {
	if !wired {
		return same("")
	}
	return inBoth(func(u unit) string { return fmt.Sprintf(label, u.whole(c), u.symbol) })
}

// benchTone is what the answer asks of a person. A pot that needs a hand while
// another one holds up the pour says so on its own tile.
func benchTone(f *frames.Frame) Tone {
	const bench = -1
	switch i := worst(f); {
	case f.Heat == control.HeatTripped, found(f, bench, guard.Trip):
		return Danger
	case found(f, bench, guard.Warning):
		return Warn
	case f.Ready:
		return Shoot
	case i >= 0:
		return potTone(f, i)
	}
	return Plain
}

// answer says whether the maker can shoot, and if not, what the worst pot lacks.
func answer(f *frames.Frame, s control.Settings) (line Both, detail string) {
	if f.Ready {
		return same(texts.shootNow), readyDetail(f, s)
	}
	i := worst(f)
	if i < 0 {
		return same(texts.notYet), ""
	}
	p := &f.Pots[i]
	switch {
	case p.Wait == control.WaitReset:
		return same(tripAnswer(f, s, i)), ""
	case f.Pour.Known && p.Wait == control.WaitReturn && !curing(f):
		return pourAnswer(f, s)
	}
	takes := ""
	switch {
	case f.ReadyIn > 0 && timed(p.Wait):
		takes = fmt.Sprintf(texts.allReadyIn, giveOrTake(f.ReadyIn, f.ReadyWithin))
	case p.WaitLeft >= 0 && p.DwellStands:
		takes = ", " + dwellLeft(p, s.Pots[i])
	case p.WaitLeft >= 0 && p.Wait == control.WaitHeat:
		takes = fmt.Sprintf(texts.thereIn, about(p.WaitLeft))
	case p.WaitLeft >= 0 && timed(p.Wait):
		takes = ", " + about(p.WaitLeft)
	}
	return inBoth(func(u unit) string {
		return fmt.Sprintf(texts.notYetPot, lacksNow(f, i, s, u)) + takes
	}), ""
}

// readyDetail says how long the set stays ready without another stir.
func readyDetail(f *frames.Frame, s control.Settings) string {
	first, pot := time.Duration(math.MaxInt64), 0
	for i := range f.Pots {
		if d := stirLeft(&f.Pots[i], s.Pots[i]); d < first {
			first, pot = d, i
		}
	}
	return fmt.Sprintf(texts.stirAgain, about(first), potName(pot, s))
}

// order is the way from furthest from the pour to nearest. The worst pot is the
// one whose wait comes first here, then the one that takes longer.
var order = map[control.Wait]int{
	control.WaitReset: 1, control.WaitRefused: 2, control.WaitReading: 2, control.WaitEnable: 3,
	control.WaitHeat: 5, control.WaitDwell: 6, control.WaitOthers: 9, control.WaitClear: 7, control.WaitCool: 8,
	control.WaitWarm: 8, control.WaitReturn: 9, control.WaitSteady: 9, control.WaitStir: 10, control.WaitHand: 7,
}

// worst returns the index of the pot that holds up the pour, -1 when none does. What takes
// time by itself gives way to a pot that is off its plate: that one waits for a hand, however
// long the others take.
func worst(f *frames.Frame) int {
	found := furthest(f)
	if found < 0 || !timed(f.Pots[found].Wait) {
		return found
	}
	away := slices.IndexFunc(f.Pots, func(p control.PotFrame) bool { return p.Wait == control.WaitReturn })
	if away < 0 {
		return found
	}
	return away
}

// curing reports whether any pot is still on its way through its cure, so that nobody pours.
func curing(f *frames.Frame) bool {
	return slices.ContainsFunc(f.Pots, func(p control.PotFrame) bool {
		return p.Wait == control.WaitHeat || p.Wait == control.WaitDwell
	})
}

func furthest(f *frames.Frame) int {
	found := -1
	for i := range f.Pots {
		if f.Pots[i].Wait == control.WaitNothing {
			continue
		}
		if found < 0 || further(&f.Pots[i], &f.Pots[found]) > 0 {
			found = i
		}
	}
	return found
}

// further compares how far two pots are from the pour; above zero when a is further.
func further(a, b *control.PotFrame) int {
	return cmp.Or(
		cmp.Compare(order[b.Wait], order[a.Wait]),
		cmp.Compare(outlook(a), outlook(b)),
		cmp.Compare(outside(a), outside(b)),
	)
}

// outlook is how long the wait takes; one of unknown length is the longest. On the way
// up a slope tells little, and would name now this pot and now that.
func outlook(p *control.PotFrame) time.Duration {
	if p.Wait == control.WaitHeat && p.ReadyIn > 0 {
		return p.ReadyIn
	}
	if p.WaitLeft < 0 {
		return math.MaxInt64
	}
	return p.WaitLeft
}

// outside is how far the melt is outside its band, in degrees Celsius, at least zero.
func outside(p *control.PotFrame) float64 {
	melt := frames.MeltOrEstimate(p)
	if !melt.Known() {
		return 0
	}
	return max(0, math.Abs(float64(melt)-p.SetpointC)-p.BandC)
}

// timed reports whether a wait ends by itself.
func timed(w control.Wait) bool {
	switch w {
	case control.WaitHeat, control.WaitDwell, control.WaitCool, control.WaitWarm, control.WaitSteady:
		return true
	}
	return false
}

// lacksNow is lacks for a frame: a pot that waits for the button while others are
// heated is named.
func lacksNow(f *frames.Frame, i int, s control.Settings, u unit) string {
	p, name := &f.Pots[i], potName(i, s)
	if p.Wait == control.WaitEnable && f.AllOff && f.Heat == control.HeatBlocked {
		return fmt.Sprintf(texts.allOff, sinceOff(f.SinceAllOff))
	}
	heated := func(p control.PotFrame) bool { return p.Wait != control.WaitEnable }
	if p.Wait == control.WaitEnable && f.Heat == control.HeatEnabled && slices.ContainsFunc(f.Pots, heated) {
		return fmt.Sprintf(texts.potEnable, name)
	}
	return lacks(p, s.Pots[i], name, u)
}

// sinceOff is how long ago ALL OFF was asked for, no finer than it is worth telling.
func sinceOff(d time.Duration) string {
	switch {
	case d < time.Minute:
		return texts.justNow
	case d < time.Hour:
		return fmt.Sprintf(texts.minutesAgo, int(d.Minutes()))
	}
	return fmt.Sprintf(texts.hoursAgo, int(d.Hours()), int(d.Minutes())%60)
}

// lacks says what stands between the named pot and the pour.
func lacks(p *control.PotFrame, s control.PotSettings, name string, u unit) string {
	underCure := s.CureC - float64(frames.MeltOrEstimate(p))
	if p.DwellStands {
		return fmt.Sprintf(texts.lacksDwell, name, distance(underCure, u))
	}
	switch p.Wait {
	case control.WaitEnable, control.WaitRefused:
		return texts.lacks[p.Wait]
	case control.WaitHeat:
		return fmt.Sprintf(texts.lacks[p.Wait], name, distance(underCure, u))
	case control.WaitCool, control.WaitWarm:
		return fmt.Sprintf(texts.lacks[p.Wait], name, distance(outside(p), u))
	}
	return fmt.Sprintf(texts.lacks[p.Wait], name)
}

// distance writes how far there is still to go, at least one degree: less than
// that is told by the wait itself.
func distance(c float64, u unit) string {
	if math.IsNaN(c) {
		return dash
	}
	return fmt.Sprintf("%.0f %s", max(1, math.Ceil(u.span(c)-1e-9)), u.symbol)
}

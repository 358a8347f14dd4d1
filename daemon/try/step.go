package try

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/shot"
)

// How far one change goes at most, and where it ends. Grades as in config:
// C common practice without a source, E our estimate.
const (
	mostStepC    = 3.0   // C: against a bleed 5 to 10 °F are taken; this is the lower end
	leastStepC   = 1.0   // E: less can not be told from the probes' own
	gridC        = 0.5   // E
	sameC        = 0.05  // less is no other set-point
	coolestC     = 160.0 // C: injection is from 160 to 177 °C, each pot its own
	hottestC     = 177.0
	bandStepC    = 0.5 // E
	narrowestC   = 1.0 // E: narrower, and a pot is seldom called ready
	plateStepC   = 10.0
	plateRoomC   = 20.0 // E: how much warmer a plate must be able to get than any target
	dwellStep    = time.Minute
	longestDwell = 5 * time.Minute  // E: longer is not tried by itself
	soonestStir  = 30 * time.Second // E
	stirGrid     = 15 * time.Second
	soonestPush  = 15 * time.Second // E: three draws and a push take that long
	pushGrid     = 5 * time.Second
	shortestHold = 10 * time.Minute // E
	holdGrid     = 5 * time.Minute
	coolestMould = 20.0 // E
	hottestMould = 60.0 // E
	mouldStepC   = 10.0
	lateStepC    = 5.0 // E: where only the number of the shot speaks for it
)

// step is one edit of the recipe, before it is made: a new set-point, or a change of
// another kind.
type step struct {
	config.Change
	deviation     *config.Deviation
	colour, bound string
	mind          string // what to make sure of first
	aim           bool
}

// text is the recipe so changed. A set-point keeps the scale that it was typed in.
func (st step) text(typed []byte) ([]byte, error) {
	if st.deviation != nil {
		return config.Promote(typed, []config.Deviation{*st.deviation})
	}
	return config.Edit(typed, []config.Change{st.Change})
}

// step is the change that belongs to a cause. The error says why there is none.
func (s Situation) step(h evidence.Hypothesis) (step, error) {
	switch h.Cause.Try {
	case cause.Cooler:
		return s.setpoint(h, s.furthest(cause.High), -1)
	case cause.Warmer:
		return s.setpoint(h, s.furthest(cause.Low), +1)
	case cause.MatchPots:
		return s.narrower(s.furthest(0))
	case cause.CureLonger:
		return s.longerDwell(h)
	case cause.StirFirst:
		return s.soonerStir(h)
	case cause.LowerPlate:
		return s.lowerPlate()
	case cause.PushSooner:
		return aimBelow("pour.draw-within", seconds(h.Value), seconds(h.Clean.Median), s.Recipe.Pour.DrawWithin, pushGrid, soonestPush)
	case cause.HoldLess:
		return aimBelow("pour.held-at-most", minutes(h.Value), minutes(h.Clean.Median), s.Recipe.Pour.HeldAtMost, holdGrid, shortestHold)
	case cause.CoolMould:
		return s.mould(h, -1)
	case cause.WarmMould:
		return s.mould(h, +1)
	}
	return step{}, errors.New("no recipe changes that")
}

// furthest is the colour of the pot that was furthest from its own target to a side, or
// to either for 0, among those that the fault concerns; nil where none is known.
func (s Situation) furthest(side cause.Side) *config.Colour {
	most, name := math.Inf(-1), ""
	for _, p := range s.pots() {
		off := float64(side) * float64(p.DeviationC)
		if side == 0 {
			off = math.Abs(float64(p.DeviationC))
		}
		if p.DeviationC.Known() && off > most {
			most, name = off, p.Colour
		}
	}
	return s.colour(name)
}

// pots are those that the fault concerns.
func (s Situation) pots() []shot.Pot {
	about := s.Finding.Verdict.Colours
	return slices.DeleteFunc(slices.Clone(s.Card.Pots), func(p shot.Pot) bool {
		return len(about) > 0 && !slices.Contains(about, p.Colour)
	})
}

func (s Situation) colour(name string) *config.Colour {
	i := slices.IndexFunc(s.Recipe.Colours, func(c config.Colour) bool { return c.Name == name })
	if i < 0 {
		return nil
	}
	return &s.Recipe.Colours[i]
}

// path is the way to a value of a colour.
func (s Situation) path(c *config.Colour, field string) string {
	i := slices.IndexFunc(s.Recipe.Colours, func(o config.Colour) bool { return o.Name == c.Name })
	return fmt.Sprintf("colours[%d].%s", i+1, field)
}

var errWhichPot = errors.New("which pot it was is not recorded")

// setpoint moves the set-point of a colour by as much as its pot was off, within bounds.
func (s Situation) setpoint(h evidence.Hypothesis, c *config.Colour, side float64) (step, error) {
	if c == nil {
		return step{}, errWhichPot
	}
	if held := s.heldAt(c.Name); math.Abs(held-c.SetpointC) > sameC {
		return step{}, fmt.Errorf("%s was held at %s, which was set at the bench, and not at the %s of its recipe: make a version of that run first (meltwarden promote)",
			c.Name, quantity.FormatTemperature(held), quantity.FormatTemperature(c.SetpointC))
	}
	by := min(max(math.Round(float64(h.Beyond)/gridC)*gridC, leastStepC), mostStepC)
	end, toC := coolestC, max(c.SetpointC-by, coolestC)
	if side > 0 {
		end, toC = hottestC, min(c.SetpointC+by, hottestC)
	}
	if side*(toC-c.SetpointC) < leastStepC {
		return step{}, fmt.Errorf("%s is at %s already, and no pot is moved past %s by this", c.Name, quantity.FormatTemperature(c.SetpointC), quantity.FormatTemperature(end))
	}
	if err := s.leavesRoom(c.Pot, toC); err != nil {
		return step{}, err
	}
	word, mind := "below", ""
	if side > 0 {
		if err := s.trusted(c.Name); err != nil {
			return step{}, err
		}
		word, mind = "above", mindWords
	}
	return step{
		deviation: &config.Deviation{Pot: c.Pot, SetpointC: toC}, colour: c.Name, mind: mind,
		bound: fmt.Sprintf("one pot, %s °C at most, never %s %s (common practice)", trimmed(mostStepC), word, quantity.FormatTemperature(end)),
	}, nil
}

// heldAt is the set-point of a colour's pot at the shot; NaN where it is not known.
func (s Situation) heldAt(colour string) float64 {
	for _, p := range s.Card.Pots {
		if p.Colour == colour {
			return float64(p.TargetC)
		}
	}
	return math.NaN()
}

// leavesRoom holds a new set-point against the limits of the bench.
func (s Situation) leavesRoom(pot string, c float64) error {
	for i, p := range s.Settings.Pots {
		if p.Name == pot {
			_, err := config.SetpointAtBench(s.Settings, i, quantity.FormatTemperature(c))
			return err
		}
	}
	return fmt.Errorf("pot %s is not on the bench of this run", pot)
}

func (s Situation) narrower(c *config.Colour) (step, error) {
	switch {
	case c == nil:
		return step{}, errWhichPot
	case c.BandC <= narrowestC:
		return step{}, fmt.Errorf("the band of %s is as narrow as a pot can be held", c.Name)
	}
	return step{
		Change: config.Change{Path: s.path(c, "band"), Value: quantity.FormatTemperature(max(c.BandC-bandStepC, narrowestC))}, colour: c.Name,
		bound: fmt.Sprintf("the pot that was furthest off, %s °C at a time, never below %s °C (estimate)", trimmed(bandStepC), trimmed(narrowestC)),
	}, nil
}

// longerDwell is for the pot that had been cured for the shortest time. A dwell is no help
// where the draw did not wait for its end.
func (s Situation) longerDwell(h evidence.Hypothesis) (step, error) {
	if len(h.NotCured) > 0 {
		return step{}, fmt.Errorf("drawn before it was cured: %s. Wait for the call first", strings.Join(h.NotCured, ", "))
	}
	least, name := math.Inf(1), ""
	for _, p := range s.pots() {
		if p.HeldMin.Known() && float64(p.HeldMin) < least {
			least, name = float64(p.HeldMin), p.Colour
		}
	}
	c := s.colour(name)
	switch {
	case c == nil:
		return step{}, errWhichPot
	case c.Dwell >= longestDwell:
		return step{}, fmt.Errorf("%s dwells %s already; more is for you to decide", c.Name, quantity.FormatDuration(c.Dwell))
	}
	return step{
		Change: config.Change{Path: s.path(c, "cure.dwell"), Value: quantity.FormatDuration(min(c.Dwell+dwellStep, longestDwell))}, colour: c.Name,
		bound: fmt.Sprintf("one pot, %s more at most, never above %s (estimate)", spell(dwellStep), spell(longestDwell)),
	}, nil
}

func (s Situation) soonerStir(h evidence.Hypothesis) (step, error) {
	now := s.Recipe.StirWithin
	to := max(upTo(seconds(h.Clean.Median), stirGrid), upTo(now/2, stirGrid), soonestStir)
	if to >= now {
		to = now - stirGrid
	}
	if to < soonestStir {
		return step{}, fmt.Errorf("a stir is wanted within %s already", spell(now))
	}
	return step{
		Change: config.Change{Path: "ready.stir-within", Value: quantity.FormatDuration(to)},
		bound:  fmt.Sprintf("by half at most, never below %s (estimate)", spell(soonestStir)),
	}, nil
}

// lowerPlate lowers the limit under which the hottest plate of the shot stood.
func (s Situation) lowerPlate() (step, error) {
	hottest, name := math.Inf(-1), ""
	for _, p := range s.pots() {
		if p.PlateC.Known() && float64(p.PlateC) > hottest {
			hottest, name = float64(p.PlateC), p.Name
		}
	}
	least := 0.0
	for _, c := range s.Recipe.Colours {
		least = max(least, c.SetpointC+plateRoomC, c.CureC+plateRoomC)
	}
	for _, p := range s.Settings.Pots {
		if p.Name != name {
			continue
		}
		toC := p.PlateLimitC - plateStepC
		if toC < least {
			return step{}, fmt.Errorf("the plates are limited to %s already: lower, and the pots would hardly cure", quantity.FormatTemperature(p.PlateLimitC))
		}
		mind := ""
		if hottest <= toC {
			mind = fmt.Sprintf(plateWords, quantity.FormatTemperature(hottest))
		}
		return step{
			Change: config.Change{Path: "limits.plate-limit", Value: quantity.FormatTemperature(toC)}, mind: mind,
			bound: fmt.Sprintf("%s °C at a time, at least %s °C above every target (estimate)", trimmed(plateStepC), trimmed(plateRoomC)),
		}, nil
	}
	return step{}, errWhichPot
}

// aimBelow is an aim for a time: what half of the clean shots kept to.
func aimBelow(path string, was, clean, now, grid, least time.Duration) (step, error) {
	if now > 0 && was > now {
		return step{}, fmt.Errorf("the recipe aims at %s already, and it was missed: %s. Keep to it first", spell(now), spell(was))
	}
	to := max(upTo(clean, grid), least)
	if now > 0 {
		to = min(to, now-grid)
	}
	if was-to < grid/2 || to < least {
		return step{}, fmt.Errorf("%s is as short as can be aimed at", spell(was))
	}
	return step{
		Change: config.Change{Path: path, Value: quantity.FormatDuration(to)}, aim: true,
		bound: fmt.Sprintf("no shorter than what half of your clean shots kept to, never below %s (estimate)", spell(least)),
	}, nil
}

// mould is an aim for the mould at the push.
func (s Situation) mould(h evidence.Hypothesis, side float64) (step, error) {
	was, clean := float64(h.Value), float64(h.Clean.Median)
	if h.Cause.Figure != cause.Mould { // the number of the shot speaks for it
		was = float64(s.Card.MouldC)
		clean = was + side*lateStepC
	}
	if !frames.Figure(was).Known() {
		return step{}, errors.New("no temperature of the mould was recorded to aim beside; write it down at every shot")
	}
	to := min(max(math.Round(clean), was-mouldStepC, coolestMould), was+mouldStepC, hottestMould)
	path, aim, word := "pour.mould-at-most", s.Recipe.Pour.MouldAtMostC, "below"
	if side > 0 {
		path, aim, word = "pour.mould-at-least", s.Recipe.Pour.MouldAtLeastC, "above"
	}
	switch {
	case aim > 0 && side*(was-aim) < 0:
		return step{}, fmt.Errorf("the recipe aims at %s already, and it was missed: %s. Keep to it first", quantity.FormatTemperature(aim), quantity.FormatTemperature(was))
	case side*(to-was) < leastStepC, aim > 0 && side*(to-aim) < leastStepC:
		return step{}, fmt.Errorf("%s is as far as is aimed at", quantity.FormatTemperature(was))
	}
	end := coolestMould
	if side > 0 {
		end = hottestMould
	}
	return step{
		Change: config.Change{Path: path, Value: quantity.FormatTemperature(math.Round(to))}, aim: true,
		bound: fmt.Sprintf("%s °C %s this one's at most, never %s %s (estimate)", trimmed(mouldStepC), word, word, quantity.FormatTemperature(end)),
	}, nil
}

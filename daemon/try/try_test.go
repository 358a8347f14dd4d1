package try

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
	"meltwarden/control/guard"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/causes"
	"meltwarden/daemon/evidence"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

// aimless is the demo's recipe without aims.
func aimless(t require.TestingT) *config.Recipe {
	text, err := config.Edit(config.DemoRecipe().Typed, []config.Change{{Path: "pour", Remove: true}})
	require.NoError(t, err)
	recipe, err := config.ParseRecipe("recipe", text)
	require.NoError(t, err)
	return recipe
}

// at is a situation of the demo's recipe: these deviations of its pots, and a fault.
func at(t require.TestingT, recipe *config.Recipe, fault string, deviations ...float64) Situation {
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	settings, err := config.Settings(b, recipe)
	require.NoError(t, err)
	s := Situation{Recipe: recipe, Settings: settings, Unit: review.Celsius, Finding: evidence.Finding{Verdict: shot.Verdict{Fault: fault}}}
	s.Card.MouldC = 30
	for i, p := range settings.Pots {
		s.Card.Pots = append(s.Card.Pots, shot.Pot{Name: p.Name, Colour: p.Colour, TargetC: frames.Figure(p.SetpointC), DeviationC: frames.Figure(deviations[i]), HeldMin: frames.Figure(2 + i), PlateC: 215})
	}
	return s
}

// fitting is a cause of a fault that fits: this shot's figure, and what the clean ones had.
func fitting(t require.TestingT, fault string, f *cause.Figure, value, clean float64) evidence.Hypothesis {
	known, ok := cause.Of(fault)
	require.True(t, ok)
	i := slices.IndexFunc(known.Seen, func(c cause.Cause) bool { return c.Figure == f })
	require.GreaterOrEqual(t, i, 0)
	c := known.Seen[i]
	return evidence.Hypothesis{
		Cause: c, Standing: evidence.Fits, Value: frames.Figure(value), Beyond: frames.Figure(float64(c.Side) * (value - clean)),
		Clean: evidence.Usual{Count: 20, Median: frames.Figure(clean), Least: frames.Figure(clean - 1), Most: frames.Figure(clean + 1)},
	}
}

// TestOneChangeForEachCause: what is proposed for each cause that the trade knows, on the
// demo's recipe. The trade takes 5 to 10 °F (2.8 to 5.6 °C) off a pot against a bleed
// (common practice, no source); all other steps are estimates of ours.
func TestOneChangeForEachCause(t *testing.T) {
	for _, c := range []struct {
		fault         string
		figure        *cause.Figure
		value, clean  float64
		change, aside string
	}{
		{fault: "bled", figure: cause.Hottest, value: 2.4, clean: 0.1, change: "ivory: set-point 171 °C → 168.5 °C"},
		{fault: "bled", figure: cause.Hottest, value: 9, clean: 0.1, change: "ivory: set-point 171 °C → 168 °C"},
		{fault: "seam", figure: cause.Coldest, value: -4, clean: -0.1, change: "slate: set-point 168 °C → 171 °C"},
		{fault: "bled", figure: cause.Spread, value: 3, clean: 0.5, change: "ivory: band 2 °C → 1.5 °C"},
		{fault: "seam", figure: cause.Draw, value: 90, clean: 31, change: "pour: draw within no aim → 35 s"},
		{fault: "seam", figure: cause.Draw, value: 45, clean: 28, change: "pour: draw within no aim → 30 s"},
		{fault: "seam", figure: cause.Draw, value: 16, clean: 8, aside: "16 s is as short as can be aimed at"},
		{fault: "bled", figure: cause.Mould, value: 48, clean: 33, change: "pour: mould at most no aim → 38 °C"},
		{fault: "dented", figure: cause.Number, value: 9, clean: 3, change: "pour: mould at most no aim → 25 °C"},
		{fault: "dull", figure: cause.Mould, value: 18, clean: 31, change: "pour: mould at least no aim → 28 °C"},
		{fault: "scorched", figure: cause.Held, value: 70, clean: 22, change: "pour: held at most no aim → 1500 s"},
		{fault: "scorched", figure: cause.SinceStir, value: 110, clean: 40, change: "ready: stir within 120 s → 60 s"},
		{fault: "scorched", figure: cause.Plate, value: 215, clean: 190, change: "limits: plate limit the bench's → 220 °C"},
		{fault: "cloudy", figure: cause.HeldLeast, value: 1, clean: 9, change: "slate: dwell 90 s → 150 s"},
		{fault: "bubbles", figure: cause.Room, value: 9, clean: 20, aside: "no recipe changes that"},
	} {
		s := at(t, aimless(t), c.fault, -2.3, 2.4, 0)
		s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, c.fault, c.figure, c.value, c.clean)}
		a := s.Propose()
		if c.aside != "" {
			require.Len(t, a.Asides, 1, c.figure.Name)
			assert.Equal(t, c.aside, a.Asides[0].Why)
			assert.Equal(t, onlyAsidesWords, a.None)
			continue
		}
		require.Len(t, a.Choices, 1, "%s: %v", c.figure.Name, a.Asides)
		assert.Equal(t, c.change, a.Choices[0].Change, c.figure.Name)
		assert.NotEmpty(t, a.Choices[0].Kind)
		assert.NotEmpty(t, a.Choices[0].Reason)
		t.Logf("%-9s %-40s %s; %s", c.fault, c.figure.Name, a.Choices[0].Change, a.Choices[0].Bound)
	}
}

// TestBoundsOfAnyChange: whatever the figures say, a change is one, small, and leaves a
// recipe that the bench takes.
func TestBoundsOfAnyChange(t *testing.T) {
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	faults := shot.Verdicts()[1:]
	rapid.Check(t, func(t *rapid.T) {
		old := aimless(t)
		fault := rapid.SampledFrom(faults).Draw(t, "fault")
		degree := rapid.Float64Range(-30, 30)
		s := at(t, old, fault, degree.Draw(t, "a"), degree.Draw(t, "b"), degree.Draw(t, "c"))
		known, _ := cause.Of(fault)
		for _, c := range known.Seen {
			s.Finding.Hypotheses = append(s.Finding.Hypotheses,
				fitting(t, fault, c.Figure, rapid.Float64Range(-40, 400).Draw(t, "value"), rapid.Float64Range(-40, 400).Draw(t, "clean")))
		}
		for _, c := range s.Propose().Choices {
			recipe, err := config.ParseRecipe("recipe", c.Text)
			require.NoError(t, err)
			_, err = config.Settings(b, recipe)
			require.NoError(t, err)
			assert.Len(t, config.Differences(old, recipe), 1)
			for i := range recipe.Colours {
				assert.LessOrEqual(t, math.Abs(recipe.Colours[i].SetpointC-old.Colours[i].SetpointC), mostStepC)
				assert.GreaterOrEqual(t, recipe.Colours[i].SetpointC, coolestC)
				assert.LessOrEqual(t, recipe.Colours[i].SetpointC, hottestC)
			}
		}
	})
}

// TestASetpointOfTheBenchIsPromotedFirst: from what the recipe says nothing follows for a
// pot that was held elsewhere.
func TestASetpointOfTheBenchIsPromotedFirst(t *testing.T) {
	s := at(t, aimless(t), "bled", 0, 5, 0)
	s.Card.Pots[1].TargetC = 175
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "bled", cause.Hottest, 5, 0)}
	assert.Contains(t, s.Propose().Asides[0].Why, "ivory was held at 175 °C, which was set at the bench")
}

// TestNoMoreHeatByADoubtedThermometer: a pot whose thermometer the guard had found fault
// with before the shot is not made warmer; another pot's, or what came later, does not
// count, and less heat may always be tried. Where there is no doubt the thermometer is to be
// tried first all the same.
func TestNoMoreHeatByADoubtedThermometer(t *testing.T) {
	s := at(t, aimless(t), "seam", -4, 0, 0)
	s.At = time.Hour
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "seam", cause.Coldest, -4, 0)}
	choice := s.Propose().Choices[0]
	assert.Equal(t, kindOf(cause.Warmer), choice.Kind)
	assert.Contains(t, choice.Lines(), mindWords)
	alarm := func(at time.Duration, pot int, c guard.Code) {
		s.Events = append(s.Events, history.Event{At: at, Kind: history.Alarm, Pot: pot, Text: c.Title()})
	}
	alarm(time.Minute, 1, guard.MeltNoisy)
	alarm(time.Minute, 0, guard.MeltHigh)
	alarm(2*time.Hour, 0, guard.MeltFrozen)
	assert.Len(t, s.Propose().Choices, 1)
	alarm(time.Minute, 0, guard.MeltFrozen)
	a := s.Propose()
	assert.Empty(t, a.Choices)
	assert.Equal(t, `no more heat for slate while its thermometer may be wrong: this run has "The melt reading has stopped moving". Find out why first`, a.Asides[0].Why)

	s.Finding.Verdict.Fault, s.Card.Pots[0].DeviationC = "bled", 4
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "bled", cause.Hottest, 4, 0)}
	assert.Len(t, s.Propose().Choices, 1)
	assert.Empty(t, s.Propose().Choices[0].Mind)
}

// TestALimitThatChangesNothingSaysSo: a plate that stood under the new limit is not made
// cooler by it at the shot.
func TestALimitThatChangesNothingSaysSo(t *testing.T) {
	s := at(t, aimless(t), "scorched", 0, 0, 0)
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "scorched", cause.Plate, 215, 190)}
	assert.Contains(t, s.Propose().Choices[0].Lines(), "The plate stood at 215 °C at this shot, which that limit allows as well: it only keeps it from going higher on the way up.")
	s.Card.Pots[1].PlateC = 228
	assert.Empty(t, s.Propose().Choices[0].Mind)
}

// TestALongerDwellIsNoHelpToADrawBeforeItsEnd, neither for the pot that was drawn raw nor
// for another one.
func TestALongerDwellIsNoHelpToADrawBeforeItsEnd(t *testing.T) {
	s := at(t, aimless(t), "cloudy", 0, 0, 0)
	h := fitting(t, "cloudy", cause.HeldLeast, 0, 5)
	h.NotCured = []string{"ivory"}
	s.Finding.Hypotheses = []evidence.Hypothesis{h}
	a := s.Propose()
	assert.Empty(t, a.Choices)
	assert.Equal(t, "drawn before it was cured: ivory. Wait for the call first", a.Asides[0].Why)
}

// TestNothingIsProposedWithoutEvidence: what speaks against a cause, or says nothing, leads nowhere.
func TestNothingIsProposedWithoutEvidence(t *testing.T) {
	s := at(t, aimless(t), "seam", 0, 0, 0)
	h := fitting(t, "seam", cause.Draw, 30, 28)
	h.Standing = evidence.Against
	mould := fitting(t, "seam", cause.Mould, 0, 0)
	mould.Standing, mould.Value = evidence.OpenLeft, frames.Unknown()
	s.Finding.Hypotheses = []evidence.Hypothesis{h, mould}
	a := s.Propose()
	assert.Empty(t, a.Choices)
	assert.Equal(t, nothingWords, a.None)
	assert.Equal(t, []string{"mould"}, a.Wanted)

	s.Finding.Hypotheses = nil
	assert.Equal(t, noFigureWords, s.Propose().None)
}

// TestMigrationIsNeverChargedToTemperature: days later nothing is proposed, whatever the
// figures were.
func TestMigrationIsNeverChargedToTemperature(t *testing.T) {
	s := at(t, aimless(t), "bled", 0, 5, 0)
	s.Finding.Verdict.Day, s.Finding.Late, s.Finding.Unseen = 3, true, cause.Migration()
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "bled", cause.Hottest, 5, 0)}
	a := s.Propose()
	assert.Empty(t, a.Choices)
	assert.Equal(t, lateWords, a.None)
	assert.Equal(t, cause.Migration(), a.Unseen)
}

// TestWhatWasTriedIsNotProposedAgain, unless it helped; and none beside one that is on.
func TestWhatWasTriedIsNotProposedAgain(t *testing.T) {
	s := at(t, aimless(t), "bled", 0, 5, 0)
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "bled", cause.Hottest, 5, 0), fitting(t, "bled", cause.Draw, 60, 20)}
	cooler := Attempt{Attempt: history.Attempt{ID: 4, Kind: kindOf(cause.Cooler), Colour: "ivory", Fault: "bled"}}
	for standing, choices := range map[Standing]int{NoBetter: 1, Worse: 1, Better: 2, OpenLeft: 0, Waits: 0} {
		cooler.Outcome.Standing = standing
		s.Before = []Attempt{cooler}
		assert.Len(t, s.Propose().Choices, choices, standing)
	}
	cooler.Outcome = Outcome{Standing: Waits, Ended: true}
	s.Before = []Attempt{cooler}
	assert.Len(t, s.Propose().Choices, 2, "nobody has made a shot of it")
	cooler.Outcome = Outcome{Standing: OpenLeft, Ended: true, Since: tally(1, 4, 2)}
	s.Before = []Attempt{cooler}
	a := s.Propose()
	assert.Len(t, a.Choices, 1, "a person ended it")
	assert.Contains(t, a.Asides[0].Why, "attempt 4: can not be told yet, ended")
}

// TestWhatAllShotsNameComesFirst, however far this one shot was out in something else.
func TestWhatAllShotsNameComesFirst(t *testing.T) {
	s := at(t, aimless(t), "bled", 0, 5, 0)
	draw := fitting(t, "bled", cause.Draw, 60, 20)
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "bled", cause.Hottest, 5, 0), draw}
	assert.Equal(t, kindOf(cause.Cooler), s.Propose().Choices[0].Kind)
	row := causes.Row{Cause: draw.Cause.Name, Kind: cause.Seconds, Shift: 30, Low: 20, High: 41, Share: 0.9, Pairs: 20, Chance: 0.001, Alone: 0.0002, Says: causes.Named}
	s.Over = &causes.Finding{Causes: []causes.Row{row}}
	first := s.Propose().Choices[0]
	assert.Equal(t, kindOf(cause.PushSooner), first.Kind)
	assert.Contains(t, first.Over, "goes with it; +30 s (95 %: +20 to +41 s)")
	assert.Equal(t, 1, first.Number)

	s.Over.Causes[0].Says = causes.Opposite
	a := s.Propose()
	assert.Len(t, a.Choices, 1)
	assert.Equal(t, oppositeWords, a.Asides[0].Why)
}

// TestAnAimThatWasMissedIsNotTightened: one that was kept and did not do is.
func TestAnAimThatWasMissedIsNotTightened(t *testing.T) {
	text, err := config.Edit(aimless(t).Typed, []config.Change{{Path: "pour.draw-within", Value: "40 s"}})
	require.NoError(t, err)
	recipe, err := config.ParseRecipe("recipe", text)
	require.NoError(t, err)
	require.Equal(t, 40*time.Second, recipe.Pour.DrawWithin)
	s := at(t, recipe, "seam", 0, 0, 0)
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "seam", cause.Draw, 70, 20)}
	assert.Contains(t, s.Propose().Asides[0].Why, "aims at 40 s already, and it was missed: 70 s")
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "seam", cause.Draw, 38, 20)}
	assert.Equal(t, "pour: draw within 40 s → 20 s", s.Propose().Choices[0].Change)
}

// TestEveryVerdictHasItsOwnAdvice: two of one fault are told apart by their colours.
func TestEveryVerdictHasItsOwnAdvice(t *testing.T) {
	all := []Advice{{Fault: "bled", Words: "bled: ivory and rust"}, {Fault: "bled", Words: "bled: slate and ivory"}, {Fault: "seam", Words: "seam"}}
	for _, fault := range []string{"bled: ivory and rust", "bled: slate and ivory", "seam"} {
		a, err := AdviceOn(all, fault)
		require.NoError(t, err)
		assert.Equal(t, fault, a.Words)
	}
	for _, fault := range []string{"", "bled", "flash"} {
		_, err := AdviceOn(all, fault)
		assert.ErrorContains(t, err, `write one of: "bled: ivory and rust", "bled: slate and ivory", "seam"; nothing was accepted`, fault)
	}
	a, err := AdviceOn(all[:1], "")
	require.NoError(t, err)
	assert.Equal(t, "bled", a.Fault)
}

// TestToWaitComesFirst where a pot was drawn outside its band: the recipe may be right.
func TestToWaitComesFirst(t *testing.T) {
	s := at(t, aimless(t), "bled", -2.3, 2.4, 0)
	s.Finding.Hypotheses = []evidence.Hypothesis{fitting(t, "bled", cause.Hottest, 2.4, 0.1)}
	for i := range s.Card.Pots {
		s.Card.Pots[i].BandC = 2
	}
	var b strings.Builder
	require.NoError(t, s.Propose().WriteText(&b))
	wait, choice := strings.Index(b.String(), "first: "+AsItIs+" – "+ToWait), strings.Index(b.String(), "choice 1:")
	assert.Positive(t, wait, b.String())
	assert.Less(t, wait, choice)
}

package evidence

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/daemon/cause"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

var colours = []string{"slate", "ivory", "rust"}

// cardOf is the card of a shot with these deviations of the pots from their targets.
func cardOf(mouldC frames.Figure, deviations ...frames.Figure) shot.Card {
	c := shot.Card{MouldC: mouldC, RoomC: 21, DrawToPushS: 16, SpreadC: slices.Max(deviations) - slices.Min(deviations)}
	for i, d := range deviations {
		c.Pots = append(c.Pots, shot.Pot{
			Name: fmt.Sprint(i + 1), Colour: colours[i], State: "ready", MeltC: 168 + d, TargetC: 168, BandC: 2, DeviationC: d,
			SlopeCPerMin: 0, PlateC: 190, HeldMin: 10, SinceStirS: 30, DrawToPushS: 12, DoseMin: frames.Unknown(),
		})
	}
	return c
}

func cleanShots(cards ...shot.Card) (all []cause.Shot) {
	for i, c := range cards {
		all = append(all, cause.Shot{Card: c, Number: i%3 + 1})
	}
	return all
}

func byName(t *testing.T, f Finding, part string) Hypothesis {
	t.Helper()
	i := slices.IndexFunc(f.Hypotheses, func(h Hypothesis) bool { return strings.Contains(h.Cause.Name, part) })
	require.GreaterOrEqual(t, i, 0, part)
	return f.Hypotheses[i]
}

func bleed(day int, about ...string) shot.Verdict {
	return shot.Verdict{Fault: bled, Day: day, Colours: about}
}

// TestACauseFitsAsFarAsCleanShotsAllow: by hand, from the figures of five clean shots.
func TestACauseFitsAsFarAsCleanShotsAllow(t *testing.T) {
	clean := cleanShots(cardOf(30, 0, 0, .2), cardOf(31, .1, 0, 0), cardOf(33, -.2, 0, .4), cardOf(32, 0, .3, 0), cardOf(60, 0, 0, 2))
	about := func(card shot.Card) Finding {
		return findings([]shot.Verdict{bleed(0)}, card, 2, clean)[0]
	}
	hot := byName(t, about(cardOf(32, 0, 0, 4)), "above its own target")
	assert.Equal(t, Fits, hot.Standing)
	assert.Equal(t, Usual{5, .3, .1, 2}, hot.Clean)
	assert.InDelta(t, 3.7, float64(hot.Beyond), 1e-9)
	assert.InDelta(t, 7.4, float64(hot.Times), 1e-9, "3.7 °C in halves of a degree")
	assert.Zero(t, hot.AsFar)

	f := about(cardOf(32, 0, 0, .7))
	assert.Equal(t, Against, byName(t, f, "above its own target").Standing, "0.4 °C is less than the sensors tell")
	assert.Equal(t, Against, byName(t, f, "hot mould").Standing)
	assert.Equal(t, Against, byName(t, f, "draw to push").Standing, "as long as always")

	open := byName(t, about(cardOf(58.5, 0, 0, .2)), "hot mould")
	assert.Equal(t, OpenLeft, open.Standing, "one of five clean shots was as hot, for all that can be measured")
	assert.Equal(t, 1, open.AsFar)
	assert.Contains(t, open.Numbers(review.Celsius), "of the clean shots 1 had as much; by chance about 1 shot in 3")
	for range 6 {
		clean = append(clean, cleanShots(cardOf(31, 0, 0, .1))...)
	}
	one := byName(t, about(cardOf(58.5, 0, 0, .2)), "hot mould")
	assert.Equal(t, Fits, one.Standing, "one of eleven was as hot: less than a tenth")
	assert.Contains(t, one.Numbers(review.Celsius), "of the clean shots 1 had as much; by chance about 1 shot in 6")

	unknown := byName(t, about(cardOf(frames.Unknown(), 0, 0, 4)), "hot mould")
	assert.Equal(t, OpenLeft, unknown.Standing)
	assert.Contains(t, unknown.Numbers(review.Celsius), "not recorded at this shot")
	clean = nil
	alone := byName(t, about(cardOf(32, 0, 0, 4)), "above its own target")
	assert.Equal(t, OpenLeft, alone.Standing, "without a clean shot nothing is known of what is usual")
	assert.Contains(t, alone.Numbers(review.Celsius), "not recorded at any clean shot")
}

// TestAMeltThatIsNotCuredIsKnown: no time since the cure is no gap in what was recorded.
func TestAMeltThatIsNotCuredIsKnown(t *testing.T) {
	clean := cleanShots(cardOf(30, 0, 0, 0), cardOf(30, 0, 0, 0))
	raw := cardOf(30, 0, 0, 0)
	raw.Pots[1].State, raw.Pots[1].HeldMin = control.Curing.String(), frames.Unknown()
	about := func(colours ...string) Hypothesis {
		return byName(t, findings([]shot.Verdict{{Fault: "bubbles", Colours: colours}}, raw, 1, clean)[0], "hardly held")
	}
	assert.Equal(t, Fits, about().Standing)
	assert.Equal(t, "not cured yet: ivory; of 2 clean shots 0 had such a pot", about().Numbers(review.Celsius))
	assert.Equal(t, Against, about("slate").Standing, "its own pot was cured")
	clean = append(clean, cause.Shot{Card: raw})
	assert.Equal(t, OpenLeft, about().Standing)
}

// TestALowSetpointIsSeen: a pot at its own target is not cleared where that target was
// lower than at the clean shots.
func TestALowSetpointIsSeen(t *testing.T) {
	clean := cleanShots(cardOf(30, 0, 0, 0), cardOf(30, 0, .1, 0), cardOf(30, 0, 0, 0))
	low := cardOf(30, 0, 0, 0)
	low.Pots[1].TargetC = 163
	about := func(fault string, colours ...string) Hypothesis {
		f := findings([]shot.Verdict{{Fault: fault, Colours: colours}}, low, 1, clean)[0]
		return byName(t, f, map[string]string{"short": "below its own target", bled: "above its own target"}[fault])
	}
	assert.Equal(t, OpenLeft, about("short").Standing)
	assert.Equal(t, []Setpoint{{"ivory", 163, 168}}, about("short").Setpoints)
	assert.Contains(t, about("short").Numbers(review.Celsius), "but the set-point of ivory itself was 163.0 °C, at the clean shots 168.0 °C in the median")
	assert.Equal(t, Against, about("short", "slate").Standing)
	assert.Equal(t, Against, about(bled).Standing, "a lower one makes no pot hotter")
}

// TestOnlyTheColoursThatBledCount: a hot pot that the boundary does not touch is no cause.
func TestOnlyTheColoursThatBledCount(t *testing.T) {
	clean := cleanShots(cardOf(30, 0, 0, 0), cardOf(30, 0, 0, .1))
	hotRust := cardOf(30, 0, .1, 4)
	elsewhere := findings([]shot.Verdict{bleed(0, "slate", "ivory")}, hotRust, 1, clean)[0]
	assert.Equal(t, Against, byName(t, elsewhere, "above its own target").Standing)
	there := findings([]shot.Verdict{bleed(0, "ivory", "rust")}, hotRust, 1, clean)[0]
	assert.Equal(t, Fits, byName(t, there, "above its own target").Standing)
}

// TestMigrationIsNeverChargedToTemperature: whatever the pots were, a bleed that was first
// seen at a re-inspection has the causes of migration and no other.
func TestMigrationIsNeverChargedToTemperature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figure := rapid.Custom(func(t *rapid.T) frames.Figure { return frames.Figure(rapid.Float64Range(-20, 20).Draw(t, "K")) })
		day := rapid.IntRange(1, 366).Draw(t, "day")
		verdicts := []shot.Verdict{bleed(day)}
		if rapid.Bool().Draw(t, "said at demould") {
			verdicts = append(verdicts, shot.Verdict{Fault: shot.Clean})
		}
		card := cardOf(40+figure.Draw(t, "mould"), figure.Draw(t, "slate"), figure.Draw(t, "ivory"), figure.Draw(t, "rust"))
		all := findings(verdicts, card, 1, cleanShots(cardOf(30, 0, 0, 0), cardOf(31, 0, 0, .1)))
		require.Len(t, all, 1)
		assert.Empty(t, all[0].Hypotheses)
		assert.Equal(t, cause.Migration(), all[0].Unseen)
		sheet := all[0].sheet(review.Celsius, 2)
		assert.Contains(t, sheet.Later, "no temperature is charged with it")
		require.Len(t, sheet.Groups, 1)
		assert.True(t, sheet.Groups[0].Unseen)
		said := fmt.Sprint(sheet)
		for _, word := range []string{"target", "mould,", "°C", "pot", "hot ", "times", "uncertainty"} {
			assert.NotContains(t, strings.ReplaceAll(said, "a colourant that dissolves", ""), word)
		}
		assert.Equal(t, len(verdicts) == 1, strings.Contains(sheet.Later, "say it with day 0"))
	})
}

// TestABleedIsCountedFromTheDayItWasFirstSeen: one that was there at demould is one of heat,
// also if it is seen again; another boundary days later is none.
func TestABleedIsCountedFromTheDayItWasFirstSeen(t *testing.T) {
	clean := cleanShots(cardOf(30, 0, 0, 0))
	again := findings([]shot.Verdict{bleed(3, "ivory", "rust"), bleed(0, "ivory", "rust")}, cardOf(30, 0, 0, 4), 1, clean)
	require.Len(t, again, 1)
	assert.Zero(t, again[0].Verdict.Day)
	assert.NotEmpty(t, again[0].Hypotheses)
	two := findings([]shot.Verdict{bleed(0, "slate", "ivory"), bleed(3, "ivory", "rust")}, cardOf(30, 0, 0, 4), 1, clean)
	require.Len(t, two, 2)
	assert.NotEmpty(t, two[0].Hypotheses)
	assert.Empty(t, two[1].Hypotheses)
	late := findings([]shot.Verdict{{Fault: "scorched", Day: 5}}, cardOf(30, 0, 0, 4), 1, clean)[0]
	assert.Empty(t, late.Hypotheses)
	assert.Contains(t, late.Unseen, "old scrap in the pot")
	assert.Contains(t, late.later(), "seldom comes from heat")
}

// TestNeverOneVerdict: of any fault and any figures every cause that the trade knows is
// shown, those that no thermometer sees as well and never last behind others that are not
// known, with the words that none of it is a verdict.
func TestNeverOneVerdict(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figure := rapid.Custom(func(t *rapid.T) frames.Figure {
			if rapid.IntRange(0, 9).Draw(t, "recorded") == 0 {
				return frames.Unknown()
			}
			return frames.Figure(rapid.Float64Range(-20, 20).Draw(t, "K"))
		})
		draw := func(name string) shot.Card {
			c := cardOf(30, 0, 0, 0)
			c.MouldC, c.SpreadC = figure.Draw(t, name), figure.Draw(t, name)
			for i := range c.Pots {
				c.Pots[i].DeviationC, c.Pots[i].HeldMin = figure.Draw(t, name), figure.Draw(t, name)
			}
			return c
		}
		fault := rapid.SampledFrom(shot.Verdicts()[1:]).Draw(t, "fault")
		var clean []cause.Shot
		for range rapid.IntRange(0, 12).Draw(t, "clean shots") {
			clean = append(clean, cleanShots(draw("clean"))...)
		}
		known, ok := cause.Of(fault)
		require.True(t, ok)
		c := Case{Shot: history.Shot{Number: 2, Verdicts: []shot.Verdict{{Fault: fault}}, Card: draw("this")}, Clean: len(clean)}
		c.Findings = findings(c.Shot.Verdicts, c.Shot.Card, 2, clean)
		var out bytes.Buffer
		require.NoError(t, c.Sheet(review.Celsius).WriteText(&out))
		said := strings.Join(strings.Fields(out.String()), " ")
		for _, s := range known.Seen {
			assert.Contains(t, said, s.Name)
		}
		for _, words := range known.Unseen {
			assert.Contains(t, said, words)
		}
		assert.Contains(t, said, NoVerdict)
		assert.NotContains(t, said, "NaN")
		for _, word := range []string{"caused by", "because of", "the cause is", "proves"} {
			assert.NotContains(t, said, word)
		}
		groups := c.Sheet(review.Celsius).Findings[0].Groups
		at := slices.IndexFunc(groups, func(g Group) bool { return g.Unseen })
		assert.LessOrEqual(t, at, 1)
		for i, h := range c.Findings[0].Hypotheses {
			if before := c.Findings[0].Hypotheses[max(0, i-1)]; before.Standing == h.Standing && h.Times.Known() {
				assert.GreaterOrEqual(t, before.Times, h.Times, "the furthest first")
			}
		}
	})
}

// TestMedianOfTheCleanShots: by its definition, at least half of them are not above it and
// at least half not below.
func TestMedianOfTheCleanShots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var clean []cause.Shot
		values := rapid.SliceOfN(rapid.Float64Range(-50, 50), 1, 30).Draw(t, "values")
		for _, v := range values {
			clean = append(clean, cause.Shot{Card: shot.Card{MouldC: frames.Figure(v)}})
		}
		u := usualOf(cause.Mould, clean)
		above, below := 0, 0
		for _, v := range values {
			if frames.Figure(v) >= u.Median {
				above++
			}
			if frames.Figure(v) <= u.Median {
				below++
			}
		}
		assert.GreaterOrEqual(t, 2*above, len(values))
		assert.GreaterOrEqual(t, 2*below, len(values))
		assert.Equal(t, frames.Figure(slices.Min(values)), u.Least)
		assert.Equal(t, frames.Figure(slices.Max(values)), u.Most)
	})
}

// TestDifferencesStandTheLargestFirst, in multiples of their own uncertainty; what is
// smaller than that is no difference, and what is missing is said to be.
func TestDifferencesStandTheLargestFirst(t *testing.T) {
	this, other := cardOf(frames.Unknown(), 0, 0, 4), cardOf(30, 0, .4, 0)
	this.DrawToPushS, this.RoomC = 43, 22.5
	this.Pots[0].State, this.Pots[0].HeldMin = control.Curing.String(), frames.Unknown()
	f := compare(cause.Shot{Card: this, Number: 2}, cause.Shot{Card: other, Number: 2})
	var names []string
	for _, d := range f.Apart {
		names = append(names, d.Name)
	}
	// 27 s of 3, 4 K of 0.5, 3.6 K of 0.7, 1.5 K of 1
	assert.Equal(t, []string{"first draw to push", "rust beside its own target", "spread of the pots", "room"}, names)
	for _, d := range f.Alike {
		assert.LessOrEqual(t, d.Times(), 1.0, d.Name)
	}
	assert.True(t, slices.ContainsFunc(f.Alike, func(d Difference) bool { return d.Name == "ivory beside its own target" }))
	missing := map[string]string{}
	for _, d := range f.NotRecorded {
		missing[d.Name] = d.missing(review.Celsius)
	}
	assert.Equal(t, "this shot: not recorded, the other: 30.0 °C", missing["mould"])
	assert.Equal(t, "this shot: not cured yet, the other: 10.0 min", missing["slate held since cured"])
	assert.Equal(t, "at either shot", missing["rust heat dose"])
}

// TestAFigureIsNamedOnTheCausesSide: a mould that was warmer is no cold one.
func TestAFigureIsNamedOnTheCausesSide(t *testing.T) {
	c := Case{Shot: history.Shot{Number: 1, Card: cardOf(30, 0, -3, 0)}}
	c.Findings = findings([]shot.Verdict{{Fault: "seam", Colours: []string{"ivory"}}}, c.Shot.Card, 1, nil)
	of := func(other shot.Card) map[string]string {
		named := map[string]string{}
		for _, d := range compare(cause.Shot{Card: c.Shot.Card, Number: 1}, cause.Shot{Card: other, Number: 1}).Apart {
			named[d.Name] = c.faultsOf(d)
		}
		return named
	}
	assert.Equal(t, map[string]string{"ivory beside its own target": "seam", "mould": "seam", "spread of the pots": "", "rust beside its own target": ""},
		of(cardOf(40, 0, 0, 4)), "the rust is not of this seam")
	assert.Equal(t, "", of(cardOf(20, 0, 0, 4))["mould"])
}

// kept is a history of runs of the demo's recipe.
type kept struct {
	t     *testing.T
	store *history.Store
}

func keptIn(t *testing.T) kept {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return kept{t, s}
}

// run records a run on a day, with these shots and what happened before the last one.
func (k kept) run(day int, recipe string, events []history.Event, cards ...shot.Card) int64 {
	r, err := config.ParseRecipe("recipe", []byte(recipe))
	require.NoError(k.t, err)
	set := control.Settings{Period: 200 * time.Millisecond}
	for i, c := range colours {
		set.Pots = append(set.Pots, control.PotSettings{Name: fmt.Sprint(i + 1), Colour: c, SetpointC: 168, BandC: 2})
	}
	began := time.Date(2026, 1, day, 18, 0, 0, 0, time.UTC)
	rec, err := k.store.Record(began, history.Start{Title: "invented", RecipeName: r.Name, Fingerprint: r.Fingerprint(), Recipe: recipe, Settings: set, Invented: true})
	require.NoError(k.t, err)
	for i, card := range cards {
		at := time.Duration(i) * time.Minute
		in := control.Input{Elapsed: set.Period, Pots: make([]control.PotReadings, 3)}
		kept := history.Kept{Record: cycles.Keep(began.Add(at), &in, &control.Frame{Cycle: uint64(i + 1), Time: at, Pots: make([]control.PotFrame, 3)}), Shot: &card}
		if i == len(cards)-1 {
			kept.Events = events
		}
		rec.PutAll(kept)
	}
	require.NoError(k.t, rec.Close(began.Add(time.Hour)))
	return rec.Run()
}

func (k kept) judge(run int64, number int, v shot.Verdict) {
	require.NoError(k.t, k.store.Judge(run, number, v))
}

func (k kept) of(run int64, number int, beside Place) Case {
	c, err := Of(k.store, Place{run, number}, beside)
	require.NoError(k.t, err)
	return c
}

// TestTheLastCleanShotIsChosen: of the same run before others, the one before it rather
// than after, and the maker's choice before all.
func TestTheLastCleanShotIsChosen(t *testing.T) {
	k, clean := keptIn(t), shot.Verdict{Fault: shot.Clean}
	recent := string(config.DemoRecipe().Typed)
	old := strings.Replace(recent, "setpoint: 171 C", "setpoint: 170 C", 1)
	plain, hot := cardOf(30, 0, 0, 0), cardOf(30, 0, 0, 4)
	first := k.run(2, old, []history.Event{{Kind: history.Addition, Pot: 1, Text: "white", Amount: "2 drops"}}, plain, plain)
	alone := k.run(3, recent, nil, hot)
	among := k.run(4, recent, nil, plain, hot, plain, plain)
	k.judge(first, 1, clean)
	k.judge(alone, 1, bleed(0))
	k.judge(among, 1, clean)
	k.judge(among, 2, bleed(0))
	k.judge(among, 3, clean)
	k.judge(among, 4, bleed(3))

	assert.Equal(t, Place{among, 1}, k.of(among, 2, Place{}).Beside.Place)
	assert.Equal(t, Place{among, 3}, k.of(among, 1, Place{}).Beside.Place)
	earlier := k.of(alone, 1, Place{})
	assert.Equal(t, Place{first, 1}, earlier.Beside.Place, "not the one of the next day")
	assert.Equal(t, 3, earlier.Clean)
	assert.Equal(t, Place{alone, 1}, k.of(among, 2, Place{alone, 1}).Beside.Place)
	assert.Nil(t, k.of(first, 1, Place{}).Beside, "there is none before it")
	assert.Empty(t, k.of(first, 1, Place{}).Findings)

	words := earlier.Sheet(review.Celsius)
	assert.Equal(t, []Words{
		{"recipe, from version 1 there to version 2 here", []string{"ivory: set-point 170 °C → 171 °C"}},
	}, words.Beside.Words)
	again := k.of(alone, 1, Place{first, 2}).Sheet(review.Fahrenheit)
	assert.Contains(t, again.Beside.Words, Words{"changed at the bench before the other", []string{"ivory at 0:01:00: 2 drops white added"}})
	assert.Equal(t, Row{"rust beside its own target", "+7.2 °F", "0.0 °F", "+7.2 °F", "8.0 × 0.9 °F", "bled"}, again.Beside.Rows[0])

	for at, want := range map[Place]error{{9, 1}: history.ErrNoRun, {alone, 9}: history.ErrNoShot} {
		_, err := Of(k.store, at, Place{})
		assert.ErrorIs(t, err, want)
		_, err = Of(k.store, Place{alone, 1}, at)
		assert.ErrorIs(t, err, want)
	}
	text, err := json.Marshal(earlier)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"standing":"fits"`)
	assert.Contains(t, string(text), `"figure":"rust beside its own target"`)
}

// TestCleanShotsAreThoseNearestInTime, of every version of the recipe and no other recipe,
// and what was found days later counts too.
func TestCleanShotsAreThoseNearestInTime(t *testing.T) {
	k, clean := keptIn(t), shot.Verdict{Fault: shot.Clean}
	recent := string(config.DemoRecipe().Typed)
	other := strings.Replace(recent, "name: slate eel", "name: rust worm", 1)
	require.NotEqual(t, recent, other)
	plain := cardOf(30, 0, 0, 0)
	for day, recipe := range []string{strings.Replace(recent, "setpoint: 171 C", "setpoint: 170 C", 1), recent, other, recent, recent} {
		k.judge(k.run(day+1, recipe, nil, plain), 1, clean)
	}
	k.judge(4, 1, bleed(3))
	near := time.Date(2026, 1, 2, 6, 0, 0, 0, time.UTC)
	found, err := k.store.CleanShots("slate eel", near, 9)
	require.NoError(t, err)
	var runs []int64
	for _, o := range found {
		runs = append(runs, o.Run)
		assert.Equal(t, plain.SpreadC, o.Card.SpreadC)
	}
	assert.Equal(t, []int64{2, 1, 5}, runs)
	assert.Equal(t, []int{2, 1, 2}, []int{found[0].Version, found[1].Version, found[2].Version})
	found, err = k.store.CleanShots("slate eel", near, 2)
	require.NoError(t, err)
	assert.Len(t, found, 2)
}

// TestAWithdrawnShotCountsNowhere.
func TestAWithdrawnShotCountsNowhere(t *testing.T) {
	k := keptIn(t)
	run := k.run(2, string(config.DemoRecipe().Typed), nil, cardOf(30, 0, 0, 0), cardOf(30, 0, 0, 4))
	k.judge(run, 1, shot.Verdict{Fault: shot.Clean})
	k.judge(run, 2, bleed(0))
	yes := true
	require.NoError(t, k.store.ChangeShot(run, 1, history.ShotChange{Withdrawn: &yes}))
	c := k.of(run, 2, Place{})
	assert.Nil(t, c.Beside)
	assert.Zero(t, c.Clean)
	assert.Empty(t, c.Choices)
	assert.Contains(t, k.of(run, 1, Place{}).Sheet(review.Celsius).NoFinding, "taken back")
}

func TestPlacesAsTyped(t *testing.T) {
	p, err := ParsePlace("5/2")
	require.NoError(t, err)
	assert.Equal(t, Place{5, 2}, p)
	assert.Equal(t, "5/2", p.Typed())
	for _, typed := range []string{"", "5", "5/", "/2", "5/0", "-5/1", "5/2/1", "a/b"} {
		_, err := ParsePlace(typed)
		assert.ErrorIs(t, err, ErrPlace, typed)
		assert.ErrorContains(t, err, typed)
	}
}

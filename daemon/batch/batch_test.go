package batch

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/dose"
	"meltwarden/control/reading"
	"meltwarden/daemon/exact"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/history/cycles"
	"meltwarden/daemon/shot"
)

var noon = time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)

func opened(t *testing.T) *history.Store {
	t.Helper()
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

// evening is a run of the demo's recipe in which every melt is held at 177 °C for some
// minutes, a reading every two seconds, and then shot.
type evening struct {
	minutes  int
	kJ       float64 // zero is the default
	drawn    string  // from the first pot before the shot
	verdicts []shot.Verdict
	old      bool // made by a program that kept no batches
}

func (e evening) begin(t *testing.T, s *history.Store, at time.Time) *history.Recorder {
	t.Helper()
	recipe := config.DemoRecipe()
	b, err := config.DemoBench(nil)
	require.NoError(t, err)
	set, err := config.Settings(b, recipe)
	require.NoError(t, err)
	if e.kJ == 0 {
		e.kJ = dose.DefaultKJ
	}
	o := history.Start{Title: "invented", RecipeName: recipe.Name, Recipe: string(recipe.Typed), Fingerprint: recipe.Fingerprint(), Settings: set, DoseKJ: e.kJ}
	if !e.old {
		o.Potfuls = Potfuls(recipe, []string{"left", "middle", "right"})
	}
	r, err := s.Record(at, o)
	require.NoError(t, err)
	tracker := shot.NewTracker(set.Pots)
	tracker.GoOn(e.kJ, nil, 0)
	const step = 2 * time.Second
	n := e.minutes * 30
	for i := range n + 1 {
		in := control.Input{Elapsed: step}
		if i == 0 {
			in.Elapsed = 0
		}
		f := control.Frame{Cycle: uint64(i + 1), Time: time.Duration(i) * step, Elapsed: in.Elapsed}
		melt := reading.Temperature{C: 177, Fault: reading.None}
		for range set.Pots {
			in.Pots = append(in.Pots, control.PotReadings{Melt: melt})
			f.Pots = append(f.Pots, control.PotFrame{Melt: melt, MeltC: 177, SetpointC: 177, BandC: 2, State: control.Ready})
		}
		kept := history.Kept{Record: cycles.Keep(at.Add(f.Time), &in, &f)}
		var marks []control.Command
		if i == n {
			marks = []control.Command{{Kind: control.Shot}}
			kept.Events = []history.Event{{Kind: history.ShotPushed, Pot: history.WholeBench}, {Kind: history.Drawn, Pot: 0, Amount: e.drawn}}
			if !e.old {
				kept.Heats = tracker.Heats()
			}
		}
		kept.Shot = tracker.See(&f, marks)
		if kept.Shot != nil && e.old {
			for i := range kept.Shot.Pots {
				kept.Shot.Pots[i].RunDoseMin, kept.Shot.Pots[i].DoseMin = frames.Unknown(), frames.Unknown()
			}
		}
		r.PutAll(kept)
	}
	return r
}

// pass records it and says what became of its shot. It returns the run.
func (e evening) pass(t *testing.T, s *history.Store, at time.Time) int64 {
	t.Helper()
	r := e.begin(t, s, at)
	require.NoError(t, r.Close(at.Add(time.Duration(e.minutes)*time.Minute)))
	for _, v := range e.verdicts {
		v.At = at.Add(time.Hour)
		require.NoError(t, s.Judge(r.Run(), 1, v))
	}
	return r.Run()
}

var (
	clean      = []shot.Verdict{{Fault: shot.Clean}}
	slateWent  = []shot.Verdict{{Fault: yellowed, Colours: []string{"slate"}}}
	everything = []shot.Verdict{{Fault: yellowed}}
)

func allOf(t *testing.T, s *history.Store) Book {
	t.Helper()
	b, err := Of(s)
	require.NoError(t, err)
	return b
}

func in(t *testing.T, b Book, run int64, pot int) Batch {
	t.Helper()
	x, ok := b.In(run, pot)
	require.True(t, ok)
	return x
}

func doseAt(t *testing.T, s *history.Store, run int64, pot int) frames.Figure {
	t.Helper()
	shots, err := s.Shots(run)
	require.NoError(t, err)
	return shots[0].Card.Pots[pot].DoseMin
}

// TestABatchKeepsItsIdentity through a reheat: its heats add up, on the cards as well, and
// what was said can be taken back.
func TestABatchKeepsItsIdentity(t *testing.T) {
	s := opened(t)
	first := evening{minutes: 20, drawn: "60 mL"}.pass(t, s, noon)
	second := evening{minutes: 10, drawn: "40 mL"}.pass(t, s, noon.AddDate(0, 0, 2))
	b := allOf(t, s)
	require.Len(t, b.Batches, 6, "each pot of each run its own")
	slate := in(t, b, first, 0)
	assert.Equal(t, "demo lot 1", slate.Lot)
	assert.Equal(t, "batch 1: slate, demo lot 1, ≈ 200 mL left, no reheat, 20 equal minutes", slate.Line())
	assert.InDelta(t, 10, float64(doseAt(t, s, second, 0)), 0.1)
	offers := b.Offers(second, 0)
	require.Len(t, offers, 3)
	assert.Equal(t, slate.ID, offers[0].ID, "that of its own colour first")
	assert.Empty(t, b.Offers(first, 0), "nothing is older")

	require.NoError(t, Set(s, second, 0, slate.ID))
	b = allOf(t, s)
	require.Len(t, b.Batches, 5)
	slate = in(t, b, second, 0)
	assert.Equal(t, "batch 1: slate, demo lot 1, ≈ 160 mL left, 1 reheat, 30 equal minutes", slate.Line())
	assert.Equal(t, 1, slate.Reheats)
	assert.InDelta(t, 30, float64(slate.HotMin), 0.1)
	assert.InDelta(t, 30, float64(slate.CuredMin), 0.1)
	assert.InDelta(t, 20, float64(doseAt(t, s, first, 0)), 0.1, "before the reheat")
	assert.InDelta(t, 30, float64(doseAt(t, s, second, 0)), 0.1, "earlier heats included")
	assert.InDelta(t, 10, float64(doseAt(t, s, second, 1)), 0.1, "another pot")
	shots, err := Shots(s, slate)
	require.NoError(t, err)
	require.Len(t, shots, 2)
	assert.Equal(t, "30 equal minutes", shots[1].Dose)

	third := evening{minutes: 5}.pass(t, s, noon.AddDate(0, 0, 3))
	require.NoError(t, Set(s, third, 0, slate.ID))
	assert.InDelta(t, 35, float64(doseAt(t, s, third, 0)), 0.1)
	raw, err := s.Judged()
	require.NoError(t, err)
	assert.Empty(t, raw)
	assert.Contains(t, in(t, allOf(t, s), third, 0).Line(), "at most 160 mL left", "a draw without an amount")
	require.NoError(t, Set(s, second, 0, 0))
	assert.InDelta(t, 25, float64(doseAt(t, s, third, 0)), 0.1, "taken back: it was new after all")
	assert.InDelta(t, 10, float64(doseAt(t, s, second, 0)), 0.1)
}

// TestAShotIsFrozenWithItsBatch: a run that goes on with a batch writes the whole dose on
// its cards.
func TestAShotIsFrozenWithItsBatch(t *testing.T) {
	s := opened(t)
	first := evening{minutes: 20}.pass(t, s, noon)
	r := evening{minutes: 0}.begin(t, s, noon.AddDate(0, 0, 1))
	require.NoError(t, Set(s, r.Run(), 0, in(t, allOf(t, s), first, 0).ID))
	r.Put(history.Kept{Record: cycles.Record{At: noon.AddDate(0, 0, 1).Add(time.Minute), Kept: cycles.Kept{Cycle: 2, Time: time.Minute}},
		Shot: &shot.Card{Pots: []shot.Pot{{Colour: "slate", RunDoseMin: 1.5, DoseMin: 1.5}}}})
	require.NoError(t, r.Close(noon.AddDate(0, 0, 1).Add(time.Hour)))
	shots, err := s.Shots(r.Run())
	require.NoError(t, err)
	require.Len(t, shots, 2)
	assert.InDelta(t, 21.5, float64(shots[1].Card.Pots[0].DoseMin), 0.1)
}

// TestWhatCanNotBeTheRestIsRefused, each with what to do.
func TestWhatCanNotBeTheRestIsRefused(t *testing.T) {
	s := opened(t)
	first := evening{minutes: 1}.pass(t, s, noon)
	second := evening{minutes: 1}.pass(t, s, noon.AddDate(0, 0, 1))
	third := evening{minutes: 1}.pass(t, s, noon.AddDate(0, 0, 2))
	b := allOf(t, s)
	a1, a2, a3 := in(t, b, first, 0).ID, in(t, b, second, 0).ID, in(t, b, third, 0).ID
	require.NoError(t, Set(s, third, 0, a2))
	for want, err := range map[string]error{
		"batch 99: there is no such batch":                           Set(s, second, 0, 99),
		"it is in another pot of run 3":                              Set(s, third, 1, a2),
		"it was made in a later run than 1; say it of the later one": Set(s, first, 1, a2),
		"run 3 goes on with it; take that back first":                Set(s, second, 0, a1),
		"run 2, pot 9: there is no such batch":                       Set(s, second, 8, a1),
		"run 9: there is no such run":                                Set(s, 9, 0, a1),
		fmt.Sprintf("batch %d: there is no such batch", a3):          Set(s, second, 1, a3),
	} {
		assert.ErrorContains(t, err, want)
	}
	assert.Empty(t, allOf(t, s).Offers(second, 0), "run 3 goes on with it")
	name := "name"
	assert.ErrorIs(t, s.ChangeBatch(99, history.BatchChange{Note: &name}), history.ErrNoBatch)
	lot := "lot 7"
	require.NoError(t, s.ChangeBatch(a1, history.BatchChange{Lot: &lot}))
	assert.Equal(t, "lot 7", in(t, allOf(t, s), first, 0).Lot)
	assert.Equal(t, "invented soft base", in(t, allOf(t, s), first, 0).Base)
}

// TestAPastRunGetsItsBatchesWhenAsked: until then they are not recorded; the heat is
// reckoned from its cycles, and its cards stay as they were.
func TestAPastRunGetsItsBatchesWhenAsked(t *testing.T) {
	s := opened(t)
	old := evening{minutes: 12, old: true}.pass(t, s, noon)
	assert.Empty(t, allOf(t, s).Batches)
	require.NoError(t, Set(s, old, 1, 0))
	b := allOf(t, s)
	require.Len(t, b.Batches, 3)
	assert.Equal(t, "batch 2: ivory, demo lot 1, ≈ 220 mL left, no reheat, 12 equal minutes", in(t, b, old, 1).Line())
	assert.False(t, doseAt(t, s, old, 1).Known())
	next := evening{minutes: 6}.pass(t, s, noon.AddDate(0, 0, 1))
	require.NoError(t, Set(s, next, 1, 2))
	assert.InDelta(t, 18, float64(doseAt(t, s, next, 1)), 0.1)
}

// TestARunOfAnOlderProgramThatGoesOnWaits: its recorder would write less over what was
// reckoned from its cycles.
func TestARunOfAnOlderProgramThatGoesOnWaits(t *testing.T) {
	s := opened(t)
	r := evening{minutes: 2, old: true}.begin(t, s, noon)
	err := Set(s, r.Run(), 1, 0)
	require.ErrorIs(t, err, history.ErrBatch)
	require.ErrorContains(t, err, "say it when it is over")
	require.NoError(t, r.Close(noon.Add(2*time.Minute)))
	require.NoError(t, Set(s, r.Run(), 1, 0))
}

// TestTheCountDecidesWhetherThereIsAdvice.
func TestTheCountDecidesWhetherThereIsAdvice(t *testing.T) {
	s := opened(t)
	day := 0
	add := func(minutes int, v []shot.Verdict) int64 {
		day++
		return evening{minutes: minutes, verdicts: v}.pass(t, s, noon.AddDate(0, 0, day))
	}
	add(10, clean)
	assert.Equal(t, "No batch of yours has been called scorched at demould, and 3 were judged: nothing to go by.", allOf(t, s).Advice.String())
	add(40, slateWent)
	advice := allOf(t, s).Advice
	assert.False(t, advice.Enough())
	assert.Equal(t, "Too few to say anything: 1 batch yellowed, at 40 equal minutes; 5 did not. It takes 94 more without yellowing, all of them with less heat.", advice.String())
	add(44, slateWent)
	add(70, everything)
	add(30, []shot.Verdict{{Fault: shot.Clean}, {Fault: yellowed, Colours: []string{"slate"}, Day: 9}})
	assert.Equal(t, "Too few to say anything: 2 batches yellowed, at 40 to 44 equal minutes; 10 did not. It takes 3 more without yellowing, all of them with less heat. "+
		"Shots called scorched without a colour count for no batch: 1.", allOf(t, s).Advice.String(), "the other pots had as much")
	add(46, append(slateWent, shot.Verdict{Fault: yellowed, Colours: []string{"ivory", "rust"}}))
	assert.Equal(t, "Your batches that yellowed had had 40 to 46 equal minutes by then (5 of them); of 10 that did not, 6 had less than 40 and 4 as much or more. "+
		"Shots called scorched without a colour count for no batch: 1.", allOf(t, s).Advice.String())

	assert.Equal(t, "Heat does not tell them apart: 5 batches yellowed, at 20 to 46 equal minutes; 5 did not, with 19 to 44 equal minutes.",
		Advice{Yellowed: []float64{20, 30, 32, 40, 46}, Others: []float64{19, 22, 31, 41, 44}, Chance: 0.4}.String())

	last := add(50, nil)
	b := allOf(t, s)
	assert.Contains(t, b.Region(in(t, b, last, 0)), "batch 19: slate has had 50 equal minutes. Your batches that yellowed")
	assert.Empty(t, b.Region(in(t, b, 1, 0)))

	// Another activation energy: what was reckoned with the old one is left out.
	evening{minutes: 10, kJ: 120, verdicts: clean}.pass(t, s, noon.AddDate(0, 1, 0))
	b = allOf(t, s)
	assert.InDelta(t, 120, b.KJ, 1e-9)
	assert.Empty(t, b.Advice.Yellowed)
	assert.Positive(t, b.Advice.LeftOut)
	assert.InDelta(t, 10, float64(in(t, b, 1, 0).DoseMin), 0.1, "the batch itself is reckoned anew")
}

// TestNumbersOfTheRankSum holds the chance against counts from outside.
func TestNumbersOfTheRankSum(t *testing.T) {
	// Hollander and Wolfe (1973) p. 69 f, as in the documentation of a statistics language:
	// 10 against 5 values, U = 35, one-sided 0.1272. Recomputed from 3003 splits.
	assert.InDelta(t, 0.1272, chance(10, 5, 50-35), 5e-5)
	for _, x := range []struct {
		m, n int
		want float64
	}{{3, 4, 1.0 / 35}, {4, 4, 1.0 / 70}, {3, 3, 1.0 / 20}, {1, 19, 1.0 / 20}, {1, 18, 1.0 / 19}, {2, 5, 1.0 / 21}} {
		got := chance(x.m, x.n, 0)
		assert.InEpsilon(t, x.want, got, 1e-12, "full separation: a counting argument")
		t.Logf("%d against %d, all apart: %.4f, enough: %v", x.m, x.n, got, enough(x.m, x.n))
	}
	// The same from the two-sided test, which is symmetric, without ties.
	yellow, others := []float64{40, 44, 31, 52, 38}, []float64{10, 12, 35, 8, 41, 22, 17}
	assert.InDelta(t, exact.Compare([]exact.Block{{With: yellow, Without: others}}).P/2, chance(5, 7, Advice{Yellowed: yellow, Others: others}.against()), 1e-12)
	assert.InDelta(t, 1, chance(30, 200, 6000), 1e-9)
	assert.InDelta(t, 0.5, chance(30, 200, 3000), 0.01)
}

// TestNumbersOfLookingAnew prints how often heat that has nothing to do with it is said to
// have yellowed batches, where the advice is looked at after every batch, one in five of
// them yellowed.
func TestNumbersOfLookingAnew(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute under the race detector, and there is no goroutine in it")
	}
	const makers, most = 1000, 60
	random, told := rand.New(rand.NewPCG(3, 1)), [most + 1]int{}
	for range makers {
		var a Advice
		for batches := 1; batches <= most; batches++ {
			if of := random.Float64(); random.IntN(5) == 0 {
				a.Yellowed = append(a.Yellowed, of)
			} else {
				a.Others = append(a.Others, of)
			}
			if !a.Enough() {
				continue
			}
			if a.Chance = frames.Figure(chance(len(a.Yellowed), len(a.Others), a.against())); a.Speaks() {
				told[batches]++
				break
			}
		}
	}
	sum := 0
	for batches, n := range told {
		if sum += n; batches == 20 || batches == most {
			t.Logf("after %d batches, looked at after each: said without cause to %.1f %% of makers", batches, 100*float64(sum)/makers)
		}
	}
	assert.LessOrEqual(t, float64(sum)/makers, 0.05)
	assert.False(t, enough(3, 3), "three against three says nothing")
}

// TestWordsForWhatIsNotKnown.
func TestWordsForWhatIsNotKnown(t *testing.T) {
	b := Batch{Batch: history.Batch{ID: 3, Potful: history.Potful{Colour: "rust"}, Heats: []history.BatchHeat{{Began: noon}}},
		DoseMin: frames.Unknown(), Left: Left{ML: frames.Unknown()}}
	assert.Equal(t, "batch 3: rust, what is left is not recorded, no reheat, heat dose not recorded", b.Line())
	var text strings.Builder
	for _, f := range b.Facts(150) {
		fmt.Fprintln(&text, f.Name, f.Value)
	}
	assert.Contains(t, text.String(), "lot not recorded")
	assert.NotContains(t, text.String(), "NaN")
	assert.Contains(t, Why(150), "10 °C hotter counts 2.4 times")
}

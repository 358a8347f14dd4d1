package causes

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/daemon/causes/maker"
	"meltwarden/daemon/frames"
	"meltwarden/daemon/history"
	"meltwarden/daemon/shot"
)

// baits are shots of one run, a letter each: b bled, c clean, others have their own
// meaning below. Every figure rises evenly, so that bled ones that come last lie wholly
// apart from clean ones that come first.
func baits(letters string) (shots []history.Shot) {
	for i, l := range letters {
		x := frames.Figure(i)
		s := history.Shot{Number: i + 1, Mould: "eel", Card: shot.Card{SpreadC: 1, MouldC: 30 + 4*x, RoomC: 20, DrawToPushS: 30}}
		for _, colour := range []string{"slate", "ivory", "rust"} {
			s.Card.Pots = append(s.Card.Pots, shot.Pot{
				Colour: colour, DeviationC: 2 * x, HeldMin: 5 * x, DoseMin: frames.Unknown(), SinceStirS: 30, PlateC: 190,
			})
		}
		switch l {
		case 'b':
			s.Verdicts = []shot.Verdict{{Fault: "bled"}}
		case 'c':
			s.Verdicts = []shot.Verdict{{Fault: shot.Clean}}
		case 'm': // migrated: clean at demould
			s.Verdicts = []shot.Verdict{{Fault: shot.Clean}, {Fault: "bled", Day: 3}}
		case 'l': // only ever looked at later
			s.Verdicts = []shot.Verdict{{Fault: "bled", Day: 3}}
		case 'o':
			s.Verdicts = []shot.Verdict{{Fault: "short"}}
		case 'w':
			s.Verdicts, s.Withdrawn = []shot.Verdict{{Fault: "bled"}}, true
		case 'd': // both, and seen again later
			s.Verdicts = []shot.Verdict{{Fault: "short"}, {Fault: "bled"}, {Fault: "bled", Day: 9}}
		}
		shots = append(shots, s)
	}
	return shots
}

func evenings(letters ...string) (runs []Run) {
	for i, l := range letters {
		runs = append(runs, Run{ID: int64(i + 1), Recipe: "eel", Version: 1, Shots: baits(l)})
	}
	return runs
}

// bled is the finding about bleeding.
func bled(t *testing.T, runs []Run) Finding {
	t.Helper()
	for _, f := range Look(runs) {
		if f.Fault == "bled" {
			return f
		}
	}
	t.Fatal("nobody saw it bleed")
	return Finding{}
}

func find(rows []Row, name string) Row {
	for _, r := range rows {
		if r.Name() == name {
			return r
		}
	}
	return Row{}
}

// TestThreeAgainstThreeDeclines, however far they lie apart, and says why and what would
// do (the smallest probability of 3 against 3 is 2/20: a counting argument).
func TestThreeAgainstThreeDeclines(t *testing.T) {
	f := bled(t, evenings("cccbbb"))
	assert.False(t, f.Decides)
	assert.InDelta(t, 0.1, float64(f.Smallest), 1e-12)
	said := strings.Join(f.Conclusion(Celsius), "\n")
	t.Log(said)
	assert.Equal(t, "3 bled, 3 clean: nothing is concluded. However far apart a figure lies, the smallest chance that these counts "+
		"can reach within their runs is 0.1 (1 time in 10), and 5 figures are looked at. With 5 of each in one run, or with 2 runs like "+
		"the 1 with both, it could be told.", said)
	hot := find(f.Causes, "a pot above its own target")
	assert.Equal(t, TooFew, hot.Says)
	assert.InDelta(t, 1, float64(hot.Share), 1e-12)
	assert.False(t, hot.Chance.Known() || hot.Low.Known())
	assert.Contains(t, hot.Facts(Celsius), "+6.0 °C (too few to bound it); more in 9 of 9 pairs")
}

// TestEnoughOfEachIsNamed, and figures that rise together are not told apart. The
// interval leaves out five differences at either end: 5 is the critical U of 6 against 6
// in the tables of Mann and Whitney's test (from memory).
func TestEnoughOfEachIsNamed(t *testing.T) {
	f := bled(t, evenings("ccccccbbbbbb"))
	assert.True(t, f.Decides)
	hot, mould := find(f.Causes, "a pot above its own target"), find(f.Causes, "a hot mould")
	assert.Equal(t, Named, hot.Says)
	assert.Equal(t, Named, mould.Says)
	assert.ElementsMatch(t, []string{"coldest pot beside its own target", "mould", "held since cured", "shot of its run"}, hot.Together)
	assert.Equal(t, Listed, find(f.Others, "held since cured").Says, "the table does not name it")
	assert.Equal(t, NotRecorded, find(f.Causes, "a long time from draw to push").Says, "all alike")
	assert.Equal(t, "not recorded", find(f.Others, "heat dose").Verdict(Celsius))
	assert.Contains(t, strings.Join(f.Conclusion(Fahrenheit), "\n"),
		"A pot above its own target goes with it: 21.6 °F more in the bled ones (95 %: +10.8 to +32.4 °F); somewhere among all that is "+
			"looked at, chance alone does as much 1 time in 460; not told apart from: ")
}

// TestWhatWasCuredLastIsHardlyHeld: cloudy where one pot had only just been cured, however
// long the others had been.
func TestWhatWasCuredLastIsHardlyHeld(t *testing.T) {
	runs := evenings("ccccccbbbbbb")
	for i := range runs[0].Shots {
		s := &runs[0].Shots[i]
		s.Card.MouldC = 30
		for p := range s.Card.Pots {
			s.Card.Pots[p].DeviationC, s.Card.Pots[p].HeldMin = 0, 40
		}
		s.Card.Pots[1].HeldMin = 20
		if s.Verdicts[0].Fault == "bled" {
			s.Verdicts[0].Fault, s.Card.Pots[1].HeldMin = "cloudy", 1
		}
	}
	all := Look(runs)
	require.Len(t, all, 1)
	hardly := find(all[0].Causes, "hardly held since it was cured")
	assert.Equal(t, Named, hardly.Says)
	assert.Equal(t, "since the last pot was cured", hardly.Figure)
	assert.InDelta(t, -19, float64(hardly.Shift), 1e-9)
	assert.Empty(t, find(all[0].Others, "held since cured").Figure, "that is the same thing by another pot")
}

// TestTheOtherWayIsNoCause: where the clean ones are the hot ones.
func TestTheOtherWayIsNoCause(t *testing.T) {
	f := bled(t, evenings("bbbbbbcccccc"))
	assert.Equal(t, Opposite, find(f.Causes, "a pot above its own target").Says)
	assert.Equal(t, []string{"No cause is named: none of the trade's stands out from chance on the side where it would have to be."}, f.Conclusion(Celsius))
}

// TestWithinTheProbeIsNoCause: a difference smaller than how it is measured.
func TestWithinTheProbeIsNoCause(t *testing.T) {
	runs := evenings("ccccccbbbbbb")
	for i := range runs[0].Shots {
		for p := range runs[0].Shots[i].Card.Pots {
			runs[0].Shots[i].Card.Pots[p].DeviationC = frames.Figure(i) * 0.05
		}
	}
	hot := find(bled(t, runs).Causes, "a pot above its own target")
	assert.Equal(t, Small, hot.Says)
	assert.Contains(t, hot.Verdict(Celsius), "no larger than how it is measured (0.5 °C)")
}

// TestWhatIsLeftOut: taken back, not judged, another fault, and what only showed days
// later; a bait that was clean at demould stays clean.
func TestWhatIsLeftOut(t *testing.T) {
	f := bled(t, evenings("cbml", "owd-", "cc"))
	assert.Equal(t, [2]int{2, 4}, [2]int{f.Faulty, f.Clean})
	assert.Equal(t, 1, f.Runs)
	assert.Equal(t, []LeftOut{
		{whyOther, []Ref{{2, 1}}}, {whyUnjudged, []Ref{{2, 4}}}, {whyLater, []Ref{{1, 4}}}, {whyWithdrawn, []Ref{{2, 2}}},
	}, f.LeftOut)
	assert.Equal(t, []string{
		"1 shot, another fault: run 2 shot 1", "1 shot, not judged: run 2 shot 4",
		"1 shot, a fault days later and nothing said at demould, never charged to temperature: run 1 shot 4", "1 shot, taken back: run 2 shot 2",
		"3 shots, all of their run came out alike: nothing to compare within it",
	}, f.LeftLines())
	assert.Equal(t, []Ref{{1, 3}, {1, 4}}, f.Later, "one that bled at demould as well is no later one")
	assert.Equal(t, "2 shots, counted as what they were at demould: run 1 shot 3, run 1 shot 4", f.LaterLines()[0])
	assert.Contains(t, f.LaterLines(), "warm storage")
	assert.Empty(t, Look(evenings("ccml")), "what migrates is no bleed")
	assert.Empty(t, Look(nil))
	alone := bled(t, evenings("bbb"))
	assert.Contains(t, alone.Conclusion(Celsius)[0], "judge the clean ones as well")
	apart := bled(t, evenings("bbb", "ccc"))
	assert.Contains(t, apart.Conclusion(Celsius)[0], "No run has both")
}

// TestRunsAreNeverMixed: a run that was hot and bled against one that was not is told as
// a hint and not as a cause.
func TestRunsAreNeverMixed(t *testing.T) {
	var runs []Run
	for i, letters := range []string{"bbcb", "bcbb", "bbbc", "cccb", "ccbc", "cccc"} {
		r := Run{ID: int64(i + 1), Recipe: "eel", Version: 1 + i/3, Shots: baits(letters)}
		for n := range r.Shots {
			for p := range r.Shots[n].Card.Pots {
				r.Shots[n].Card.Pots[p].DeviationC = frames.Figure(6 - i)
			}
		}
		runs = append(runs, r)
	}
	f := bled(t, runs)
	hot := find(f.Causes, "a pot above its own target")
	assert.Equal(t, NotRecorded, hot.Says, "within its run it never varied")
	assert.Greater(t, float64(hot.Between), 0.8)
	assert.Contains(t, strings.Join(f.HintLines(), "\n"), "hottest pot beside its own target: runs that had more bled had more of it")
	assert.Equal(t, []string{"eel, version 1: 9 of 12 (47 to 91 %)", "eel, version 2: 2 of 12 (5 to 45 %)"}, f.RateLines())
}

// TestHowOftenInWords of common practice: a chance as so many times.
func TestHowOftenInWords(t *testing.T) {
	for p, want := range map[frames.Chance]string{
		0.00001: "less than 1 time in 10 000", 0.002: "1 time in 500", 0.0123: "1 time in 81", 0.1: "1 time in 10", 0.22: "2 times in 10", 0.99: "nearly always",
		frames.Chance(frames.Unknown()): "not told",
	} {
		assert.Equal(t, want, Often(p))
	}
	assert.Equal(t, "0.0 °C", Celsius.signed(0, -0.01))
	assert.Equal(t, "212.0 °F", Fahrenheit.Value(1, 100))
}

// TestFromWhatIsKept: the answer over a history is that over the shots themselves, and
// what can not be asked is said.
func TestFromWhatIsKept(t *testing.T) {
	s, err := history.Open(t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	plan := maker.Plan{Seed: 3, Cause: maker.HotPots, Size: 3}
	require.NoError(t, maker.Keep(s, time.Date(2026, 1, 2, 18, 0, 0, 0, time.UTC), maker.Make(plan)))
	a, err := Of(s, Question{})
	require.NoError(t, err)
	want := Look(of(plan))
	require.Len(t, a.Findings, len(want))
	for i, f := range a.Findings {
		assert.Equal(t, want[i].Fault, f.Fault)
		assert.Equal(t, [4]int{want[i].Faulty, want[i].Clean, want[i].Runs, want[i].Alike}, [4]int{f.Faulty, f.Clean, f.Runs, f.Alike})
		for j, r := range f.Causes {
			assert.Equal(t, want[i].Causes[j].Cause, r.Cause)
			assert.InDelta(t, float64(want[i].Causes[j].Alone), float64(r.Alone), 0.01, "a card keeps three decimals")
		}
	}
	one, err := Of(s, Question{Fault: "bled", Recipe: "invented eel", Mould: "eel"})
	require.NoError(t, err)
	require.Len(t, one.Findings, 1)
	assert.Equal(t, a.Findings[0].Causes[0].Chance, one.Findings[0].Causes[0].Chance, "asked for alone it is the same")
	text, err := json.Marshal(one)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"cause":"a pot above its own target"`)
	for _, c := range []struct {
		q    Question
		want string
	}{
		{Question{Fault: "clean"}, `fault "clean": not known; write one of: bled, swirled`},
		{Question{Recipe: "pike"}, `recipe "pike": no shot kept has it; write one of: invented eel`},
		{Question{Mould: "pike"}, `mould "pike": no shot kept has it; write one of: eel`},
	} {
		_, err := Of(s, c.q)
		assert.ErrorIs(t, err, ErrQuestion)
		assert.ErrorContains(t, err, c.want)
	}
	var out bytes.Buffer
	require.NoError(t, a.WriteText(&out, Celsius))
	for _, line := range strings.Split(out.String(), "\n") {
		assert.LessOrEqual(t, len([]rune(line)), 100, line)
		assert.Equal(t, strings.TrimRight(line, " "), line)
	}
	t.Log(out.String())
}

// TestPairsAreWholeOrHalf: a tie counts for half a pair, and nothing else is left over.
func TestPairsAreWholeOrHalf(t *testing.T) {
	for ties := range 67 {
		words := Row{Pairs: 33, Share: frames.Figure(float64(ties) / 66)}.pairWords()
		assert.Regexp(t, `^(more|less) in \d+(\.5)? of 33 pairs$`, words)
	}
}

package causes

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/cause"
	"meltwarden/daemon/causes/maker"
	"meltwarden/daemon/exact"
)

// planted is each cause as the table has it.
var planted = map[maker.Cause]cause.Cause{
	maker.HotPots: own(cause.Hottest), maker.Spread: own(cause.Spread), maker.HotMould: own(cause.Mould), maker.LongDraw: own(cause.Draw),
}

// own is the cause of the makers' fault that shows in a figure.
func own(figure *cause.Figure) cause.Cause {
	known, _ := cause.Of(maker.Fault)
	return known.Seen[slices.IndexFunc(known.Seen, func(c cause.Cause) bool { return c.Figure == figure })]
}

// of are a maker's runs.
func of(p maker.Plan) (runs []Run) {
	for i, r := range maker.Make(p) {
		runs = append(runs, Run{ID: int64(i + 1), Recipe: "eel", Version: 1, Shots: r.Shots})
	}
	return runs
}

// tried is how makers of one kind came out.
type tried struct {
	makers, first, firstTwo int
	// named is how often the planted cause was; other how often another one of the
	// trade's was, and otherAlone how often that without the planted one being named
	// with it as not told apart; listed how often a figure that is none of the trade's
	// causes was said to go with it.
	named, other, otherAlone, listed int
	claimed, hint                    int // anything at all, within runs; from run to run
	hinted                           int // the planted one, from run to run
}

func (t *tried) add(o tried) {
	t.makers, t.first, t.firstTwo, t.named = t.makers+o.makers, t.first+o.first, t.firstTwo+o.firstTwo, t.named+o.named
	t.other, t.otherAlone, t.listed = t.other+o.other, t.otherAlone+o.otherAlone, t.listed+o.listed
	t.claimed, t.hint, t.hinted = t.claimed+o.claimed, t.hint+o.hint, t.hinted+o.hinted
}

// take takes in one maker's findings; want is the planted cause, shows the figure that it
// shows in.
func (t *tried) take(want, shows string, findings []Finding) {
	one := tried{makers: 1}
	for _, f := range findings {
		for i, r := range f.Causes {
			if right := f.Fault == maker.Fault && r.Cause == want; right {
				one.first, one.firstTwo = btoi(i == 0), btoi(i < 2)
				one.named, one.hinted = btoi(r.Says == Named), btoi(r.BetweenChance <= Level && float64(r.Between)*float64(r.Side) > 0)
			} else if r.Says == Named {
				one.other = 1
				one.otherAlone = max(one.otherAlone, btoi(!slices.Contains(r.Together, shows)))
			}
		}
		for _, r := range f.Others {
			one.listed = max(one.listed, btoi(r.Says == Listed))
		}
		for _, r := range slices.Concat(f.Causes, f.Others) {
			one.claimed = max(one.claimed, btoi(r.Says == Named || r.Says == Listed))
			one.hint = max(one.hint, btoi(r.BetweenChance <= Level))
		}
	}
	t.add(one)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// percent is a part with its interval.
func percent(k, n int) string {
	low, high := exact.Wilson(k, n)
	return fmt.Sprintf("%.0f %% (%.0f to %.0f)", 100*float64(k)/float64(n), 100*low, 100*high)
}

func (t tried) String() string {
	return fmt.Sprintf("first %s, first two %s, named %s; another cause named %s, without this one beside it %s; another figure listed %s",
		percent(t.first, t.makers), percent(t.firstTwo, t.makers), percent(t.named, t.makers), percent(t.other, t.makers),
		percent(t.otherAlone, t.makers), percent(t.listed, t.makers))
}

// makersAsked is how many makers the numbers are taken from: few, or as many as MAKERS asks
// for, such as the 150 of each cause that the readme's figures come from.
func makersAsked() uint64 {
	if n, err := strconv.ParseUint(os.Getenv("MAKERS"), 10, 16); err == nil {
		return max(1, n)
	}
	if testing.Short() {
		return 25
	}
	return 60
}

// TestNumbersOfCauses prints how often a planted cause is ranked first and in the first
// two among the fault's own, by the size of its effect, and how often one is claimed
// where none was planted. Nothing of the makers was made with an eye on this, nor this
// with an eye on them.
func TestNumbersOfCauses(t *testing.T) {
	makers := makersAsked()
	idle := 10 * makers
	for _, size := range []float64{1, 1.5, 2, 3} {
		var all tried
		for _, c := range []maker.Cause{maker.HotPots, maker.Spread, maker.HotMould, maker.LongDraw} {
			var one tried
			for seed := range makers {
				one.take(planted[c].Name, planted[c].Figure.Name, Look(of(maker.Plan{Seed: 1000*uint64(c) + seed, Cause: c, Size: size})))
			}
			t.Logf("size %.2f, %-9s: %s", size, c, one)
			all.add(one)
		}
		t.Logf("size %.2f, all four : %s", size, all)
		if size >= 1.5 {
			assert.GreaterOrEqual(t, float64(all.first)/float64(all.makers), 0.7)
			assert.GreaterOrEqual(t, float64(all.firstTwo)/float64(all.makers), 0.85)
		}
	}
	var none tried
	for seed := range idle {
		none.take("", "", Look(of(maker.Plan{Seed: 50_000 + seed})))
	}
	t.Logf("none planted, %d makers: a figure claimed in %s; a cause of the trade's in %s; a hint from run to run in %s",
		none.makers, percent(none.claimed, none.makers), percent(none.other, none.makers), percent(none.hint, none.makers))
	assert.LessOrEqual(t, float64(none.claimed)/float64(none.makers), 0.05)
}

// TestNumbersOfRuns prints what comes of a cause that acts by the run, an evening that was
// hot as a whole: within runs there is nothing to see, and from run to run three to eight
// of them tell little.
func TestNumbersOfRuns(t *testing.T) {
	makers := uint64(100)
	if testing.Short() {
		makers = 20
	}
	for _, c := range []maker.Cause{maker.HotPots, maker.HotMould} {
		var one tried
		for seed := range makers {
			plan := maker.Plan{Seed: 1000*uint64(c) + seed, Cause: c, Size: 2, ByRun: true}
			one.take(planted[c].Name, planted[c].Figure.Name, Look(of(plan)))
		}
		t.Logf("by the run, size 2.00, %-9s: hinted at %s, named %s, first %s; another cause named %s", c,
			percent(one.hinted, one.makers), percent(one.named, one.makers), percent(one.first, one.makers), percent(one.other, one.makers))
		assert.LessOrEqual(t, float64(one.other+one.named)/float64(one.makers), 0.06, "within runs it is chance")
	}
}

// TestNumbersOfLookingEveryEvening prints how often something is claimed to makers without a
// cause who look after each evening and believe any claim. No look is corrected for the
// ones before it: the same shots are held again, and more of them.
func TestNumbersOfLookingEveryEvening(t *testing.T) {
	if testing.Short() {
		t.Skip("looks some thousand times")
	}
	makers := 10 * makersAsked()
	claimed, own, looks := 0, 0, 0
	for seed := range makers {
		runs := of(maker.Plan{Seed: 50_000 + seed})
		var ever tried
		for n := 1; n <= len(runs); n++ {
			looks++
			ever.take("", "", Look(runs[:n]))
		}
		claimed, own = claimed+min(1, ever.claimed), own+min(1, ever.other)
	}
	t.Logf("none planted, %d makers, %d looks: at some evening a figure claimed in %s, a cause of the trade's in %s",
		makers, looks, percent(claimed, int(makers)), percent(own, int(makers)))
	assert.LessOrEqual(t, float64(claimed)/float64(makers), 0.07)
	assert.LessOrEqual(t, float64(own)/float64(makers), 0.05)
}

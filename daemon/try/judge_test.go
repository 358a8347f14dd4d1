package try

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/daemon/history"
)

func tally(faulty, judged, runs int) history.Tally {
	return history.Tally{Faulty: faulty, Judged: judged, Runs: runs}
}

// TestNumbersOfJudging: what is said of an attempt by its counts. The chances are those
// of scipy.stats.fisher_exact (a general-purpose library), to the digits given; 1 stands
// for a table with an empty row.
func TestNumbersOfJudging(t *testing.T) {
	for _, c := range []struct {
		name          string
		before, since history.Tally
		want          Standing
		chance        float64
		words         string
	}{
		{"nothing made yet", tally(9, 31, 6), tally(0, 0, 0), Waits, math.NaN(), "no shot of it is judged yet; seam in 9 of 31 before; about 15 more shots without the fault would tell"},
		{"too few", tally(5, 12, 3), tally(1, 8, 2), OpenLeft, 0.3246, ""},
		{"gone", tally(9, 31, 6), tally(0, 15, 3), Better, 0.0212, ""},
		{"gone, on one evening", tally(9, 31, 6), tally(0, 15, 1), OpenLeft, 0.0212, "one evening are alike"},
		{"as before", tally(9, 31, 6), tally(6, 16, 3), NoBetter, 0.7422, ""},
		{"more than before", tally(3, 12, 3), tally(6, 8, 2), OpenLeft, 0.0648, ""},
		{"far more", tally(3, 31, 6), tally(6, 8, 2), Worse, 0.0006, ""},
		{"nothing before", tally(0, 0, 0), tally(2, 8, 2), OpenLeft, 1, ""},
	} {
		o := Judge(c.before, c.since)
		t.Logf("%-22s %-24s %.4f  %s", c.name, o.Standing, o.Chance, o.Words("seam"))
		assert.Equal(t, c.want, o.Standing, c.name)
		assert.InDelta(t, c.chance, float64(o.Chance), 5e-5, c.name)
		assert.Contains(t, o.Words("seam"), c.words, c.name)
	}
}

// TestOneChangeAtATime: an attempt that waits for its shots is on until they tell or a
// person ends it.
func TestOneChangeAtATime(t *testing.T) {
	o := Judge(tally(5, 12, 3), tally(1, 8, 2))
	assert.True(t, o.On())
	o.Ended = true
	assert.False(t, o.On())
	assert.False(t, Judge(tally(9, 31, 6), tally(0, 15, 3)).On())
}

// TestItIsJudgedMoreStrictlyTheLongerItGoesOn: what tells after three evenings may be luck
// after twenty looks.
func TestItIsJudgedMoreStrictlyTheLongerItGoesOn(t *testing.T) {
	assert.Equal(t, Better, Judge(tally(9, 31, 6), tally(0, 15, 3)).Standing)
	o := Judge(tally(9, 31, 6), tally(0, 15, 15))
	assert.Equal(t, OpenLeft, o.Standing)
	assert.Contains(t, o.Words("seam"), "more shots would tell")
	assert.NotContains(t, o.Words("seam"), "one evening are alike")
}

// trier invents attempts: evenings of 3 to 6 shots, a fault in three shots of ten, and each
// evening a little better or worse than the others.
type trier struct{ *rand.Rand }

// evening adds one to a tally, with so much left of the fault's odds; it returns the part
// that was faulty.
func (m trier) evening(to *history.Tally, left float64) float64 {
	odds, faulty, shots := left*3/7*math.Exp(0.4*m.NormFloat64()), 0, 3+m.IntN(4)
	for range shots {
		if m.Float64() < odds/(1+odds) {
			faulty++
		}
	}
	to.Runs, to.Judged, to.Faulty = to.Runs+1, to.Judged+shots, to.Faulty+faulty
	return float64(faulty) / float64(shots)
}

// before are four evenings, or as many as come until the third or a later one is bad
// enough, half of it faulty, to try something.
func (m trier) before(afterABadOne bool) (t history.Tally) {
	for {
		part := m.evening(&t, 1)
		if !afterABadOne && t.Runs == 4 || afterABadOne && t.Runs >= 3 && part >= 0.5 {
			return t
		}
	}
}

// after looks at an attempt after every evening until it is told or they end.
func (m trier) after(before history.Tally, evenings int, left float64) Outcome {
	var since history.Tally
	for {
		m.evening(&since, left)
		if o := Judge(before, since); o.Standing == Better || o.Standing == Worse || since.Runs == evenings {
			return o
		}
	}
}

// TestNumbersOfTrying prints what comes of attempts by invented makers, looked at after
// every evening.
func TestNumbersOfTrying(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of attempts")
	}
	const makers = 1000
	for _, c := range []struct {
		name     string
		left     float64 // of the fault's odds
		evenings int
		bad      bool // tried after a bad evening, which is luck as well
	}{
		{"a change that does nothing", 1, 5, false},
		{"the same, tried after a bad evening", 1, 5, true},
		{"the same, looked at after 20 evenings", 1, 20, true},
		{"a change that leaves a third of the odds", 1.0 / 3, 5, false},
		{"a change that leaves a tenth of the odds", 0.1, 5, false},
	} {
		m := trier{rand.New(rand.NewPCG(6, 1))}
		called, shots, earlier := map[Standing]int{}, 0, 0
		for range makers {
			o := m.after(m.before(c.bad), c.evenings, c.left)
			called[o.Standing]++
			shots, earlier = shots+o.Since.Judged, earlier+o.Before.Judged
		}
		share := func(s Standing) float64 { return float64(called[s]) / makers }
		t.Logf("%-42s better %4.1f %%, worse %4.1f %%, no better so far %4.1f %%, can not be told %4.1f %%; %.0f shots before, %.0f since", c.name,
			100*share(Better), 100*share(Worse), 100*share(NoBetter), 100*share(OpenLeft), float64(earlier)/makers, float64(shots)/makers)
		if c.left == 1 {
			assert.LessOrEqual(t, share(Better)+share(Worse), 0.05)
		} else {
			assert.Zero(t, math.Round(100*share(Worse)))
		}
	}
}

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
// of scipy.stats.fisher_exact (a general-purpose library), to the digits given; 1 stands for a table with an empty row.
func TestNumbersOfJudging(t *testing.T) {
	for _, c := range []struct {
		name          string
		before, since history.Tally
		want          Standing
		chance        float64
		words         string
	}{
		{"nothing made yet", tally(9, 31, 6), tally(0, 0, 0), Waits, 1, "no shot of it is judged yet; seam in 9 of 31 before; about 15 more shots without the fault would tell"},
		{"too few", tally(5, 12, 3), tally(1, 8, 2), OpenLeft, 0.3246, ""},
		{"gone", tally(9, 31, 6), tally(0, 15, 3), Better, 0.0212, ""},
		{"gone, on one evening", tally(9, 31, 6), tally(0, 15, 1), OpenLeft, 0.0212, "one evening are alike"},
		{"as before", tally(9, 31, 6), tally(6, 16, 3), NoBetter, 0.7425, ""},
		{"more than before", tally(3, 12, 3), tally(6, 8, 2), OpenLeft, 0.0648, ""},
		{"far more", tally(3, 31, 6), tally(6, 8, 2), Worse, 0.0006, ""},
		{"nothing before", tally(0, 0, 0), tally(2, 8, 2), OpenLeft, 1, ""},
	} {
		o := Judge(c.before, c.since)
		t.Logf("%-22s %-24s %.4f  %s", c.name, o.Standing, o.Chance, o.Words("seam"))
		assert.Equal(t, c.want, o.Standing, c.name)
		assert.InDelta(t, c.chance, o.Chance, 5e-4, c.name)
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

// TestNumbersOfTrying prints what comes of attempts by invented makers: 9 evenings of 3 to
// 6 shots, the first four of them before the change, a fault in three shots of ten, and
// each evening a little better or worse than the others. It is looked at after every
// evening.
func TestNumbersOfTrying(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of attempts")
	}
	const makers = 1000
	for _, c := range []struct {
		name string
		left float64 // of the fault's odds
	}{
		{"a change that does nothing", 1},
		{"a change that leaves a third of the odds", 1.0 / 3},
		{"a change that leaves a tenth of the odds", 0.1},
	} {
		chance := rand.New(rand.NewPCG(6, 1))
		called := map[Standing]int{}
		shots := 0
		for range makers {
			var before, since history.Tally
			standing := OpenLeft
			for evening := range 9 {
				to, odds := &before, 3.0/7*math.Exp(0.4*chance.NormFloat64())
				if evening >= 4 {
					to, odds = &since, odds*c.left
				}
				to.Runs++
				for range 3 + chance.IntN(4) {
					to.Judged++
					if chance.Float64() < odds/(1+odds) {
						to.Faulty++
					}
				}
				if o := Judge(before, since); evening >= 4 && (o.Standing == Better || o.Standing == Worse) {
					standing = o.Standing
					break
				} else if evening >= 4 {
					standing = o.Standing
				}
			}
			called[standing]++
			shots += since.Judged
		}
		share := func(s Standing) float64 { return float64(called[s]) / makers }
		t.Logf("%-42s better %4.1f %%, worse %4.1f %%, no better so far %4.1f %%, can not be told %4.1f %%; %.0f shots", c.name,
			100*share(Better), 100*share(Worse), 100*share(NoBetter), 100*share(OpenLeft), float64(shots)/makers)
		if c.left == 1 {
			assert.LessOrEqual(t, share(Better)+share(Worse), 0.05)
		} else {
			assert.Zero(t, math.Round(100*share(Worse)))
		}
	}
}

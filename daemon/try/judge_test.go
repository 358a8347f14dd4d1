package try

import (
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
		{"nothing made yet", tally(9, 31, 6), tally(0, 0, 0), Waits, 1, "no shot of it is judged yet; seam in 9 of 31 before; about 12 more shots without the fault would tell"},
		{"too few", tally(5, 12, 3), tally(1, 8, 2), OpenLeft, 0.3246, ""},
		{"gone", tally(9, 31, 6), tally(0, 15, 3), Better, 0.0212, ""},
		{"gone, on one evening", tally(9, 31, 6), tally(0, 15, 1), OpenLeft, 0.0212, "one evening are alike"},
		{"as before", tally(9, 31, 6), tally(6, 14, 3), NoBetter, 0.4968, ""},
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

package judge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/judge"
)

// coastS is for how long a pot is watched whose heat is cut.
const coastS = 600

// cutAt heats a party until its first melt has come to fromC, cuts all heat, and adds by how
// much each melt rose and how far that was from what had been told.
func cutAt(t *testing.T, party [3]*judge.Pot, fromC float64, c *coasts) {
	b := raw(t, party)
	cutS := math.Inf(1)
	var fromBulkC, most, told, within [3]float64
	for n := 0; b.seconds < min(cutS+coastS, 3600); n++ {
		var also []control.Command
		if math.IsInf(cutS, 1) && n > 0 && max(b.plants[0].BulkC(), b.plants[1].BulkC(), b.plants[2].BulkC()) >= fromC {
			also, cutS = []control.Command{{Kind: control.AllOff}}, b.seconds
			for i := range b.plants {
				fromBulkC[i], told[i], within[i] = b.plants[i].BulkC(), b.frame.Pots[i].PeakC, b.frame.Pots[i].PeakWithinC
			}
		}
		b.tended(n, also...)
		b.count(n, false)
		for i := range b.plants {
			most[i] = max(most[i], b.plants[i].BulkC())
		}
		b.seconds += b.set.Period.Seconds()
	}
	for i := range told {
		if math.IsNaN(told[i]) {
			continue
		}
		off := most[i] - told[i]
		c.rises, c.sizes, c.sum = append(c.rises, most[i]-fromBulkC[i]), append(c.sizes, math.Abs(off)), c.sum+off
		if math.Abs(off) > within[i] {
			c.outside++
		}
	}
}

// coasts are how far melts rose after the cut, and how far that was from what was told.
type coasts struct {
	rises, sizes []float64
	sum          float64
	outside      int // of the range that was told
}

// TestNumbersOfCoasts prints how far a melt rises after its heat is cut in a first heat-up,
// and how far that is from what was told at the cut: of the named pots, on which the model's
// coupling was chosen for it, and of others.
func TestNumbersOfCoasts(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated evenings")
	}
	t.Parallel()
	groups := []struct {
		name  string
		pots  [][3]*judge.Pot
		mostC float64 // in 9 of 10
	}{{"named", nil, 7}, {"random", randomParties(3), 20}}
	for _, names := range parties {
		groups[0].pots = append(groups[0].pots, partyOf(names))
	}
	for _, g := range groups {
		for _, fromC := range []float64{110, 160} {
			var c coasts
			for _, party := range g.pots {
				cutAt(t, party, fromC, &c)
			}
			n := len(c.rises)
			t.Logf("%-6s cut when the first melt is at %3.0f °C: %2d melts of which it is told rise by %4.1f °C in the median, %4.1f at most; told off by %3.1f °C in the median, %4.1f in 9 of 10, %4.1f at worst, %+.1f in the mean; %d outside the range told",
				g.name, fromC, n, at(median, c.rises), at(worst, c.rises), at(median, c.sizes), at(ninety, c.sizes), at(worst, c.sizes), c.sum/float64(n), c.outside)
			assert.Less(t, at(ninety, c.sizes), g.mostC)
			assert.LessOrEqual(t, c.outside, n/4)
		}
	}
}

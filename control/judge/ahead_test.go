package judge_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/model"
)

// aheadIn is how many points ahead is compared: five minutes.
const aheadIn = 5

// off is how far what was foreseen came out from what was measured.
type off struct{ n, sum, squares float64 }

func (o *off) add(c float64) { o.n, o.sum, o.squares = o.n+1, o.sum+c, o.squares+c*c }

func (o off) rms() float64 { return math.Sqrt(o.squares / o.n) }

func (o off) String() string {
	return fmt.Sprintf("%5.2f °C RMS, in the mean %+5.2f °C, over %3.0f pot-minutes", o.rms(), o.sum/o.n, o.n/300)
}

// phase is where a pot is, as far as it matters to what is foreseen.
func phase(p *control.PotFrame) string {
	switch {
	case p.Wait == control.WaitOthers:
		return "waiting"
	case p.State == control.Holding || p.State == control.Ready:
		return "holding"
	}
	return p.State.String()
}

// TestNumbersOfWhatIsAhead prints how far the melt was from what had been foreseen of it
// five minutes before, by what the pot was doing when it came out: on three raw pots at a
// time, from cold to ready and through half an hour of hold. A first heat-up's first
// minutes are for themselves: a pot that has not been heated yet is not known.
func TestNumbersOfWhatIsAhead(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated evenings")
	}
	t.Parallel()
	const knownS = 180
	all := map[string]*off{}
	into := func(name string) *off {
		if all[name] == nil {
			all[name] = &off{}
		}
		return all[name]
	}
	for _, names := range parties {
		b := raw(t, partyOf(names))
		var told [3][]float64
		const later = aheadIn * model.AheadEveryS * 5 // cycles
		endS := math.Inf(1)
		for n := 0; b.seconds < min(endS, 7200); n++ {
			b.tended(n)
			b.count(n, false)
			for i := range b.frame.Pots {
				p := &b.frame.Pots[i]
				told[i] = append(told[i], p.AheadC[aheadIn-1])
				then := n - later
				if then < 0 || math.IsNaN(told[i][then]) {
					continue
				}
				if name := phase(p); name == "heating" && b.set.Period.Seconds()*float64(then) < knownS {
					into("heating, told in the first 3 min").add(p.MeltC - told[i][then])
				} else {
					into(name).add(p.MeltC - told[i][then])
				}
			}
			if b.seconds += b.set.Period.Seconds(); b.frame.Ready && math.IsInf(endS, 1) {
				endS = b.seconds + 1800
			}
		}
		assert.False(t, math.IsInf(endS, 1), names)
	}
	for _, name := range []string{"heating, told in the first 3 min", "heating", "waiting", "curing", "cooling into band", "holding"} {
		t.Logf("%-33s %v", name, *into(name))
	}
	assert.Less(t, into("heating").rms(), 8.0)
	assert.Less(t, into("holding").rms(), 1.5)
}

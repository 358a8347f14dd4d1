package judge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/circuit"
)

// What a relay's years are reckoned for: an ordinary evening, and how many of them there are
// (E), and a life that makers of small power relays often give at full load (C, no source).
const (
	eveningMin   = 180.0
	eveningsYear = 3 * 52.0
	usualLife    = 100_000.0
)

// TestNumbersOfWear prints how often a relay closes in an ordinary evening, and how long one
// rated for 100,000 operations lasts, so that a maker can choose window and least-off: three
// pots together on 15 A at 120 V, 25 minutes to heat up and then held. From 20 s on a longer
// window alone saves nothing, because a loop that asks for zero has it at once; the shortest
// off does.
func TestNumbersOfWear(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds")
	}
	t.Parallel()
	const heatUpMin, holdMin = 25.0, 20.0
	before := math.Inf(1)
	for _, c := range []struct{ window, leastOff time.Duration }{
		{2 * time.Second, 0}, {20 * time.Second, 0}, {20 * time.Second, 10 * time.Second}, {40 * time.Second, 20 * time.Second},
	} {
		b := togetherOn(t, circuit.Switched, c.window, 3, "quarter, cast", "slow probes", "quarter, thin")
		for i := range b.set.Pots {
			b.set.Pots[i].LeastOff = c.leastOff
		}
		b.bench = control.NewBench(b.set)
		b.run((heatUpMin+holdMin)*60, heatUpMin*60)
		least, most, evening, worst, over := math.Inf(1), 0.0, 0.0, 0.0, 0.0
		for _, p := range b.pots {
			hour := float64(p.times) * 60 / holdMin
			least, most, worst, over = min(least, hour), max(most, hour), max(worst, math.Sqrt(p.about/p.n)), max(over, p.overC)
			evening = max(evening, float64(p.closed-p.times)+hour*(eveningMin-heatUpMin)/60)
		}
		t.Logf("window %v, least-off %v: a held pot's relay closes %.0f to %.0f times an hour, at most %.0f times in an evening of 3 h; 100000 operations last %.1f years of three evenings a week; hold RMS at most %.3f °C, at most %.2f °C over",
			c.window, c.leastOff, least, most, evening, usualLife/evening/eveningsYear, worst, over)
		assert.Less(t, evening, before, "it wears less")
		assert.Less(t, worst, 0.5, "and holds")
		before = evening
	}
}

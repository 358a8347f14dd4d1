package judge_test

import (
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// arrival is how three raw pots on one circuit came to be ready.
type arrival struct {
	readyS  [3]float64
	commonS float64
	hotS    float64 // pot-seconds above 150 °C
}

// way is what was told at a time of how long a pot still needs.
type way struct{ atS, saysS float64 }

// parties are pots that are brought to ready together.
var parties = [][3]string{
	{"quarter, cast", "slow probes", "quarter, thin"},
	{"small, weak, thin", "quarter, cast", "glass cup"},
	{"small, strong, fast", "half, weak", "noisy probes"},
	{"stiff gel", "great losses", "unseen layer"},
	{"oil bath", "two-part plate", "seldom stirred"},
	{"half, heavy cast", "small, weak, thin", "quarter, thin"},
}

// raw is a bench of three raw pots on 15 A at 120 V.
func raw(t *testing.T, specs []zoo.Spec, names [3]string) *together {
	b := togetherOn(t, circuit.Smooth, 0, 3, names[0], names[1], names[2])
	for i := range b.plants {
		for k := range specs {
			if specs[k].Name == names[i] {
				b.plants[i] = zoo.New(&specs[k], zoo.Start{})
			}
		}
		p := &b.set.Pots[i]
		p.CureC, p.Dwell, p.SteadyFor, p.StirWithin = judge.CureC-1, 90*time.Second, 20*time.Second, 45*time.Second
	}
	b.bench = control.NewBench(b.set)
	return b
}

// tended is a cycle in which a hand ticks clear what asks for it, and stirs every half
// minute.
func (b *together) tended(n int) {
	b.in.Commands = b.in.Commands[:0]
	for i := range b.frame.Pots {
		if b.frame.Pots[i].Wait == control.WaitClear {
			b.in.Commands = append(b.in.Commands, control.Command{Kind: control.TickClear, Pot: i})
		}
		if n%150 == 0 {
			b.in.Commands = append(b.in.Commands, control.Command{Kind: control.Stir, Pot: i})
		}
	}
	b.cycle(n)
}

// arrive lets a bench bring three raw pots from cold to ready.
func arrive(t *testing.T, specs []zoo.Spec, names [3]string) arrival {
	b := raw(t, specs, names)
	inf := math.Inf(1)
	a := arrival{readyS: [3]float64{inf, inf, inf}, commonS: inf}
	for n := 0; b.seconds < 5400 && math.IsInf(a.commonS, 1); n++ {
		b.tended(n)
		for i := range b.plants {
			f := &b.frame.Pots[i]
			if f.State == control.Ready {
				a.readyS[i] = min(a.readyS[i], b.seconds)
			}
			if b.plants[i].BulkC() > 150 {
				a.hotS += b.set.Period.Seconds()
			}
		}
		if b.frame.Ready {
			a.commonS = b.seconds
		}
		b.count(n, false)
		b.seconds += b.set.Period.Seconds()
	}
	assert.Zero(t, b.over)
	assert.Zero(t, b.above)
	return a
}

// TestNumbersOfArrival prints how three pots come to be ready together: when each was,
// when all were, the pot-seconds above 150 °C, and beside them the slowest pot's own
// limit with the dwell, as if it had the circuit to itself.
func TestNumbersOfArrival(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated evenings")
	}
	specs := zoo.Named()
	alone := func(name string) float64 {
		for _, p := range named() {
			if p.Spec.Name == name {
				return p.Limit[judge.HeatUp].IntoS + 90 + p.Limit[judge.Cool].IntoS + 20
			}
		}
		return math.NaN()
	}
	var spread, ratio []float64
	t.Log("                                                               ready after, s   all  spread  hot pot-s  slowest alone")
	for _, names := range parties {
		a := arrive(t, specs, names)
		r := &a.readyS
		limit := max(alone(names[0]), alone(names[1]), alone(names[2]))
		apart := max(r[0], r[1], r[2]) - min(r[0], r[1], r[2])
		spread, ratio = append(spread, apart), append(ratio, a.commonS/limit)
		t.Logf("%-20s %-20s %-18s %4.0f %4.0f %4.0f  %4.0f  %6.0f  %9.0f  %7.0f", names[0], names[1], names[2], r[0], r[1], r[2], a.commonS, apart, a.hotS, limit)
	}
	t.Logf("all ready ÷ the slowest alone: median %.2f, worst %.2f; spread: median %.0f s, worst %.0f s", at(median, ratio), at(worst, ratio), at(median, spread), at(worst, spread))
	assert.Less(t, at(median, ratio), 1.5)
	assert.Less(t, at(median, spread), 120.0)
	assert.Less(t, at(worst, spread), 300.0)
}

// TestNumbersOfTheWay prints how well a loop says in a first heat-up how long it still
// takes to the cure temperature, in shares of the whole.
func TestNumbersOfTheWay(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of simulated evenings")
	}
	shares := []float64{0.25, 0.5, 0.75}
	groups := map[string][]*judge.Pot{"named": named()}
	if os.Getenv("JUDGE_SEEDS") != "" {
		groups["random"], _ = judge.RandomPots(2*len(named()), firstSeed)
	}
	for name, pots := range groups {
		off := make([][]float64, len(shares))
		for _, p := range pots {
			for i, x := range wayTold(p, shares) {
				off[i] = append(off[i], x)
			}
		}
		for i, share := range shares {
			t.Logf("%-6s told after %2.0f %%: off by %2.0f %% in the median, %3.0f %% in 9 of 10", name, 100*share, 100*at(median, off[i]), 100*at(ninety, off[i]))
		}
		assert.Less(t, at(ninety, off[2]), 0.2)
	}
}

// wayTold is how far off the word was, after shares of a heat-up, of how long it takes.
func wayTold(p *judge.Pot, shares []float64) (off []float64) {
	var loop rig.Loop
	var told []way
	maker := func(k rig.Known) rig.Loop { loop = judge.Ours(k); return loop }
	o := rig.Usual()
	o.See = func(atS float64, pl *zoo.Plant, v *rig.View, _ float64) {
		if v.TargetC == judge.CureC && math.Mod(atS, 5) < 0.1 && (len(told) == 0 || atS > told[len(told)-1].atS) {
			told = append(told, way{atS, judge.Ready(loop, toCure(pl.Spec().PlateLimitC), nil).S})
		}
	}
	intoS := p.Run(maker, o, firstSeed)[judge.HeatUp].IntoS
	for _, w := range told {
		if len(off) < len(shares) && w.atS >= shares[len(off)]*intoS {
			off = append(off, math.Abs(w.atS+w.saysS-intoS)/intoS)
		}
	}
	return off
}

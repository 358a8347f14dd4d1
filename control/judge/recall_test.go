package judge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"meltwarden/control/cascade"
	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
	"meltwarden/control/loop"
	"meltwarden/control/model"
)

// What a second evening may begin with: nothing, as a first heat; what the same pot has
// left; what another pot has left, under this one's name.
const (
	asFirst = iota
	asKnown
	asWrong
	memories
)

var memoryNames = [memories]string{"first heat", "known", "wrong pot's"}

// again is how second evenings went with one kind of memory.
type again struct {
	heat, over, cold, overCold []float64 // times over the limit's, kelvin
	// way is how far off the word after a quarter was, of the heat-up; recalledWay where it
	// went by what was known, and seenWay of those where the probe sees all of the melt.
	way, recalledWay, seenWay []float64
}

// secondSeed keeps the seeds of second evenings apart from those of first ones.
const secondSeed = firstSeed + 500

// leaves is what an evening with a pot leaves; nil is nothing.
func leaves(p *judge.Pot, seed uint64) *loop.Known {
	var l rig.Loop
	p.Run(func(k rig.Known) rig.Loop { l = judge.Ours(k); return l }, rig.Usual(), seed)
	if k, is := judge.Left(l); is {
		return &k
	}
	return nil
}

// refilled is the same vessel with up to 30 % more or less in it.
func refilled(s zoo.Spec, seed uint64) *judge.Pot {
	share := 0.7 + 0.6*rand.New(rand.NewPCG(seed, uint64(s.VolumeML))).Float64()
	s.VolumeML, s.DepthM = share*s.VolumeML, share*s.DepthM
	return judge.NewPot(s)
}

// under is what one pot left as if another of this heater and limit had: of any other
// nothing would be recalled.
func under(k *loop.Known, s *zoo.Spec) *loop.Known {
	if k == nil {
		return nil
	}
	other := *k
	other.Model.Pot.HeaterW, other.PlateLimitC = s.RatedW, s.PlateLimitC
	return &other
}

// add lets a pot have an evening that begins with what was left.
func (a *again) add(p *judge.Pot, left *loop.Known, seed uint64) {
	out, after := toldWay(p, judge.Recalling(left), seed, 0.25)
	h, c := &out[judge.HeatUp], &out[judge.Cold]
	a.heat, a.over = append(a.heat, h.IntoS/p.Limit[judge.HeatUp].IntoS), append(a.over, h.OverC)
	a.cold, a.overCold = append(a.cold, c.IntoS/p.Limit[judge.Cold].IntoS), append(a.overCold, c.OverC)
	w := after[0]
	if a.way = append(a.way, w.off); w.recalled {
		a.recalledWay = append(a.recalledWay, w.off)
		if p.Spec.Layer.Share == 0 {
			a.seenWay = append(a.seenWay, w.off)
		}
	}
}

// word is what a loop said of the way to its cure temperature, and how far off that was,
// of the whole heat-up; recalled where it went by what had been recalled.
type word struct {
	way
	off      float64
	recalled bool
}

// toldWay is an evening, and the first word after each share of its heat-up.
func toldWay(p *judge.Pot, maker judge.Maker, seed uint64, shares ...float64) (out []rig.Outcome, after []word) {
	return toldIn(p, maker, seed, judge.Evening(), shares...)
}

// toldIn is the same in phases that begin with the heat-up.
func toldIn(p *judge.Pot, maker judge.Maker, seed uint64, phases []rig.Phase, shares ...float64) (out []rig.Outcome, after []word) {
	var l rig.Loop
	var told []word
	o := rig.Usual()
	o.See = func(atS float64, pl *zoo.Plant, v *rig.View, _ float64) {
		if v.TargetC == judge.CureC && math.Mod(atS, 5) < 0.1 && (len(told) == 0 || atS > told[len(told)-1].atS) {
			said := way{atS, judge.Ready(l, toCure(pl.Spec().PlateLimitC), nil).S}
			told = append(told, word{way: said, recalled: judge.Recalled(l)})
		}
	}
	out = p.Hold(func(k rig.Known) rig.Loop { l = maker(k); return l }, o, seed, phases)
	intoS := out[judge.HeatUp].IntoS
	for _, w := range told {
		if len(after) < len(shares) && w.atS >= shares[len(after)]*intoS {
			w.off = math.Abs(w.atS+w.saysS-intoS) / intoS
			after = append(after, w)
		}
	}
	return out, after
}

// toCure is the way of raw paste to its cure temperature. It has a dwell, however short:
// without one it would count as cured already.
func toCure(plateLimitC float64) model.Journey {
	return model.Journey{CureC: judge.CureC - 1, HeldC: judge.CureC, DwellS: 1, PourC: judge.CureC, BandC: 1, PlateC: plateLimitC - cascade.MarginC}
}

func (a *again) log(t *testing.T, name string) {
	recalled := "-"
	if len(a.seenWay) > 0 {
		within := 0
		for _, off := range a.seenWay {
			if off <= 0.1 {
				within++
			}
		}
		recalled = fmt.Sprintf("%s  %s, within 10 %%: %d of %d", percents(a.recalledWay), percents(a.seenWay), within, len(a.seenWay))
	}
	t.Logf("%-12s %5.3f %5.2f %5.2f  %5.2f %5.2f  %5.2f %5.2f %5.2f  %5.2f  %s  %3d of %3d  %s", name,
		at(median, a.heat), at(ninety, a.heat), at(worst, a.heat), at(median, a.over), at(worst, a.over),
		at(median, a.cold), at(ninety, a.cold), at(worst, a.cold), at(worst, a.overCold), percents(a.way),
		len(a.recalledWay), len(a.way), recalled)
}

// TestNumbersOfRecall prints a second evening with a pot, of another volume and with
// another seed, beside what it is as a first heat and with what another pot has left.
func TestNumbersOfRecall(t *testing.T) {
	if testing.Short() {
		t.Skip("sixty simulated evenings")
	}
	t.Parallel()
	pots, n := named(), seeds(t)
	left := make([]*loop.Known, len(pots))
	of := make([][memories]again, len(pots))
	sideBySide(pots, func(i int, p *judge.Pot) { left[i] = leaves(p, firstSeed) })
	sideBySide(pots, func(i int, p *judge.Pot) {
		s := &p.Spec
		for k := range n {
			seed := secondSeed + k
			filled, another := refilled(*s, seed), left[(i+1+int(seed)%(len(pots)-1))%len(pots)]
			of[i][asFirst].add(filled, nil, seed)
			of[i][asKnown].add(filled, left[i], seed)
			of[i][asWrong].add(filled, under(another, s), seed)
		}
	})
	var all [memories]again
	leftNone := 0
	for i := range of {
		if left[i] == nil {
			t.Logf("%s left nothing: it was doubted on its way", pots[i].Spec.Name)
			leftNone++
		}
		for m := range all {
			all[m].join(&of[i][m])
		}
		assert.Less(t, at(worst, of[i][asWrong].heat), 1.15*at(worst, of[i][asFirst].heat), "%s with another pot's memory", pots[i].Spec.Name)
		assert.Less(t, at(worst, of[i][asWrong].over), 1.0, "%s with another pot's memory", pots[i].Spec.Name)
	}
	t.Log("\n             heat-up ÷ limit    over °C      20 mL cold ÷ limit over   told after 1/4  of those that recalled, and of those without an unseen layer\n" +
		"             med   90 %  worst  med   worst  med   90 %  worst  worst  off med, 90 %               off med, 90 %  med, 90 %")
	for m, name := range memoryNames {
		all[m].log(t, name)
	}
	first, known := &all[asFirst], &all[asKnown]
	assert.LessOrEqual(t, leftNone, 3)
	var slower []float64
	for i, x := range known.heat {
		slower = append(slower, x/first.heat[i])
	}
	t.Logf("heat-up, known ÷ first heat: median %.3f, 90 %% %.2f, worst %.2f", at(median, slower), at(ninety, slower), at(worst, slower))
	assert.LessOrEqual(t, at(median, slower), 1.005)
	assert.LessOrEqual(t, at(median, known.over), at(median, first.over)+0.02)
	assert.Less(t, at(median, known.recalledWay), 0.1)
	assert.Less(t, at(ninety, known.seenWay), 0.15)
	assert.Less(t, at(ninety, known.recalledWay), 0.25)
}

// join adds the evenings of another pot.
func (a *again) join(b *again) {
	a.heat, a.over = append(a.heat, b.heat...), append(a.over, b.over...)
	a.cold, a.overCold = append(a.cold, b.cold...), append(a.overCold, b.overCold...)
	a.way, a.recalledWay = append(a.way, b.way...), append(a.recalledWay, b.recalledWay...)
	a.seenWay = append(a.seenWay, b.seenWay...)
}

func percents(xs []float64) string {
	return fmt.Sprintf("%3.0f %% %3.0f %%", 100*at(median, xs), 100*at(ninety, xs))
}

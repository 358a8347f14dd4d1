package judge_test

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// seeds is how many seeds every pot is judged with: JUDGE_SEEDS, or three.
func seeds(t *testing.T) uint64 {
	t.Helper()
	n, err := strconv.ParseUint(os.Getenv("JUDGE_SEEDS"), 10, 16)
	if os.Getenv("JUDGE_SEEDS") == "" {
		return 3
	}
	require.NoError(t, err, "JUDGE_SEEDS")
	return n
}

// named are the named pots with their limits, found once.
var named = sync.OnceValue(func() []*judge.Pot { return judge.NewPots(zoo.Named()) })

// firstSeed keeps what is judged apart from what anybody tunes with.
const firstSeed = 1000

// row gathers the evenings of one pot or of many.
type row struct {
	heat, cool, cold                              []float64 // times over the limit's
	over, plate, hold, swing, overCold, coolUnder []float64
}

func (r *row) add(p *judge.Pot, o []rig.Outcome) {
	h, c, d := &o[judge.HeatUp], &o[judge.Cool], &o[judge.Cold]
	r.heat = append(r.heat, h.IntoS/p.Limit[judge.HeatUp].IntoS)
	r.cool = append(r.cool, c.IntoS/p.Limit[judge.Cool].IntoS)
	r.cold = append(r.cold, d.IntoS/p.Limit[judge.Cold].IntoS)
	r.over = append(r.over, h.OverC)
	r.overCold = append(r.overCold, d.OverC)
	r.coolUnder = append(r.coolUnder, c.UnderC)
	hold := &o[judge.Hold]
	r.hold = append(r.hold, hold.RMSC)
	r.swing = append(r.swing, math.Sqrt(math.Max(0, hold.RMSC*hold.RMSC-hold.MeanC*hold.MeanC)))
	for _, x := range o {
		r.plate = append(r.plate, x.PlateOverC)
	}
}

// at is the value that a share of all do not exceed.
func at(share float64, xs []float64) float64 {
	s := slices.Sorted(slices.Values(xs))
	return s[int(math.Ceil(share*float64(len(s))))-1]
}

const (
	median = 0.5
	ninety = 0.9
	worst  = 1.0
)

func (r *row) log(t *testing.T, name string) {
	t.Logf("%-20s %5.2f %5.2f %5.2f  %5.2f %5.2f  %5.2f  %5.3f %5.3f %5.3f  %5.2f %5.2f %5.2f  %5.2f %5.2f  %5.2f %5.2f %5.2f", name,
		at(median, r.heat), at(ninety, r.heat), at(worst, r.heat),
		at(median, r.over), at(worst, r.over), at(worst, r.plate),
		at(median, r.hold), at(worst, r.hold), at(worst, r.swing),
		at(median, r.cold), at(ninety, r.cold), at(worst, r.cold), at(median, r.overCold), at(worst, r.overCold),
		at(median, r.cool), at(worst, r.cool), at(worst, r.coolUnder))
}

// The hold's RMS is about the target, and in its last column about its own mean:
// without what the probe reads wrong.
const head = "                     heat-up ÷ limit    over °C      plate  hold RMS °C        20 mL cold ÷ limit  over °C      cool ÷ limit under\n" +
	"                     med   90 %  worst  med   worst  worst  med   worst own    med   90 %  worst  med   worst  med   worst worst"

func judgeAll(t *testing.T, pots []*judge.Pot, o rig.Options, n uint64, each bool, all *row) {
	for _, p := range pots {
		var one row
		for seed := range n {
			out := p.Run(judge.FromCascade, o, firstSeed+seed)
			one.add(p, out)
			all.add(p, out)
		}
		if each {
			one.log(t, p.Spec.Name)
		}
	}
}

// TestNumbersOfTheLimits prints how fast the named pots could be.
func TestNumbersOfTheLimits(t *testing.T) {
	if testing.Short() {
		t.Skip("the limits of fifteen pots take some seconds")
	}
	t.Log("pot                    mL  true W  τ melt s  limit, s: to 172 °C  cut at  172 to 165 °C  20 mL cold")
	for _, p := range named() {
		s := &p.Spec
		heat, cool, cold := p.Limit[judge.HeatUp], p.Limit[judge.Cool], p.Limit[judge.Cold]
		t.Logf("%-20s %4.0f  %6.0f  %8.0f  %19.0f  %6.0f  %13.0f  %10.0f", s.Name, s.VolumeML, s.TrueW(), s.MeltTauS(),
			heat.IntoS, heat.CutS, cool.IntoS, cold.IntoS)
		assert.LessOrEqual(t, heat.PlateC, s.PlateLimitC+0.05)
		assert.LessOrEqual(t, heat.OverC, rig.BandC+0.05)
	}
}

// TestNumbersOfTheCascade prints what today's loop comes to on the named pots, with
// readings that are late and lost, behind a relay's windows, and on random pots, two
// for each seed. No loop may be faster than the limit but by what its own start of a
// phase was the better one.
func TestNumbersOfTheCascade(t *testing.T) {
	if testing.Short() {
		t.Skip("a hundred simulated evenings take some seconds")
	}
	n := seeds(t)
	pots := named()
	t.Log("\n" + head)
	var usual, late, relay, solid, drawn row
	judgeAll(t, pots, rig.Usual(), n, true, &usual)
	usual.log(t, "all named")
	judgeAll(t, pots, rig.Late(), (n+2)/3, false, &late)
	late.log(t, "0.3 s old, 2 % lost")
	judgeAll(t, pots, windowed(20*time.Second), (n+2)/3, false, &relay)
	relay.log(t, "window of 20 s")
	judgeAll(t, pots, windowed(2*time.Second), (n+2)/3, false, &solid)
	solid.log(t, "window of 2 s")
	for _, r := range []*row{&relay, &solid} {
		assert.LessOrEqual(t, at(worst, r.swing), 0.10, "what a window makes of the hold")
	}
	random, refused := judge.RandomPots(2*int(n), firstSeed)
	judgeAll(t, random, rig.Usual(), (n+2)/3, false, &drawn)
	drawn.log(t, "random")
	t.Logf("%d random pots; %d more were too slow for any loop", len(random), refused)
	for _, r := range []*row{&usual, &late, &drawn} {
		assert.GreaterOrEqual(t, slices.Min(r.heat), 1.0, "the heat-up")
		assert.GreaterOrEqual(t, slices.Min(slices.Concat(r.cool, r.cold)), 0.95, "the other phases")
	}
}

func windowed(d time.Duration) rig.Options {
	o := rig.Usual()
	o.Window = d
	return o
}

// caseRow gathers one case over many pots.
type caseRow struct{ ratio, into, limit, over, under, plate []float64 }

// atLeastS is the shortest limit that a ratio to it says anything of.
const atLeastS = 20.0

func (r *caseRow) add(limitS float64, o rig.Outcome) {
	if limitS >= atLeastS {
		r.ratio = append(r.ratio, o.IntoS/limitS)
	}
	r.limit, r.into = append(r.limit, limitS), append(r.into, o.IntoS)
	r.over, r.under = append(r.over, o.OverC), append(r.under, o.UnderAllC)
	r.plate = append(r.plate, o.PlateOverC)
}

func (r *caseRow) log(t *testing.T, name string) {
	ratio := "    -     -"
	if len(r.ratio) > 0 {
		ratio = fmt.Sprintf("%5.2f %5.2f", at(median, r.ratio), at(worst, r.ratio))
	}
	t.Logf("%-22s %4.0f %4.0f  %4.0f %4.0f  %s  %5.2f %5.2f  %5.1f %5.1f  %5.1f", name,
		at(median, r.limit), at(worst, r.limit), at(median, r.into), at(worst, r.into), ratio,
		at(median, r.over), at(worst, r.over), at(median, r.under), at(worst, r.under), at(worst, r.plate))
}

// TestNumbersOfCases prints how today's loop comes through every arrival and upset:
// with JUDGE_SEEDS on all named pots, otherwise on two of them with one seed.
func TestNumbersOfCases(t *testing.T) {
	if testing.Short() {
		t.Skip("a hundred simulated evenings take some seconds")
	}
	pots, n := named(), seeds(t)
	if os.Getenv("JUDGE_SEEDS") == "" {
		pots, n = []*judge.Pot{pots[2], pots[12]}, 1
	}
	t.Log("\n                       limit, s   in band, s  ÷ limit      over °C      under °C     plate\n" +
		"                       med worst  med worst  med   worst  med   worst  med   worst  worst")
	for _, c := range judge.Cases() {
		var r caseRow
		for _, p := range pots {
			limitS := p.LimitOf(&c).IntoS
			for seed := range n {
				r.add(limitS, p.RunCase(&c, judge.FromCascade, rig.Usual(), firstSeed+seed))
			}
		}
		r.log(t, c.Name)
	}
}

package judge_test

import (
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

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

// firstSeed keeps what is judged apart from what anybody tunes with.
const firstSeed = 1000

// row gathers the evenings of one pot or of many.
type row struct {
	heat, cool, cold                                []float64 // times over the limit's
	over, overLate, plate, hold, mean, overCold, cu []float64
}

func (r *row) add(p *judge.Pot, o []rig.Outcome) {
	h, c, d := &o[judge.HeatUp], &o[judge.Cool], &o[judge.Cold]
	r.heat = append(r.heat, h.IntoS/p.Limit[judge.HeatUp].IntoS)
	r.cool = append(r.cool, c.IntoS/p.Limit[judge.Cool].IntoS)
	r.cold = append(r.cold, d.IntoS/p.Limit[judge.Cold].IntoS)
	r.over = append(r.over, h.OverC)
	r.overCold = append(r.overCold, d.OverC)
	r.cu = append(r.cu, c.UnderC)
	r.hold = append(r.hold, o[judge.Hold].RMSC)
	r.mean = append(r.mean, o[judge.Hold].MeanC)
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
	t.Logf("%-20s %5.2f %5.2f %5.2f  %5.2f %5.2f  %5.2f  %5.3f %5.3f  %5.2f %5.2f %5.2f  %5.2f %5.2f  %5.2f %5.2f %5.2f", name,
		at(median, r.heat), at(ninety, r.heat), at(worst, r.heat),
		at(median, r.over), at(worst, r.over), at(worst, r.plate),
		at(median, r.hold), at(worst, r.hold),
		at(median, r.cold), at(ninety, r.cold), at(worst, r.cold), at(median, r.overCold), at(worst, r.overCold),
		at(median, r.cool), at(worst, r.cool), at(worst, r.cu))
}

const head = "                     heat-up ÷ limit    over °C      plate  hold RMS °C  20 mL cold ÷ limit  over °C      cool ÷ limit under\n" +
	"                     med   90 %  worst  med   worst  worst  med   worst  med   90 %  worst  med   worst  med   worst worst"

func judgeAll(t *testing.T, pots []*judge.Pot, o rig.Options, each bool, all *row) {
	for _, p := range pots {
		var one row
		for seed := range seeds(t) {
			out := p.Run(judge.FromCascade(p.Known()), o, firstSeed+seed)
			one.add(p, out)
			all.add(p, out)
		}
		if each {
			one.log(t, p.Spec.Name)
		}
	}
}

// TestNumbersOfTheCascade prints what today's loop comes to on the named pots and on
// random ones, four for each seed.
func TestNumbersOfTheCascade(t *testing.T) {
	t.Log("\n" + head)
	var named, drawn row
	judgeAll(t, judge.NewPots(zoo.Named()), rig.Usual(), true, &named)
	named.log(t, "all named")
	judgeAll(t, judge.RandomPots(4*int(seeds(t)), firstSeed), rig.Usual(), false, &drawn)
	drawn.log(t, "random")
}

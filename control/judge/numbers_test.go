package judge_test

import (
	"math"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/control/judge"
	"meltwarden/control/judge/rig"
	"meltwarden/control/judge/zoo"
)

// seeds is how many seeds every pot is judged with: JUDGE_SEEDS, or one.
func seeds(t *testing.T) uint64 {
	t.Helper()
	if !full() {
		return 1
	}
	n, err := strconv.ParseUint(os.Getenv("JUDGE_SEEDS"), 10, 16)
	require.NoError(t, err, "JUDGE_SEEDS")
	return n
}

// named are the named pots with their limits, found once.
var named = sync.OnceValue(func() []*judge.Pot { return judge.NewPots(zoo.Named()) })

// full reports whether all is judged, and not only what takes some seconds.
func full() bool { return os.Getenv("JUDGE_SEEDS") != "" }

// firstSeed keeps what is judged apart from what anybody tunes with.
const firstSeed = 1000

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

// sideBySide does something with every pot, as many at a time as there are processors.
func sideBySide(pots []*judge.Pot, do func(i int, p *judge.Pot)) {
	var all sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, p := range pots {
		all.Go(func() {
			slots <- struct{}{}
			defer func() { <-slots }()
			do(i, p)
		})
	}
	all.Wait()
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

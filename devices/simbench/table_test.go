package simbench

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"meltwarden/devices/simbench/physics"
)

// figures are what one sampled pot comes to.
type figures struct {
	plateTo200            time.Duration
	meltTo170             time.Duration // with the plate at no more than 230 °C
	meltTau               time.Duration // towards a plate that is held
	plateJK, meltJK       float64
	lossW, restingOffsetC float64
}

// judged is a pot in a still room at 20 °C, stirred every 50 s.
type judged struct {
	*physics.Pot
	at time.Duration
}

func newJudged(s physics.PotSpec) *judged { return &judged{Pot: physics.NewPot(s, 20)} }

func (p *judged) run(span time.Duration, powerW func() float64) {
	for end := p.at + span; p.at < end; p.at += physics.Step {
		if p.at%(50*time.Second) == 0 {
			p.Stir()
		}
		p.Step(powerW(), physics.Air{C: 20})
	}
}

// measure holds the melt at 170 °C by what nobody but a judge knows, and reads
// off what that takes.
func measure(s physics.PotSpec) figures {
	f := figures{
		plateJK: s.PlateJK + s.ElementJK,
		meltJK:  s.VolumeML / 1000 * physics.DensityKGL * s.MeltJKgK,
	}
	fullW := s.HeaterW * s.HeaterGain
	cold := newJudged(s)
	for cold.PlateC() < 200 {
		cold.run(physics.Step, func() float64 { return fullW })
		f.plateTo200 += physics.Step
	}
	quick := newJudged(s)
	limited := func() float64 {
		if quick.PlateC() < 230 {
			return fullW
		}
		return 0
	}
	for quick.MeltC() < 170 && quick.at < time.Hour {
		quick.run(time.Second, limited)
	}
	f.meltTo170 = quick.at
	p := newJudged(s)
	hold := func() float64 { // slow enough to be smooth, far too slow for a daemon
		target := 170 + 1.5*(170-p.MeltC())
		return max(0, min(fullW, 60*(min(target+20, 230)-p.PlateC())))
	}
	p.run(time.Hour, hold)
	const span = 50 * time.Minute
	before := p.Ledger().LostJ
	var offset, n float64
	p.run(span, func() float64 {
		offset += p.PlateC() - p.MeltC()
		n++
		return hold()
	})
	f.lossW = (p.Ledger().LostJ - before) / span.Seconds()
	f.restingOffsetC = offset / n

	// The plate is let fall by 20 °C and held; the melt follows.
	start, low := p.MeltC(), p.PlateC()-20
	lower := func() float64 { return max(0, min(fullW, 60*(low+5-p.PlateC()))) }
	p.run(time.Hour, lower)
	end := p.MeltC()
	back := func() float64 { return max(0, min(fullW, 200*(low+20-p.PlateC()))) }
	for p.MeltC() < end+(start-end)*(1-1/math.E) && f.meltTau < time.Hour {
		p.run(10*time.Second, back)
		f.meltTau += 10 * time.Second
	}
	return f
}

// TestSampledBenchesDiffer prints what the benches of the first seeds are like,
// and holds them to what a pot on a hot plate can be (estimates).
func TestSampledBenchesDiffer(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine: it has nothing to race")
	}
	t.Log("seed pot    20-200 °C  170 °C at  melt tau  plate J/K  melt J/K  loss@170 W  plate-melt °C")
	seen := map[time.Duration]bool{}
	for seed := uint64(1); seed <= 5; seed++ {
		for i, pot := range demoPots() {
			source := rand.New(rand.NewPCG(seed, uint64(streamPots+3*i)))
			f := measure(physics.Sample(physics.Nominal(pot.VolumeML, pot.HeaterW, pot.Plate), source))
			t.Logf("%4d %-6s %7.0f s %5.1f min %7.0f s %9.0f %9.0f %10.0f %12.1f", seed, pot.Name,
				f.plateTo200.Seconds(), f.meltTo170.Minutes(), f.meltTau.Seconds(), f.plateJK, f.meltJK, f.lossW, f.restingOffsetC)
			require.False(t, seen[f.plateTo200])
			seen[f.plateTo200] = true
			require.Greater(t, f.meltTo170, 8*time.Minute)
			require.Less(t, f.meltTo170, 25*time.Minute)
			require.Greater(t, f.lossW, 30.0)
			require.Less(t, f.lossW, 250.0)
			require.Greater(t, f.restingOffsetC, 5.0)
			require.Less(t, f.restingOffsetC, 60.0)
		}
	}
}

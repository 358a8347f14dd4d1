package physics

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var still = Air{C: 20}

func run(p *Pot, span time.Duration, powerW float64, air Air) {
	for at := time.Duration(0); at < span; at += Step {
		p.Step(powerW, air)
	}
}

// hot returns a nominal pot of cured melt, all of it at c but for the plate.
func hot(volumeML, c float64) *Pot {
	p := NewPot(Nominal(volumeML, 1000, Cast), c)
	p.hottestC = 175
	return p
}

// slope returns the melt's slope in °C/min over half a minute.
func slope(p *Pot, air Air) float64 {
	before := p.MeltC()
	run(p, 30*time.Second, 0, air)
	return (p.MeltC() - before) * 2
}

func TestEnergyBalanceCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		random := rand.New(rand.NewPCG(seed, 0))
		p := NewPot(Sample(Nominal(250, 1000, PlateKind(seed%2)), random), 20)
		start := p.Ledger().StoredJ
		for range rapid.IntRange(1, 12).Draw(t, "events") {
			switch rapid.IntRange(0, 4).Draw(t, "event") {
			case 0:
				p.Stir()
			case 1:
				p.Lift()
			case 2:
				p.Return()
			case 3:
				p.Add(rapid.Float64Range(0, 50).Draw(t, "mL"), 20)
			}
			air := Air{C: 20, DraughtWM2K: rapid.Float64Range(0, 10).Draw(t, "draught")}
			run(p, 40*time.Second, rapid.Float64Range(0, 1000).Draw(t, "W"), air)
		}
		l := p.Ledger()
		if gap := l.InJ + l.AddedJ - l.LostJ - (l.StoredJ - start); gap > 1e-4 || gap < -1e-4 {
			t.Fatalf("%g J of %g J went missing", gap, l.InJ)
		}
	})
}

func TestNothingHappensAtRoomTemperature(t *testing.T) {
	p := NewPot(Nominal(250, 1000, Cast), 20)
	run(p, time.Hour, 0, still)
	require.InDelta(t, 20, p.MeltC(), 1e-9)
	require.Zero(t, p.Ledger().InJ)
	require.False(t, p.Clear())
}

func TestHeatOfOnePotful(t *testing.T) {
	// Estimate of the trade: a quarter of a litre takes 79 kJ to 175 °C (specific
	// heat about 2.0 kJ/(kg K), ±30 %). The heat of fusing comes on top.
	p := NewPot(Nominal(250, 1000, Cast), 20)
	before := p.melt.storedJ()
	p.Stir()
	timeTo(t, 175, p.MeltC, func() { p.Stir(); p.Step(500, still) })
	require.InEpsilon(t, 79e3, p.melt.storedJ()-before+p.ledger.FusedJ, 0.05)
	require.InDelta(t, 1.3e3, p.ledger.FusedJ, 50, "0.26 kg of 5 kJ/kg")
}

func TestHeatLeftInACastPlate(t *testing.T) {
	// Estimate: a cast plate with its element at 275 °C holds about 60 kJ above
	// the pot's temperature, which comes to tens of degrees in the melt.
	p := hot(250, 170)
	p.plate.c, p.element.c = 275, 275
	above := (p.plate.capacity + p.element.capacity) * (275 - 175)
	require.InEpsilon(t, 60e3, above, 0.15)
	peak := p.MeltC()
	for range int(15 * time.Minute / Step) {
		p.Stir()
		p.Step(0, still)
		peak = max(peak, p.MeltC())
	}
	require.Greater(t, peak, 190.0)
}

func TestSlopesAtPouringTemperature(t *testing.T) {
	// Estimates of ±50 %: -4 °C/min lifted, -7 in a draught.
	tests := []struct {
		name     string
		volumeML float64
		air      Air
		want     float64
	}{
		{"lifted", 250, still, -4},
		{"lifted in a draught", 250, Air{C: 20, DraughtWM2K: 7}, -7},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			p := hot(test.volumeML, 170)
			p.Lift()
			p.Stir()
			run(p, time.Minute, 0, test.air) // until the vessel has fallen below the melt
			p.Stir()
			got := slope(p, test.air)
			t.Logf("%.1f °C/min", got)
			require.InEpsilon(t, test.want, got, 0.3)
		})
	}
}

func TestColdAddition(t *testing.T) {
	// Estimate: 5 mL of colour dips 0.25 L by 3 °C.
	p := hot(250, 170)
	p.Add(5, 20)
	require.InDelta(t, 170-3, p.MeltC(), 0.1)
	// Mixing of equal heat capacities is their mean.
	p = hot(250, 170)
	p.Add(250, 20)
	require.InDelta(t, 95, p.MeltC(), 1e-9)
}

func TestTimeWithTheWallHeld(t *testing.T) {
	// Estimates: with the wall at 200 °C, a quarter of a litre takes 5 min to
	// 175 °C when stirred vigorously, 10 when well, 20 when lightly.
	heatUp := func(stirEvery time.Duration) time.Duration {
		p := NewPot(Nominal(250, 1000, Cast), 20)
		p.hottestC = 175 // without the thick stage, as the estimate
		var at time.Duration
		return timeTo(t, 175, p.MeltC, func() {
			if at%stirEvery == 0 {
				p.Stir()
			}
			at += Step
			p.wall.c = 200
			p.Step(0, still)
		})
	}
	require.InDelta(t, 7.5, heatUp(5*time.Second).Minutes(), 2.5)
	require.InDelta(t, 10, heatUp(50*time.Second).Minutes(), 3)
	require.InDelta(t, 20, heatUp(time.Hour).Minutes(), 6)
}

func TestThickStageStallsRawPlastisolOnce(t *testing.T) {
	s := Nominal(250, 1000, Cast)
	require.Equal(t, 1.0, s.thinness(20))
	require.Equal(t, s.GelShare, s.thinness(100))
	require.Equal(t, 1.0, s.thinness(150))
	last := 1.0
	for c := 20.0; c < 180; c++ {
		require.InDelta(t, last, s.thinness(c), 0.1, "no jump at %g °C", c)
		last = s.thinness(c)
	}
	reheated := hot(250, 100)
	reheated.Stir()
	require.Equal(t, s.StirredWK, reheated.couplingWK())
}

func TestCouplingFadesAfterAStir(t *testing.T) {
	p := hot(250, 170)
	p.Stir()
	stirred := p.couplingWK()
	run(p, p.spec.StirFade, 0, still)
	require.InDelta(t, 0.4+0.6/2.71828, p.couplingWK()/stirred, 1e-3)
	run(p, 10*time.Minute, 0, still)
	require.InDelta(t, 0.4, p.couplingWK()/stirred, 1e-3)
}

func TestClearsOnlyHotAndInTime(t *testing.T) {
	clears := func(c float64) float64 { return Nominal(250, 1000, Cast).ClearAfter.Seconds() / clearingRate(c) }
	require.InDelta(t, 75, clears(170), 1e-9)
	// Arrhenius, 150 kJ/mol: the rate grows 1.65 times for 10 °F (estimate).
	require.InEpsilon(t, 1.65, clearingRate(350.0*5/9-160.0/9)/clearingRate(340.0*5/9-160.0/9), 0.02)
	require.Greater(t, clears(120), 3600.0, "a clear paste at best")
}

func TestSampledPotsStayWithinTheirRanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nominal := Nominal(250, 1000, Thin)
		s := Sample(nominal, rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)))
		within := func(name string, got, nominal, share float64) {
			if r := got / nominal; r < 1-share || r > 1+share {
				t.Fatalf("%s: %g times nominal", name, r)
			}
		}
		within("plate", s.PlateJK, nominal.PlateJK, 0.2)
		within("stirring", s.StirredWK, nominal.StirredWK, 0.3)
		within("lag", s.MeltProbe.Lag.Seconds(), nominal.MeltProbe.Lag.Seconds(), 0.5)
		within("power", s.HeaterGain, 0.98, 0.05)
		if s.MeltProbe.OffsetC < -2.5 || s.MeltProbe.OffsetC > 2.5 {
			t.Fatalf("offset %g °C is outside class 2", s.MeltProbe.OffsetC)
		}
		if s.HeaterW != nominal.HeaterW {
			t.Fatal("the rating is what the plate says")
		}
	})
}

func TestPulledProbeFallsThreeDegreesASecond(t *testing.T) {
	// Estimate of the trade for a bare probe at 170 °C.
	p := NewProbe(Nominal(250, 1000, Cast).MeltProbe, 170, nil)
	p.Pull(true)
	for range int(time.Second / Step) {
		p.Step(170, 20)
	}
	require.InDelta(t, 170-3, p.c, 0.2)
}

func TestProbeDeadTimeLagAndReading(t *testing.T) {
	s := ProbeSpec{Lag: 2 * time.Second, Dead: time.Second, AirLag: time.Minute, OffsetC: 1.1}
	p := NewProbe(s, 20, rand.New(rand.NewPCG(1, 1)))
	step := func(span time.Duration) {
		for at := time.Duration(0); at < span; at += Step {
			p.Step(120, 20)
		}
	}
	step(time.Second)
	require.Equal(t, 20.0, p.c, "nothing before the dead time is over")
	step(2 * time.Second)
	require.InDelta(t, 20+100*0.632, p.c, 0.1, "63.2 % after one time constant")
	step(time.Minute)
	mean, n := 0.0, 4000
	for range n {
		c := p.Read(0)
		require.Zero(t, c*4-float64(int(c*4)), "steps of 0.25 °C")
		mean += c / float64(n)
	}
	require.InDelta(t, 121.1, mean, 0.02, "the offset is in every reading")
}

func TestMainsStaysWithinItsStandard(t *testing.T) {
	// EN 50160: ±10 % of the nominal voltage.
	for seed := range uint64(20) {
		m := NewMains(rand.New(rand.NewPCG(seed, 2)))
		for range int(time.Hour / Step) {
			m.Step()
			require.InDelta(t, 1, m.now, 0.1)
		}
	}
}

package zoo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// everything is all that can happen, a minute apart.
func everything() (events []Event) {
	for i, u := range Upsets() {
		for _, e := range u.Events {
			e.AtS += float64(60 * i)
			events = append(events, e)
		}
	}
	return events
}

// run lets a pot be heated and then everything happen to it, for 40 minutes.
func run(p *Plant, from *rand.Rand) {
	events := everything()
	for n := range int(2400 / StepS) {
		for len(events) > 0 && float64(n)*StepS-1200 >= events[0].AtS {
			p.Happen(events[0])
			events = events[1:]
		}
		duty := 0.0
		if meltC, plateC := p.Read(from); plateC < 225 && meltC < 168 {
			duty = 1
		}
		p.Step(duty)
	}
}

func pots(random int) []Spec {
	from := rand.New(rand.NewPCG(1, 2))
	all := Named()
	for range random {
		all = append(all, Sample(from))
	}
	return all
}

// TestEnergyBalance: what came in is stored, fused or lost, whatever happens.
func TestEnergyBalance(t *testing.T) {
	worst := 0.0
	all := pots(15)
	for i := range all {
		p := New(&all[i], Start{})
		begun := p.Ledger().StoredJ
		run(&p, rand.New(rand.NewPCG(3, uint64(i))))
		l := p.Ledger()
		missing := l.StoredJ - begun - (l.InJ + l.AddedJ - l.LostJ - l.FusedJ)
		worst = math.Max(worst, math.Abs(missing)/l.InJ)
		require.Positive(t, l.LostJ)
	}
	fmt.Printf("%d pots: at most %.1g of the heat put in is missing\n", len(all), worst)
	assert.Less(t, worst, 1e-9)
}

// TestACopyGoesOnByItself: a copy comes to the same as the pot, bit for bit, and
// neither touches the other.
func TestACopyGoesOnByItself(t *testing.T) {
	all := pots(5)
	for i := range all {
		p := New(&all[i], Start{})
		run(&p, rand.New(rand.NewPCG(4, 4)))
		before := p
		p2 := p
		run(&p, rand.New(rand.NewPCG(5, 5)))
		assert.Equal(t, before, p2)
		run(&p2, rand.New(rand.NewPCG(5, 5)))
		assert.Equal(t, p, p2)
	}
}

// TestEveryPotCanBe: named and random pots stay within what a small bench has.
func TestEveryPotCanBe(t *testing.T) {
	for _, s := range pots(300) {
		assert.True(t, s.VolumeML >= 150 && s.VolumeML <= 500, "%s: %v mL", s.Name, s.VolumeML)
		assert.True(t, s.RatedW >= 500 && s.RatedW <= 1500, "%s: %v W", s.Name, s.RatedW)
		assert.True(t, s.TypedShare >= 0.9 && s.TypedShare <= 1.1)
		assert.True(t, s.Gain >= 0.92 && s.Gain <= 1.08)
		for _, p := range []ProbeSpec{s.MeltProbe, s.PlateProbe} {
			assert.True(t, p.LagS >= 0.5 && p.LagS <= 8 && p.DeadS >= 0.1 && p.DeadS <= 1.5, "%+v", p)
			assert.True(t, p.NoiseC >= 0.05 && p.NoiseC <= 0.25 && p.StepC >= 0.1 && p.StepC <= 0.25, "%+v", p)
		}
		g := s.Gel
		assert.True(t, 75 <= g.FromC && g.FromC < g.ThickC && g.ThickC < g.UntilC && g.UntilC <= 112 && g.ThinC >= 125 && g.ThinC <= 150, "%+v", g)
	}
}

// TestSameSeedSamePot: a sampler has no other source.
func TestSameSeedSamePot(t *testing.T) {
	a, b := rand.New(rand.NewPCG(7, 7)), rand.New(rand.NewPCG(7, 7))
	for range 50 {
		assert.Equal(t, Sample(a), Sample(b))
	}
}

// TestBlackBody: a black body at 300 K emits 459.3 W/m² into nothing (Stefan-
// Boltzmann law with the CODATA 2018 constant; any handbook of heat transfer).
func TestBlackBody(t *testing.T) {
	s := middle()
	s.RoomC, s.ConvectionWK = -kelvin, 0
	b := newBody(&s, Start{MeltC: 300 - kelvin, PlateC: 300 - kelvin})
	var w [lumps]float64
	assert.InDelta(t, 459.3, b.lossW(&w, melt, 1, 1), 0.05)
}

// TestDips: the trade's rule is -3 °C for 5 mL of colour and -13 °C for 60 g of salt
// in a pot of 0.25 L at 170 °C (estimates of the trade, ±30 %).
func TestDips(t *testing.T) {
	s := middle()
	for _, c := range []struct {
		e     Event
		wantC float64
	}{{Event{Kind: Colour, Amount: 5}, 3}, {Event{Kind: Salt, Amount: 60}, 13}} {
		b := newBody(&s, Start{MeltC: 170, PlateC: 185, Cured: true})
		b.Happen(c.e)
		assert.InEpsilon(t, c.wantC, 170-b.BulkC(), 0.3)
	}
}

// TestLiftedPotCools by about 4 °C a minute at 170 °C, and 7 in a draught
// (estimates of the trade, ±50 %).
func TestLiftedPotCools(t *testing.T) {
	s := middle()
	for _, c := range []struct{ draught, wantC float64 }{{0, 4}, {12, 7}} {
		b := newBody(&s, Start{MeltC: 170, PlateC: 185, Cured: true})
		b.Happen(Event{Kind: Lift})
		b.Happen(Event{Kind: Draught, Amount: c.draught})
		for range int(60 / StepS) {
			b.Step(0)
		}
		fmt.Printf("lifted, draught of %g W/(m² K): %.1f °C in a minute\n", c.draught, 170-b.BulkC())
		assert.InEpsilon(t, c.wantC, 170-b.BulkC(), 0.5)
	}
}

// TestThickeningStalls: a raw pot takes longer from 75 to 125 °C than a cured one.
func TestThickeningStalls(t *testing.T) {
	s := middle()
	crossing := func(cured bool) (n int) {
		b := newBody(&s, Start{Cured: cured})
		for b.BulkC() < 125 {
			duty := 1.0
			if b.PlateC() > 220 {
				duty = 0
			}
			b.Step(duty)
			if b.BulkC() > 75 {
				n++
			}
		}
		return n
	}
	raw, cured := crossing(false), crossing(true)
	fmt.Printf("from 75 to 125 °C: raw %.0f s, cured %.0f s\n", float64(raw)*StepS, float64(cured)*StepS)
	assert.Greater(t, raw, cured*5/4)
}

// TestProbeLags: after a step a first-order probe has gone 1-1/e of the way when
// dead time and lag are over (elementary).
func TestProbeLags(t *testing.T) {
	spec := ProbeSpec{LagS: 4, DeadS: 1, StepC: 1e-6}
	p := newProbe(0)
	for range int(5 / StepS) {
		p.step(100, follow(spec.LagS), follow(spec.SecondS))
	}
	assert.InDelta(t, 100*(1-math.Exp(-1)), p.read(&spec, rand.New(rand.NewPCG(1, 1))), 0.5)
}

// TestNumbersOfTheZoo prints what the pots are.
func TestNumbersOfTheZoo(t *testing.T) {
	t.Log("pot                    mL  rated W  true W  plate J/K  melt J/K  τ melt s  τ stored s  plate limit")
	for _, s := range Named() {
		t.Logf("%-20s %4.0f  %7.0f  %6.0f  %9.0f  %8.0f  %8.0f  %10.0f  %5.0f °C", s.Name, s.VolumeML, s.RatedW, s.TrueW(),
			(s.ElementJKW+s.PlateJKW)*s.RatedW, s.MeltJK(), s.MeltTauS(), s.PlateTauS(), s.PlateLimitC)
	}
	t.Log("random pots draw:")
	for _, r := range Ranges() {
		t.Logf("  %s%s %g to %g", r.Name, strings.Repeat(" ", 30-len([]rune(r.Name))), r.Low, r.High)
	}
}

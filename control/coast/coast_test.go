package coast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// somePot draws a plate and a melt as they could be on a bench.
func somePot(from *rand.Rand) Pot {
	between := func(low, high float64) float64 { return low + (high-low)*from.Float64() }
	return Pot{
		PlateJPerK: between(100, 2000), MeltJPerK: between(100, 1500), CouplingWK: between(0.3, 5),
		PlateLossW: between(0, 150), MeltLossW: between(1, 60),
	}
}

// integrate is the same coast by fourth-order Runge-Kutta in steps of 10 ms:
//
//	Cp dTp/dt = -U(Tp-Tm) - Lp,  Cm dTm/dt = U(Tp-Tm) - Lm
//
// until the melt no longer rises (two lumped bodies, Newton's law of cooling;
// any handbook of heat transfer).
func integrate(c Pot, gap float64) float64 {
	const h = 0.01
	type bodies struct{ plate, melt float64 }
	slope := func(b bodies) bodies {
		flow := c.CouplingWK * (b.plate - b.melt)
		return bodies{-(flow + c.PlateLossW) / c.PlateJPerK, (flow - c.MeltLossW) / c.MeltJPerK}
	}
	plus := func(b, d bodies, h float64) bodies { return bodies{b.plate + d.plate*h, b.melt + d.melt*h} }
	b, peak := bodies{plate: gap}, 0.0
	for slope(b).melt > 0 {
		k1 := slope(b)
		k2 := slope(plus(b, k1, h/2))
		k3 := slope(plus(b, k2, h/2))
		k4 := slope(plus(b, k3, h))
		b.plate += h / 6 * (k1.plate + 2*k2.plate + 2*k3.plate + k4.plate)
		b.melt += h / 6 * (k1.melt + 2*k2.melt + 2*k3.melt + k4.melt)
		peak = math.Max(peak, b.melt)
	}
	return peak
}

func TestRiseAgreesWithIntegration(t *testing.T) {
	from := rand.New(rand.NewPCG(1, 1))
	worst := 0.0
	for range 40 {
		c := somePot(from)
		gap := c.Rest() * (1 + 5*from.Float64())
		worst = math.Max(worst, math.Abs(c.Rise(gap)-integrate(c, gap)))
	}
	fmt.Printf("rise of a coasting melt, closed form against integration: at most %.2g °C apart in 40 coasts\n", worst)
	assert.Less(t, worst, 1e-4)
}

func TestRiseByHand(t *testing.T) {
	// Without a loss the gap's heat is shared by heat capacity: a plate of 600 J/K
	// that is 30 K warmer brings a melt of 300 J/K up by 30·600/900 = 20 K. The
	// melt needs a loss to have a peak, so it gets a very small one.
	c := Pot{PlateJPerK: 600, MeltJPerK: 300, CouplingWK: 2, MeltLossW: 1e-6}
	assert.InDelta(t, 20, c.Rise(30), 1e-3)
	assert.Zero(t, c.Rise(c.Rest()), "at the resting gap it does not rise")
	assert.Zero(t, c.Rise(-5), "nor over a colder plate")
}

func TestGapIsTheInverseOfRise(t *testing.T) {
	from := rand.New(rand.NewPCG(2, 2))
	worst := 0.0
	for range 2000 {
		c := somePot(from)
		most := c.Rest() + 20 + 200*from.Float64()
		gap := c.Rest() + (most-c.Rest())*from.Float64()
		worst = math.Max(worst, math.Abs(c.Gap(c.Rise(gap), most)-gap))
	}
	fmt.Printf("gap for a rise, against the gap that gave it: at most %.2g °C apart in 2000 coasts\n", worst)
	assert.Less(t, worst, 1e-2)
}

func TestGapStaysBetweenRestAndMost(t *testing.T) {
	c := somePot(rand.New(rand.NewPCG(3, 3)))
	assert.InDelta(t, c.Rest()+50, c.Gap(1e6, c.Rest()+50), 1e-4, "a rise out of reach takes all there is")
	assert.Equal(t, c.Rest(), c.Gap(0, 200))
	assert.Equal(t, c.Rest(), c.Gap(-3, 200))
	assert.Equal(t, c.Rest(), c.Gap(10, c.Rest()-1))
	assert.Equal(t, c.Rest(), c.Gap(math.NaN(), 200), "no number asks for no more than rest")
}

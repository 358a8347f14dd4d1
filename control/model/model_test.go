package model

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"meltwarden/control/reading"
)

// known is a pot of a quarter of a litre on a kilowatt.
var known = Pot{HeaterW: 1000, MeltJPerK: 520}

func good(c float64, age time.Duration) reading.Temperature {
	return reading.Temperature{C: c, Age: age, Fault: reading.None}
}

// somewhere is a filter in the middle of a heat-up, its covariance full.
func somewhere(seed uint64) *Filter {
	p := newPlant(seed)
	f := New(known)
	for range 5 * 300 {
		p.cycle(f, 0.8)
	}
	return f
}

// plant is a pot that is built as the model says, with figures drawn around the
// priors, stirred now and then, and read with noise, steps and an age.
type plant struct {
	x      vector
	b      body
	stirS  float64
	source *rand.Rand
}

func newPlant(seed uint64) *plant {
	p := &plant{source: rand.New(rand.NewPCG(seed, 1))}
	for i, k := range priors(known) {
		if i >= lnPlateJK {
			p.x[i] = math.Log(k.value) + 0.7*k.sigma*p.source.NormFloat64()
		}
	}
	for i := range int(temperatures) {
		p.x[i] = 21
	}
	return p
}

const perCycle = 0.2 // seconds

// cycle lets a fifth of a second pass in steps of a twentieth, and shows it.
func (p *plant) cycle(f *Filter, duty float64) {
	x := p.x
	if p.stirS += perCycle; math.Mod(p.stirS, 30) > 8 {
		x[lnCouplingWK] -= 0.4 // it lies still
	}
	p.b = unpack(&x, known.HeaterW, 21)
	for range 4 {
		flow := p.b.flows(&x)
		d := p.b.slopes(&x, &flow, duty)
		for i := range d {
			x[i] += d[i] * perCycle / 4
		}
	}
	copy(p.x[:temperatures], x[:temperatures])
	read := func(c float64) reading.Temperature {
		return good(math.Round(4*(c+0.12*p.source.NormFloat64()))/4, 0)
	}
	f.Step(duty, perCycle, read(p.x[plateProbe]), read(p.x[meltProbe]))
}

// TestFindsWhatAPotIs: after a heat-up the temperatures are known to a few tenths of a
// degree before the probes show them, and the figures better than before, as well as
// the filter says.
func TestFindsWhatAPotIs(t *testing.T) {
	const pots = 40
	var off, sure [states]float64
	worstMelt, worstPlate, trusted := 0.0, 0.0, 0
	for seed := range uint64(pots) {
		p, f := newPlant(seed), New(known)
		for n := range 5 * 600 {
			duty := 0.9
			if p.x[plate] > 225 {
				duty = 0.15
			}
			p.cycle(f, duty)
			if n > 5*200 {
				worstMelt = max(worstMelt, math.Abs(f.x[melt]-p.x[melt]))
				worstPlate = max(worstPlate, math.Abs(f.x[plate]-p.x[plate]))
			}
		}
		if f.Trusted() {
			trusted++
		}
		for i := lnPlateJK; i < states; i++ {
			e := f.x[i] - p.x[i]
			if i == lnCouplingWK {
				e = 0 // it is stirred
			}
			off[i] += e * e / pots
			sure[i] += f.p[i][i] / pots
		}
	}
	names := map[int]string{lnPlateJK: "plate's capacity", lnElementS: "element's lag", lnMeltJK: "melt's capacity", lnContactWK: "contact", lnPlateLossWK: "plate's loss", lnMeltLossWK: "melt's loss"}
	first := priors(known)
	for i := lnPlateJK; i < states; i++ {
		if name := names[i]; name != "" {
			fmt.Printf("%-18s off by %4.1f %% (RMS), says %4.1f %%, was believed to %2.0f %%\n", name, 100*math.Sqrt(off[i]), 100*math.Sqrt(sure[i]), 100*first[i].sigma)
			assert.Less(t, math.Sqrt(off[i]), 1.1*first[i].sigma, name)
		}
	}
	fmt.Printf("after 200 s: the plate known to %.2f °C, the melt to %.2f °C at worst in %d pots; %d trusted\n", worstPlate, worstMelt, pots, trusted)
	assert.Less(t, math.Sqrt(off[lnPlateJK]), 0.1)
	assert.Less(t, worstMelt, 2.5)
	assert.Less(t, worstPlate, 4.0)
	assert.GreaterOrEqual(t, trusted, pots-2)
}

// TestJacobianIsTheDerivative of the slopes, against central differences.
func TestJacobianIsTheDerivative(t *testing.T) {
	f := somewhere(3)
	const duty = 0.6
	slopes := func(x vector) [temperatures]float64 {
		b := unpack(&x, known.HeaterW, f.roomC)
		flow := b.flows(&x)
		return b.slopes(&x, &flow, duty)
	}
	b := unpack(&f.x, known.HeaterW, f.roomC)
	flow := b.flows(&f.x)
	d := b.slopes(&f.x, &flow, duty)
	a := b.jacobian(&f.x, &flow, &d, duty)
	for k := range int(states) {
		h := 1e-5 * max(1, math.Abs(f.x[k]))
		up, down := f.x, f.x
		up[k] += h
		down[k] -= h
		high, low := slopes(up), slopes(down)
		for i := range d {
			assert.InDelta(t, (high[i]-low[i])/(2*h), a[i][k], 1e-6*(1+math.Abs(a[i][k])), "%d by %d", i, k)
		}
	}
}

func dense(p *matrix) *mat.Dense {
	m := mat.NewDense(int(states), int(states), nil)
	for i := range p {
		for j := range p[i] {
			m.Set(i, j, p[i][j])
		}
	}
	return m
}

// TestFilterIsTheTextbooks: what it does to the covariance in both of its steps,
// against the general formulas worked out by a library for matrices (gonum).
func TestFilterIsTheTextbooks(t *testing.T) {
	for seed := range uint64(5) {
		f := somewhere(seed)
		b := unpack(&f.x, known.HeaterW, f.roomC)
		flow := b.flows(&f.x)
		d := b.slopes(&f.x, &flow, 0.5)
		a := b.jacobian(&f.x, &flow, &d, 0.5)
		step := mat.NewDense(int(states), int(states), nil)
		for i := range int(states) {
			step.Set(i, i, 1)
		}
		for i := range a {
			for k := range a[i] {
				step.Set(i, k, step.At(i, k)+a[i][k]*0.2)
			}
		}
		var want mat.Dense
		want.Product(step, dense(&f.p), step.T())
		f.spread(&a, 0.2)
		assert.True(t, mat.EqualApprox(&want, dense(&f.p), 1e-9))

		h := mat.NewDense(1, int(states), nil)
		h.Set(0, meltProbe, 1.2)
		h.Set(0, melt, -0.2)
		var ph, s, gain, taken mat.Dense
		ph.Mul(dense(&f.p), h.T())
		s.Mul(h, &ph)
		late := timeS * (f.x[melt] - f.x[meltProbe]) / math.Exp(f.x[lnMeltProbeS])
		variance := s.At(0, 0) + f.melt.noise2 + late*late
		gain.Scale(1/variance, &ph)
		taken.Mul(&gain, ph.T())
		want.Sub(dense(&f.p), &taken)
		before := f.x
		got, awaited := f.awaited(&f.melt, [2]float64{1.2, -0.2})
		assert.InEpsilon(t, variance, awaited, 1e-9)
		f.correct(&got, 0.7, awaited)
		assert.True(t, mat.EqualApprox(&want, dense(&f.p), 1e-9))
		for k := range f.x {
			assert.InDelta(t, before[k]+0.7*gain.At(k, 0), f.x[k], 1e-9)
		}
	}
}

// TestDoubtsAnotherKindOfPot: a plate that has as much again stored behind it, out of
// the model's sight, makes the readings strange, and a pot that fits does not.
func TestDoubtsAnotherKindOfPot(t *testing.T) {
	doubted := func(hiddenJK float64) bool {
		p, f := newPlant(1), New(known)
		hiddenC, ever := 21.0, false
		for range 5 * 400 {
			duty := 1.0
			if p.x[plate] > 225 {
				duty = 0.1
			}
			p.cycle(f, duty)
			w := 9 * (p.x[plate] - hiddenC) * perCycle
			if hiddenJK > 0 {
				hiddenC += w / hiddenJK
				p.x[plate] -= w / p.b.plateJK
			}
			ever = ever || f.Doubted()
		}
		return ever
	}
	assert.False(t, doubted(0))
	assert.True(t, doubted(400))
}

// TestStartledByAColdAddition that nobody told of: it is the melt that has changed, not
// what the pot is made of.
func TestStartledByAColdAddition(t *testing.T) {
	p, f := newPlant(2), New(known)
	hold := func(seconds int) {
		for range 5 * seconds {
			duty := 0.0
			if p.x[plate] < 190 {
				duty = 0.5
			}
			p.cycle(f, duty)
		}
	}
	hold(1500)
	before := f.x
	p.x[melt] -= 12
	hold(20)
	assert.InDelta(t, p.x[melt], f.x[melt], 1)
	hold(120)
	for _, i := range []int{lnPlateJK, lnElementS, lnMeltJK, lnContactWK, lnPlateLossWK} {
		assert.InDelta(t, before[i], f.x[i], 0.25, "figure %d", i)
	}
}

// TestReadingsCountOnceAndWhenTaken: an old reading pulls less than it would if it were
// of now, and one that is seen again pulls no more.
func TestReadingsCountOnceAndWhenTaken(t *testing.T) {
	f := somewhere(4)
	missing := reading.Temperature{Fault: reading.Missing}
	f.Step(0.8, perCycle, good(f.x[plateProbe]+2, 150*time.Millisecond), missing)
	before := f.x
	f.Step(0.8, perCycle, good(f.x[plateProbe]+2, 350*time.Millisecond), missing)
	b := unpack(&before, known.HeaterW, f.roomC)
	flow := b.flows(&before)
	d := b.slopes(&before, &flow, 0.8)
	assert.InDelta(t, before[plateProbe]+d[plateProbe]*perCycle, f.x[plateProbe], 1e-9, "predicted, and not corrected")
}

// TestNothingBreaksIt: whatever comes, everything stays a number, no variance becomes
// negative, and figures stay what a pot can have.
func TestNothingBreaksIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := New(known)
		for range rapid.IntRange(1, 200).Draw(t, "steps") {
			c := func(name string) reading.Temperature {
				return reading.Temperature{
					C:     rapid.SampledFrom([]float64{20, 21, 160, 170, 230, 400, -20, math.NaN(), math.Inf(1)}).Draw(t, name),
					Age:   time.Duration(rapid.IntRange(0, 1200).Draw(t, "age")) * time.Millisecond,
					Fault: rapid.SampledFrom([]reading.Fault{reading.None, reading.None, reading.None, reading.Missing}).Draw(t, "fault"),
				}
			}
			dt := rapid.SampledFrom([]float64{0.2, 0.2, 0.2, 1, 0.05, 30, 1e6, 0, -1, math.NaN(), math.Inf(1)}).Draw(t, "dt")
			duty := rapid.SampledFrom([]float64{0, 0.3, 1, 2, -1, math.NaN()}).Draw(t, "duty")
			f.Step(duty, dt, c("plate"), c("melt"))
			switch rapid.IntRange(0, 20).Draw(t, "else") {
			case 0:
				f.Startle()
			case 1:
				f.Restart()
			}
			for i := range f.x {
				require.False(t, math.IsNaN(f.x[i]) || math.IsInf(f.x[i], 0), "state %d", i)
				require.GreaterOrEqual(t, f.p[i][i], 0.0, "variance %d", i)
				for j := range f.x {
					require.InDelta(t, f.p[i][j], f.p[j][i], 1e-6*(1+math.Abs(f.p[i][j])), "%d and %d", i, j)
				}
			}
			s := f.Sight(0.5)
			require.False(t, math.IsNaN(s.MeltC+s.PlateC+s.HeldC+s.OutW+s.RestC))
		}
	})
}

// TestAllocatesNothing, since it runs in every cycle.
func TestAllocatesNothing(t *testing.T) {
	f := somewhere(5)
	c := 100.0
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		c += 0.01
		f.Step(0.5, perCycle, good(c+50, 0), good(c, 0))
		_ = f.Sight(0.5)
	}))
}

func BenchmarkStep(b *testing.B) {
	f := somewhere(5)
	for i := range b.N {
		f.Step(0.5, perCycle, good(150+float64(i%2), 0), good(100+float64(i%3), 0))
	}
}

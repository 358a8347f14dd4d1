package circuit

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const period = 200 * time.Millisecond

// supply returns a circuit by its breaker, with the continuous share of 80 %:
// NEC 210.19(A) and 210.20(A), a load on for three hours or more counts 125 %.
func supply(amperes, volts float64) Rating {
	full := amperes * volts
	return Rating{MaxW: full, ContinuousW: full / 1.25}
}

// meter is the toy beside the real thing: it keeps every stretch of power, and
// knows nothing of buckets.
type meter struct {
	ends  []time.Duration // of each stretch
	watts []float64
}

func (m *meter) add(watts float64, elapsed time.Duration) {
	end := elapsed
	if n := len(m.ends); n > 0 {
		end += m.ends[n-1]
	}
	m.ends, m.watts = append(m.ends, end), append(m.watts, watts)
}

// worstMinuteW is the highest mean of any minute that ends with a stretch or
// begins with one: between those the mean is linear, so no other is higher.
func (m *meter) worstMinuteW() float64 {
	joules := make([]float64, len(m.ends)+1) // up to the beginning of each stretch
	begin := func(i int) time.Duration {
		if i == 0 {
			return 0
		}
		return m.ends[i-1]
	}
	for i := range m.ends {
		joules[i+1] = joules[i] + m.watts[i]*(m.ends[i]-begin(i)).Seconds()
	}
	upTo := func(t time.Duration, from int) (float64, int) {
		for from < len(m.ends) && m.ends[from] <= t {
			from++
		}
		if from == len(m.ends) {
			return joules[from], from
		}
		return joules[from] + m.watts[from]*(t-begin(from)).Seconds(), from
	}
	worst, lo, hi := 0.0, 0, 0
	for i := range m.ends {
		var a, b float64
		a, lo = upTo(max(0, m.ends[i]-time.Minute), lo)
		worst = math.Max(worst, (joules[i+1]-a)/60)
		b, hi = upTo(begin(i)+time.Minute, hi)
		worst = math.Max(worst, (b-joules[i])/60)
	}
	return worst
}

// smooth are heaters of some watts that draw what they are told.
func smooth(ratedW ...float64) []Heater {
	var all []Heater
	for _, w := range ratedW {
		all = append(all, Heater{RatedW: w})
	}
	return all
}

func powerW(duty, ratedW []float64) float64 {
	sum := 0.0
	for i := range duty {
		sum += duty[i] * ratedW[i]
	}
	return sum
}

func TestNorthAmericanCircuits(t *testing.T) {
	// NEC 210.19(A) and 210.20(A): 15 A at 120 V carry 1800 W, 1440 W (12 A) of
	// them for three hours and more; 20 A carry 2400 W and 1920 W (16 A).
	for _, c := range []struct{ amperes, volts, full, continuous float64 }{
		{15, 120, 1800, 1440},
		{20, 120, 2400, 1920},
	} {
		r := supply(c.amperes, c.volts)
		assert.Equal(t, Rating{MaxW: c.full, ContinuousW: c.continuous}, r)
		ratedW, need := []float64{1000, 1000, 1000}, []float64{1, 1, 1}
		s := New(r, smooth(ratedW...))
		var m meter
		first := 0.0
		for range 3 * 3600 * 5 {
			duty := []float64{1, 1, 1}
			s.Divide(duty, need, period)
			w := powerW(duty, ratedW)
			s.Drawn(w)
			m.add(w, period)
			first = math.Max(first, w)
		}
		mean := 0.0
		for _, w := range m.watts {
			mean += w / float64(len(m.watts))
		}
		fmt.Printf("%2.0f A at %.0f V, three 1 kW plates asking for all of it: most %.1f W, worst minute %.1f W, mean of 3 h %.1f W (%.2f %% of the share)\n",
			c.amperes, c.volts, first, m.worstMinuteW(), mean, 100*mean/c.continuous)
		assert.Equal(t, c.full, first, "the whole breaker may be used at once")
		assert.LessOrEqual(t, m.worstMinuteW(), c.continuous*(1+1e-9))
		assert.Greater(t, mean, 0.97*c.continuous, "the budget that is asked for is used")
	}
}

// TestLargePlateOnSmallCircuit: were the continuous share kept at every instant,
// a 1500 W plate could never be switched on at 15 A and 120 V.
func TestLargePlateOnSmallCircuit(t *testing.T) {
	s := New(supply(15, 120), smooth(1500))
	duty := []float64{1}
	s.Divide(duty, []float64{1}, period)
	assert.Equal(t, 1.0, duty[0])
}

func TestDivideNeverRaisesNorOverloads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "heaters")
		rating := Rating{MaxW: rapid.Float64Range(500, 4000).Draw(t, "maxW")}
		rating.ContinuousW = rating.MaxW * rapid.Float64Range(0.3, 1).Draw(t, "share")
		ratedW := make([]float64, n)
		for i := range ratedW {
			ratedW[i] = rapid.Float64Range(20, 4000).Draw(t, "ratedW")
		}
		s := New(rating, smooth(ratedW...))
		// A greedy bench with some quiet minutes: asks change every so many cycles.
		var m meter
		duty, asked, need := make([]float64, n), make([]float64, n), make([]float64, n)
		for range rapid.IntRange(1, 12).Draw(t, "stretches") {
			greedy := rapid.Bool().Draw(t, "greedy")
			for i := range asked {
				asked[i] = rapid.Float64Range(0, 1).Draw(t, "duty")
				if greedy {
					asked[i] = 1
				}
				need[i] = rapid.Float64Range(0, 1e5).Draw(t, "need")
			}
			cycles := rapid.IntRange(1, 200).Draw(t, "cycles")
			for range cycles {
				copy(duty, asked)
				// What was decided flows until the next decision, however late: a
				// cycle may take up to three periods before it counts as missed.
				elapsed := time.Duration(rapid.IntRange(1, 600).Draw(t, "ms")) * time.Millisecond
				if k := len(m.ends); k < len(m.watts) {
					m.ends = append(m.ends, elapsed)
					if k > 0 {
						m.ends[k] += m.ends[k-1]
					}
				}
				s.Divide(duty, need, elapsed)
				for i := range duty {
					if duty[i] > asked[i] || duty[i] < 0 {
						t.Fatalf("heater %d asked %v and got %v", i, asked[i], duty[i])
					}
				}
				w := powerW(duty, ratedW)
				if w > rating.MaxW {
					t.Fatalf("%v W on a circuit of %v W", w, rating.MaxW)
				}
				s.Drawn(w)
				m.watts = append(m.watts, w)
			}
		}
		m.watts = m.watts[:len(m.ends)]
		if w := m.worstMinuteW(); w > rating.ContinuousW*(1+1e-9) {
			t.Fatalf("a minute's mean of %v W over the continuous %v W", w, rating.ContinuousW)
		}
	})
}

// TestFillsByNeed: where not all fit, power goes in proportion to need, what one
// does not use goes to the others, and all of the budget is used.
func TestFillsByNeed(t *testing.T) {
	rating := Rating{MaxW: 1800, ContinuousW: 1800}
	ratedW := []float64{1000, 1000, 1000}
	for _, c := range []struct {
		name              string
		asked, need, want []float64
	}{
		{"all fit: as asked", []float64{0.5, 0.6, 0.7}, []float64{1, 9, 90}, []float64{0.5, 0.6, 0.7}},
		{"equal needs: equal parts", []float64{1, 1, 1}, []float64{5, 5, 5}, []float64{0.6, 0.6, 0.6}},
		{"in proportion to need", []float64{1, 1, 1}, []float64{3000, 4000, 2000}, []float64{0.6, 0.8, 0.4}},
		{"a small ask is served, its rest shared", []float64{0.2, 1, 1}, []float64{100, 100, 100}, []float64{0.2, 0.8, 0.8}},
		{"who would get more than it asks gives back", []float64{1, 1, 1}, []float64{9000, 500, 500}, []float64{1, 0.4, 0.4}},
		{"no need at all: equal parts", []float64{1, 1, 1}, []float64{0, 0, 0}, []float64{0.6, 0.6, 0.6}},
		{"who asks nothing gets nothing", []float64{0, 1, 1}, []float64{9000, 100, 100}, []float64{0, 0.9, 0.9}},
	} {
		duty := append([]float64(nil), c.asked...)
		New(rating, smooth(ratedW...)).Divide(duty, c.need, period)
		assert.InDeltaSlice(t, c.want, duty, 1.0/steps, c.name)
	}
}

// TestUsesAllOfTheBudget but for the rounding, which is downwards.
func TestUsesAllOfTheBudget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rating := Rating{MaxW: 1800, ContinuousW: 1800}
		ratedW := []float64{1000, 600, 1500}
		asked, need := make([]float64, 3), make([]float64, 3)
		for i := range asked {
			asked[i] = rapid.Float64Range(0, 1).Draw(t, "duty")
			need[i] = rapid.Float64Range(0, 1e5).Draw(t, "need")
		}
		duty := append([]float64(nil), asked...)
		New(rating, smooth(ratedW...)).Divide(duty, need, period)
		want := math.Min(rating.MaxW, powerW(asked, ratedW))
		// A full circuit is shared in steps, each rounded down.
		if got := powerW(duty, ratedW); got > want || got < want-powerW([]float64{1, 1, 1}, ratedW)/steps {
			t.Fatalf("%v W of %v W", got, want)
		}
	})
}

// TestWithoutBudgetNothingFlows: a rating nobody filled in is a circuit of no power.
func TestWithoutBudgetNothingFlows(t *testing.T) {
	duty := []float64{1, 0.5}
	New(Rating{}, smooth(1000, 1000)).Divide(duty, []float64{1, 1}, period)
	assert.Equal(t, []float64{0, 0}, duty)
}

// TestAStallIsBooked: what flowed through a stall counts, so that the minute
// after it is short.
func TestAStallIsBooked(t *testing.T) {
	s := New(Rating{MaxW: 2000, ContinuousW: 1000}, smooth(2000))
	ask := func(elapsed time.Duration) float64 {
		duty := []float64{1}
		s.Divide(duty, []float64{1}, elapsed)
		s.Drawn(duty[0] * 2000)
		return duty[0]
	}
	require.Equal(t, 1.0, ask(period))
	assert.Zero(t, ask(40*time.Second), "2 kW for 40 s are more than a minute's 60 kJ")
	assert.Zero(t, ask(20*time.Second))
	assert.Positive(t, ask(2*time.Minute))
}

func TestTimeThatDoesNotPassIsHarmless(t *testing.T) {
	s := New(supply(15, 120), smooth(3000))
	for _, elapsed := range []time.Duration{0, -time.Hour, 0, 1000 * time.Hour} {
		duty := []float64{1}
		s.Divide(duty, []float64{1}, elapsed)
		s.Drawn(duty[0] * 3000)
		assert.LessOrEqual(t, duty[0]*3000, 1800.0, elapsed)
		assert.GreaterOrEqual(t, duty[0], 0.0, elapsed)
	}
}

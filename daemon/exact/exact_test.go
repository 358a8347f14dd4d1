package exact

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var number = regexp.MustCompile(`-?\d*\.?\d+`)

// numbers are all those in a text.
func numbers(t *testing.T, text string) (all []float64) {
	t.Helper()
	for _, n := range number.FindAllString(text, -1) {
		v, err := strconv.ParseFloat(n, 64)
		require.NoError(t, err)
		all = append(all, v)
	}
	return all
}

// TestWorkedExamples: every row of testdata/statistics/examples.csv, whose columns name
// the textbook, paper or documentation that it is from.
func TestWorkedExamples(t *testing.T) {
	f, err := os.Open("../../testdata/statistics/examples.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	separated := regexp.MustCompile(`(\d+) vs (\d+)`)
	for _, row := range rows[1:] {
		id, data, want := row[0], row[2], row[4]
		switch id[0] {
		case 'F':
			n := numbers(t, data)
			assert.InEpsilon(t, numbers(t, want)[0], Fisher(int(n[0]), int(n[1]), int(n[2]), int(n[3])), 1e-6, id)
		case 'W':
			n := numbers(t, data)
			low, high := Wilson(int(n[0]), int(n[1]))
			assert.InDelta(t, numbers(t, want)[0], low, 5e-5, id)
			assert.InDelta(t, numbers(t, want)[1], high, 5e-5, id)
		case 'M':
			if counts := separated.FindStringSubmatch(data); counts != nil {
				m, n := int(numbers(t, counts[1])[0]), int(numbers(t, counts[2])[0])
				assert.InDelta(t, numbers(t, want)[0], Reach([][2]int{{m, n}}), 5e-7, id)
				r := Compare([]Block{{upTo(m + n)[n:], upTo(n)}})
				assert.InDelta(t, numbers(t, want)[0], r.P, 5e-7, id)
				assert.Equal(t, 1.0, r.Share, id)
				continue
			}
			sides := strings.Split(data, ";")
			r := Compare([]Block{{numbers(t, sides[0]), numbers(t, sides[1])}})
			assert.InDelta(t, 35, r.Share*float64(r.Pairs), 1e-9, "U of "+id)
			assert.InDelta(t, numbers(t, want)[1], r.P, 5e-5, id)
		case 'P':
			sides := strings.Split(data, ";")
			difference, p := Means(numbers(t, sides[0]), numbers(t, sides[1]), 1)
			assert.InDelta(t, 30.6349, difference, 5e-5, id)
			assert.InDelta(t, 3184.0/11440, p, 1e-9, id)
		default:
			t.Errorf("%s: of no kind", id)
		}
	}
}

// TestFisherOfManyShots: thousands of them stay a number. A normal
// approximation with its correction for whole numbers (a textbook formula, from memory)
// comes within a hundredth.
func TestFisherOfManyShots(t *testing.T) {
	assert.InDelta(t, 1, Fisher(1000, 1000, 1000, 1000), 1e-9)
	a, b, c, d := 530.0, 470.0, 480.0, 520.0
	n := a + b + c + d
	z := (math.Abs(a*d-b*c) - n/2) * math.Sqrt(n/((a+b)*(c+d)*(a+c)*(b+d)))
	assert.InEpsilon(t, math.Erfc(z/math.Sqrt2), Fisher(530, 470, 480, 520), 0.01)
	assert.Less(t, Fisher(1500, 0, 0, 1500), 1e-300)
	assert.Equal(t, 1.0, Fisher(0, 0, 3, 5), "an empty row")
	assert.Equal(t, 1.0, Fisher(0, 2, 0, 5), "an empty column")
}

// made are blocks of invented figures with ties, the same for the same seed.
func made(seed uint64, sizes ...[2]int) (blocks []Block) {
	random := rand.New(rand.NewPCG(seed, 1))
	for _, n := range sizes {
		var b Block
		for range n[0] {
			b.With = append(b.With, math.Round(4*random.NormFloat64()+2)/2)
		}
		for range n[1] {
			b.Without = append(b.Without, math.Round(4*random.NormFloat64())/2)
		}
		blocks = append(blocks, b)
	}
	return blocks
}

// brute is the probability by going through every choice of every block.
func brute(blocks []Block) float64 {
	u := func(chosen [][]bool) (sum float64) {
		for i, b := range blocks {
			all := append(append([]float64{}, b.With...), b.Without...)
			for x, with := range chosen[i] {
				for y, other := range chosen[i] {
					if with && !other {
						sum += float64(1+sign(all[x]-all[y]))/2 - 0.5
					}
				}
			}
		}
		return math.Abs(sum)
	}
	var masks [][][]bool
	var seen [][]bool
	for _, b := range blocks {
		n, k := len(b.With)+len(b.Without), len(b.With)
		var of [][]bool
		for bits := range 1 << n {
			mask, chosen := make([]bool, n), 0
			for i := range n {
				if mask[i] = bits>>i&1 == 1; mask[i] {
					chosen++
				}
			}
			if chosen == k {
				of = append(of, mask)
			}
		}
		masks = append(masks, of)
		first := make([]bool, n)
		for i := range k {
			first[i] = true
		}
		seen = append(seen, first)
	}
	all, asFar := 0.0, 0.0
	var through func(chosen [][]bool)
	through = func(chosen [][]bool) {
		if len(chosen) == len(blocks) {
			if all++; u(chosen) >= u(seen)-1e-9 {
				asFar++
			}
			return
		}
		for _, m := range masks[len(chosen)] {
			through(append(chosen[:len(chosen):len(chosen)], m))
		}
	}
	through(nil)
	return asFar / all
}

// TestWithinRunsIsCountedToTheEnd: what is added up over runs is the same as going
// through every way to deal the outcomes out, ties and all; and the permutation of one
// figure by its ranks is the same test.
func TestWithinRunsIsCountedToTheEnd(t *testing.T) {
	for seed := range uint64(12) {
		blocks := made(seed, [2]int{2, 4}, [2]int{3, 2}, [2]int{1, 3}, [2]int{0, 3})
		r := Compare(blocks)
		assert.InDelta(t, brute(blocks), r.P, 1e-9)
		assert.InDelta(t, r.P, Largest(1, ranked(blocks), 1)[0], 1e-9)
		assert.GreaterOrEqual(t, r.P, Reach([][2]int{{2, 4}, {3, 2}, {1, 3}, {0, 3}})-1e-12)
	}
}

// ranked are the blocks as groups with the centred ranks as scores.
func ranked(blocks []Block) (groups []Group) {
	for _, b := range blocks {
		var g Group
		all := append(append([]float64{}, b.With...), b.Without...)
		for i, r := range Midranks(all) {
			g.With = append(g.With, i < len(b.With))
			g.Scores = append(g.Scores, []float64{r - float64(len(all)+1)/2})
		}
		groups = append(groups, g)
	}
	return groups
}

// TestIntervalIsTheTestTurnedRound: a shift inside the interval is one that the test
// would not call unlikely, a shift outside it one that it would (Hodges and Lehmann, J.
// R. Stat. Soc.; the definition of a confidence interval).
func TestIntervalIsTheTestTurnedRound(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for range 10 {
		var blocks []Block
		for _, n := range [][2]int{{3, 5}, {4, 4}, {2, 6}} {
			var b Block
			for range n[0] {
				b.With = append(b.With, random.NormFloat64()+1)
			}
			for range n[1] {
				b.Without = append(b.Without, random.NormFloat64())
			}
			blocks = append(blocks, b)
		}
		moved := func(by float64) float64 {
			var all []Block
			for _, b := range blocks {
				var with []float64
				for _, v := range b.With {
					with = append(with, v-by)
				}
				all = append(all, Block{with, b.Without})
			}
			return Compare(all).P
		}
		r := Compare(blocks)
		assert.Greater(t, moved(r.Low+1e-6), outside)
		assert.Greater(t, moved(r.High-1e-6), outside)
		assert.LessOrEqual(t, moved(r.Low-1e-6), outside)
		assert.LessOrEqual(t, moved(r.High+1e-6), outside)
		assert.GreaterOrEqual(t, r.Shift, r.Low)
		assert.LessOrEqual(t, r.Shift, r.High)
	}
	few := Compare([]Block{{[]float64{4, 5, 6}, []float64{1, 2, 3}}})
	assert.True(t, math.IsInf(few.Low, -1) && math.IsInf(few.High, 1), "three of each bound nothing")
	assert.Equal(t, 3.0, few.Shift)
	none := Compare([]Block{{[]float64{4}, nil}})
	assert.True(t, none.Pairs == 0 && none.P == 1 && math.IsNaN(none.Share))
}

// TestDrawnComesNearCounted: where there are too many ways to count, what is drawn is
// near what the sum of the runs' distributions says, and the same every time.
func TestDrawnComesNearCounted(t *testing.T) {
	for seed := range uint64(5) {
		blocks := made(seed, [2]int{4, 8}, [2]int{5, 7}, [2]int{3, 9})
		groups := ranked(blocks)
		p := Largest(1, groups, seed)[0]
		assert.InDelta(t, Compare(blocks).P, p, 0.012)
		assert.Equal(t, p, Largest(1, ranked(blocks), seed)[0])
	}
}

// TestLookingAtMany: two figures that are the same count as one; ten that know nothing
// of each other count as many; one that does not vary counts nothing.
func TestLookingAtMany(t *testing.T) {
	blocks := made(2, [2]int{3, 4}, [2]int{4, 4})
	one := Compare(blocks).P
	groups := ranked(blocks)
	for _, g := range groups {
		for i, s := range g.Scores {
			g.Scores[i] = []float64{s[0], s[0], 0}
		}
	}
	twins := Largest(3, groups, 1)
	assert.InDelta(t, one, twins[0], 1e-9)
	assert.InDelta(t, one, twins[1], 1e-9)
	assert.InDelta(t, 1, twins[2], 1e-9)

	random := rand.New(rand.NewPCG(5, 5))
	for _, g := range groups {
		for i, s := range g.Scores {
			g.Scores[i] = s[:1]
			for range 9 {
				g.Scores[i] = append(g.Scores[i], random.NormFloat64())
			}
		}
	}
	many := Largest(10, groups, 1)[0]
	assert.Greater(t, many, one)
	assert.LessOrEqual(t, many, 10*one+0.01, "no more than Bonferroni's bound")
}

func TestBetweenRuns(t *testing.T) {
	correlation, p := Between([]float64{0, 0.1, 0.2, 0.5, 0.9}, [][]float64{{1, 2, 3, 4, 5}, {7, 7, 7, 7, 7}}, 1)
	assert.InDelta(t, 1, correlation[0], 1e-12)
	assert.InDelta(t, ReachBetween(5), p[0], 1e-12)
	assert.InDelta(t, 2.0/120, p[0], 1e-12)
	assert.InDelta(t, 1, p[1], 1e-12)
	nine := upTo(9)
	_, p = Between(nine, [][]float64{nine}, 1)
	assert.InDelta(t, 1.0/(drawn+1), p[0], 1e-4)
	correlation, _ = Between([]float64{1, 2, 3, 4}, [][]float64{{1, 2, math.NaN(), 4}}, 1)
	assert.Greater(t, correlation[0], 0.8)
}

// TestHolm by hand (own example): 0.01·4, 0.02·3, then 0.03·2 = 0.06 again, then 0.2.
func TestHolm(t *testing.T) {
	assert.InDeltaSlice(t, []float64{0.06, 0.2, 0.04, 0.06}, Holm([]float64{0.03, 0.2, 0.01, 0.02}), 1e-12)
	assert.Empty(t, Holm(nil))
}

// TestHowManyMore: counted for the smallest probability (10_statistics of the reference:
// 5 against 5 reach 0.0079), and simulated for the number that an effect wants: shots of
// two normal figures one standard deviation apart, for which Noether's formula says 39 (within runs it is the same
// with their own variance).
func TestHowManyMore(t *testing.T) {
	assert.Equal(t, 4, Each(1, 0.05))
	assert.Equal(t, 5, Each(4, 0.05))
	assert.Equal(t, 6, Each(11, 0.05))
	const n = 38
	ours := Ranked{Share: 0.5 * (1 + math.Erf(0.5)), Error: Compare([]Block{{upTo(n / 2), upTo(n / 2)}}).Error}
	assert.InDelta(t, math.Sqrt((n+1)/(3.0*n*n)), ours.Error, 0.01, "of U, a textbook formula")
	random := rand.New(rand.NewPCG(9, 9))
	found, tries := 0, 600
	for range tries {
		var b Block
		for range n / 2 {
			b.With, b.Without = append(b.With, random.NormFloat64()+1), append(b.Without, random.NormFloat64())
		}
		if Compare([]Block{b}).P <= 0.05 {
			found++
		}
	}
	low, high := Wilson(found, tries)
	t.Logf("%d shots of the %.0f wanted show it in %.0f %% (%.0f to %.0f)", n, n*ours.Times(0.05), 100*float64(found)/float64(tries), 100*low, 100*high)
	assert.InDelta(t, 1, ours.Times(0.05), 0.1)
	assert.InDelta(t, 0.8, float64(found)/float64(tries), 0.06)
	assert.True(t, math.IsInf(Ranked{Share: 0.5, Error: 0.1}.Times(0.05), 1))
}

// TestRunsOfAHistory: five hundred runs of eight shots stay within reach.
func TestRunsOfAHistory(t *testing.T) {
	var sizes [][2]int
	for range 500 {
		sizes = append(sizes, [2]int{3, 5})
	}
	r := Compare(made(1, sizes...))
	assert.Less(t, r.P, 1e-9)
	assert.Equal(t, 7500, r.Pairs)
	assert.InDelta(t, 1, r.Shift, 0.5)
}

package exact

import (
	"math"
	"math/rand/v2"
)

// The limits of counting to the end.
const (
	mostWays  = 100_000 // (C) as long as it takes no time
	drawn     = 20_000  // arrangements drawn where there are more; 0.05 is then told within 0.003
	leastDraw = 2_000   // of samples so large that each takes long; 0.05 is then told within 0.01
	mostSums  = 20_000_000
)

// draws is how many arrangements are drawn when each takes so many sums.
func draws(sums int) int { return min(max(mostSums/max(sums, 1), leastDraw), drawn) }

// Group is one run when several figures are looked at together: which of its shots have
// the outcome, and for each shot a score in every figure, zero in the mean of the run.
// What was not recorded is zero.
type Group struct {
	With   []bool
	Scores [][]float64 // of each shot
}

// Largest tells for every figure how likely it is, by chance alone, that any of the
// figures lies as far apart between the two outcomes as this one does: the outcomes are
// dealt out anew within their runs, all figures at once, so that two that go together
// count little more than one. (The maximum of a permutation: Westfall and Young,
// Resampling-Based Multiple Testing (1993), from memory.) How far is the sum of the
// scores with the outcome over its own standard deviation. Up to 100 000 ways are counted
// to the end; of more, 20 000 are drawn from the seed (fewer, 2000 at least, where
// thousands of shots would take seconds), and the probability is (b + 1) / (B + 1).
func Largest(figures int, groups []Group, seed uint64) []float64 {
	d := deal{groups: groups, weight: weights(groups, figures), sums: make([]float64, figures)}
	d.ways = 1
	for _, g := range groups {
		order := make([]int, len(g.With))
		k := 0
		for i, with := range g.With {
			order[i] = i
			if with {
				k++
				d.add(g.Scores[i], 1)
			}
		}
		d.order, d.k = append(d.order, order), append(d.k, k)
		d.ways *= Choose(len(order), k)
	}
	d.seen = make([]float64, figures)
	for j := range d.seen {
		d.seen[j] = d.away(j)
	}
	d.asFar = make([]float64, figures)
	clear(d.sums)
	if d.ways <= mostWays {
		d.every(0, 0, 0)
		return d.over(0, d.ways)
	}
	random, sums := rand.New(rand.NewPCG(seed, 0x6578616374)), 0
	for _, k := range d.k {
		sums += k * figures
	}
	for range draws(sums) {
		d.one(random)
	}
	return d.over(1, float64(draws(sums)+1))
}

// deal is outcomes on their way to being dealt out.
type deal struct {
	groups []Group
	order  [][]int // of each group, its shots; the first k have the outcome
	k      []int
	ways   float64
	weight []float64 // one over the standard deviation of each sum; zero for one that can not vary
	sums   []float64
	seen   []float64
	asFar  []float64
}

// weights are those of the sums of scores when each group deals out its own outcomes: the
// variance of the sum of k out of n without replacement (a textbook formula) is
// k (n-k) / (n (n-1)) times the sum of squares about the mean.
func weights(groups []Group, figures int) []float64 {
	variance := make([]float64, figures)
	for _, g := range groups {
		n, k := float64(len(g.With)), 0.0
		for _, with := range g.With {
			if with {
				k++
			}
		}
		if n < 2 {
			continue
		}
		for _, scores := range g.Scores {
			for j, s := range scores {
				variance[j] += k * (n - k) / (n * (n - 1)) * s * s
			}
		}
	}
	for j, v := range variance {
		if variance[j] = 0; v > 0 {
			variance[j] = 1 / math.Sqrt(v)
		}
	}
	return variance
}

func (d *deal) add(scores []float64, times float64) {
	for j, s := range scores {
		d.sums[j] += times * s
	}
}

func (d *deal) away(j int) float64 { return math.Abs(d.sums[j]) * d.weight[j] }

// count holds an arrangement against what was seen.
func (d *deal) count() {
	most := 0.0
	for j := range d.sums {
		most = max(most, d.away(j))
	}
	for j, seen := range d.seen {
		if most >= seen-near {
			d.asFar[j]++
		}
	}
}

// every goes through all arrangements: from group g on, of which some have been chosen
// among the shots before from.
func (d *deal) every(g, from, chosen int) {
	if g == len(d.groups) {
		d.count()
		return
	}
	if chosen == d.k[g] {
		d.every(g+1, 0, 0)
		return
	}
	scores := d.groups[g].Scores
	for i := from; i <= len(scores)-(d.k[g]-chosen); i++ {
		d.add(scores[i], 1)
		d.every(g, i+1, chosen+1)
		d.add(scores[i], -1)
	}
}

// one draws an arrangement.
func (d *deal) one(random *rand.Rand) {
	clear(d.sums)
	for g, order := range d.order {
		for i := range d.k[g] {
			other := i + random.IntN(len(order)-i)
			order[i], order[other] = order[other], order[i]
			d.add(d.groups[g].Scores[order[i]], 1)
		}
	}
	d.count()
}

// over is how many were as far, and the seen one where it was not among them, over all.
func (d *deal) over(seen, all float64) []float64 {
	p := make([]float64, len(d.asFar))
	for j, n := range d.asFar {
		p[j] = (n + seen) / all
	}
	return p
}

// Means is the permutation test of a difference of means: with less without, and how
// likely one as large, either way, is when the values are dealt out by chance. It goes by
// the same limits as Largest. Without values on both sides it is NaN and 1.
func Means(with, without []float64, seed uint64) (difference, p float64) {
	if len(with) == 0 || len(without) == 0 {
		return math.NaN(), 1
	}
	difference = mean(with) - mean(without)
	var g Group
	for i, side := range [][]float64{with, without} {
		for _, v := range side {
			g.With, g.Scores = append(g.With, i == 0), append(g.Scores, []float64{v})
		}
	}
	centre := 0.0
	for _, s := range g.Scores {
		centre += s[0] / float64(len(g.Scores))
	}
	for _, s := range g.Scores {
		s[0] -= centre
	}
	return difference, Largest(1, []Group{g}, seed)[0]
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

package exact

import (
	"math"
	"slices"
)

// Block is one figure in one run: its values in the shots that have the outcome, and in
// those that have not.
type Block struct{ With, Without []float64 }

// Ranked is the comparison of a figure by pairs: each shot with the outcome against each
// one of its own run without it.
type Ranked struct {
	// Pairs is how many pairs there are, and Share in which part of them the shot with
	// the outcome has more of the figure, ties as a half; NaN without pairs.
	Pairs int
	Share float64
	// Error is the standard deviation of the share by chance alone.
	Error float64
	// P is how likely a share so far from a half, either way, is by chance alone.
	P float64
	// Shift is the median of the pairs' differences (Hodges and Lehmann), and Low and
	// High an interval for it with at least 95 %; infinite where the counts bound
	// nothing.
	Shift, Low, High float64
}

// Times is how many times as many shots as these, in the same proportions, show an effect
// of this size at a level with four chances in five: ((z_(1-level/2) + z_0.8) Error /
// (Share - 1/2))², infinite for a share of a half. This is Noether's formula (J. Am.
// Stat. Assoc. 82 (1987) 645-647, from memory) with the variance of these very runs. An
// estimate: what few shots show is mostly larger than what is so.
func (r Ranked) Times(level float64) float64 {
	const fourInFive = 0.8416212335729143 // quantile of the normal distribution
	z := math.Sqrt2*math.Erfinv(1-level) + fourInFive
	return math.Pow(z*r.Error/(r.Share-0.5), 2)
}

// outside is what the interval of a shift may leave out.
const outside = 0.05

// Compare compares a figure within runs: Mann and Whitney's U of each run, added up. With
// one run that is their test. Its distribution is counted to the end, with midranks for
// ties.
func Compare(blocks []Block) Ranked {
	r := Ranked{Share: math.NaN(), P: 1, Shift: math.NaN(), Low: math.Inf(-1), High: math.Inf(1)}
	var differences []float64
	all, untied := certain, certain
	twice := 0 // U, twice, so that a tie counts a whole number
	for _, b := range blocks {
		if len(b.With) == 0 || len(b.Without) == 0 {
			continue
		}
		for _, x := range b.With {
			for _, y := range b.Without {
				differences = append(differences, x-y)
				twice += 1 + sign(x-y)
			}
		}
		joined := slices.Concat(b.With, b.Without)
		all = all.plus(ofU(doubled(joined), len(b.With)))
		untied = untied.plus(ofU(doubled(upTo(len(joined))), len(b.With)))
	}
	if r.Pairs = len(differences); r.Pairs == 0 {
		return r
	}
	r.Share = float64(twice) / float64(2*r.Pairs)
	r.P = all.beyond(r.Pairs, twice)
	r.Error = all.deviation(r.Pairs) / float64(2*r.Pairs)
	slices.Sort(differences)
	r.Shift = (differences[(r.Pairs-1)/2] + differences[r.Pairs/2]) / 2
	if cut := untied.tail(outside / 2); cut >= 0 {
		r.Low, r.High = differences[cut/2], differences[r.Pairs-1-cut/2]
	}
	return r
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

func upTo(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = float64(i)
	}
	return v
}

// doubled are twice the midranks of values, from 2.
func doubled(values []float64) []int {
	sorted := slices.Sorted(slices.Values(values))
	ranks := make([]int, len(values))
	for i, v := range values {
		first, _ := slices.BinarySearch(sorted, v)
		last := first
		for last < len(sorted) && sorted[last] == v {
			last++
		}
		ranks[i] = first + last + 1
	}
	return ranks
}

// Midranks are the ranks of values from 1; those that are alike share the mean of theirs.
func Midranks(values []float64) []float64 {
	var ranks []float64
	for _, r := range doubled(values) {
		ranks = append(ranks, float64(r)/2)
	}
	return ranks
}

// chances is a distribution over whole numbers: of from, from + 1, and so on.
type chances struct {
	from int
	of   []float64
}

// certain is zero, surely.
var certain = chances{0, []float64{1}}

// ofU is how 2 U is distributed when k of the shots with these doubled ranks have the
// outcome, each choice as likely as any other.
func ofU(ranks []int, k int) chances {
	most := 0
	for _, r := range ranks {
		most += r
	}
	ways := make([][]float64, k+1) // by how many were chosen and the sum of their ranks
	for i := range ways {
		ways[i] = make([]float64, most+1)
	}
	ways[0][0] = 1
	sum := 0
	for n, r := range ranks {
		sum += r
		for chosen := min(n+1, k); chosen >= 1; chosen-- {
			for s := sum; s >= r; s-- {
				ways[chosen][s] += ways[chosen-1][s-r]
			}
		}
	}
	least := k * (k + 1) // twice the smallest sum of ranks without ties, which is U = 0
	all := Choose(len(ranks), k)
	c := chances{0, ways[k][least:]}
	for i := range c.of {
		c.of[i] /= all
	}
	return c.trimmed()
}

// plus is the distribution of the sum of two that know nothing of each other.
func (c chances) plus(other chances) chances {
	sum := chances{c.from + other.from, make([]float64, len(c.of)+len(other.of)-1)}
	for i, p := range c.of {
		if p == 0 {
			continue
		}
		for j, q := range other.of {
			sum.of[i+j] += p * q
		}
	}
	return sum.trimmed()
}

// negligible is left out at either end of a distribution: far below what a float can add
// to the probabilities that matter, and it keeps a history of hundreds of runs quick.
const negligible = 1e-18

func (c chances) trimmed() chances {
	for len(c.of) > 1 && c.of[0] < negligible {
		c.from, c.of = c.from+1, c.of[1:]
	}
	for len(c.of) > 1 && c.of[len(c.of)-1] < negligible {
		c.of = c.of[:len(c.of)-1]
	}
	return c
}

// beyond is the probability of being as far from the middle as seen, or further.
func (c chances) beyond(middle, seen int) float64 {
	off, p := max(seen-middle, middle-seen), 0.0
	for i, q := range c.of {
		if d := c.from + i - middle; d >= off || -d >= off {
			p += q
		}
	}
	return min(1, p)
}

// deviation is the standard deviation about the middle.
func (c chances) deviation(middle int) float64 {
	squares := 0.0
	for i, q := range c.of {
		d := float64(c.from + i - middle)
		squares += q * d * d
	}
	return math.Sqrt(squares)
}

// tail is the largest even number so that it and all below have no more than p together;
// less than zero when there is none.
func (c chances) tail(p float64) int {
	sum, cut := 0.0, -1
	for i, q := range c.of {
		if sum += q; sum > p+near {
			break
		}
		if (c.from+i)%2 == 0 {
			cut = c.from + i
		}
	}
	return cut
}

// Package exact has the statistics of small samples. A maker has dozens of shots and no
// more, so nothing here leans on a large number of them: what can be counted is counted
// to the end, and what is too much for that is drawn by chance from a seed, so that it
// comes out the same every time. Every probability is two-sided. The package is pure.
//
// Shots of one run have more in common than shots of two, so a comparison is made within
// runs: a Block holds one run, only shots of the same one are ever set against each
// other, and under chance alone every way to deal out a run's outcomes among its shots is
// as likely as any other.
package exact

import (
	"math"
	"slices"
)

// near is what two sums of the same numbers in another order may be apart (E).
const near = 1e-9

// Choose is in how many ways k can be taken out of n, as a float: exact up to 2^53.
func Choose(n, k int) float64 {
	if k < 0 || k > n {
		return 0
	}
	ways := 1.0
	for i := 1; i <= min(k, n-k); i++ {
		ways = math.Round(ways * float64(n-min(k, n-k)+i) / float64(i))
	}
	return ways
}

// Reach is the smallest probability that counts can come to, however clearly the figures
// lie apart: each block is how many shots have the outcome, and how many have not. It is
// 2 over the number of ways to deal the outcomes out (a counting argument), and 1 where
// there is only one way.
func Reach(counts [][2]int) float64 {
	ways := 1.0
	for _, c := range counts {
		ways *= Choose(c[0]+c[1], c[0])
	}
	return min(1, 2/ways)
}

// Each is how many shots of either outcome in one run would let one of several figures
// come to no more than level: the least n with figures × 2 / C(2n, n) ≤ level.
func Each(figures int, level float64) int {
	n := 1
	for float64(figures)*Reach([][2]int{{n, n}}) > level {
		n++
	}
	return n
}

// Fisher is the exact test of a table of two rows {a, b} and {c, d}: the sum of the
// probabilities of all tables with the same margins that are no more probable than this.
// It is 1 for a table with an empty row or column.
func Fisher(a, b, c, d int) float64 {
	row, column, n := a+b, a+c, a+b+c+d
	least, most := max(0, row+column-n), min(row, column)
	// In multiples of the table that was seen, one from the next, because the counts
	// themselves leave the range of a float from about a thousand shots on.
	all, asFar := 1.0, 1.0
	add := func(times float64) {
		all += times
		if times <= 1+1e-7 {
			asFar += times
		}
	}
	times := 1.0
	for x := a + 1; x <= most; x++ {
		times *= float64(row-x+1) * float64(column-x+1) / (float64(x) * float64(n-row-column+x))
		add(times)
	}
	times = 1.0
	for x := a - 1; x >= least; x-- {
		times *= float64(x+1) * float64(n-row-column+x+1) / (float64(row-x) * float64(column-x))
		add(times)
	}
	return min(1, asFar/all)
}

// Wilson is the score interval of k in n, for 95 % (Wilson, J. Am. Stat. Assoc. 22 (1927)
// 209-212, from memory; centre and half width as in Newcombe, Stat. Med. 17 (1998)
// 857-872). Of nothing it is everything.
func Wilson(k, n int) (low, high float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	below := 1 + z*z/m
	centre := (p + z*z/(2*m)) / below
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m)) / below
	return max(0, centre-half), min(1, centre+half)
}

// Holm corrects probabilities for having been looked at together (Holm, Scand. J. Stat. 6
// (1979) 65-70, from memory): the smallest times their number, the next times one less,
// and none below one before it.
func Holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		if p[a] < p[b] {
			return -1
		}
		return 1
	})
	corrected, least := make([]float64, len(p)), 0.0
	for place, i := range order {
		least = max(least, min(1, p[i]*float64(len(p)-place)))
		corrected[i] = least
	}
	return corrected
}

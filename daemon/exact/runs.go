package exact

import (
	"math"
	"math/rand/v2"
)

// Between tells what goes with an outcome from run to run, with the run as the unit: the
// rank correlation (Spearman) of each figure with the rates, and how likely it is by
// chance alone that any of the figures comes as far, when the runs' rates are dealt out
// anew. Figures has a value of each run for every figure; one that is not recorded is NaN
// and counts as the middle. Up to 8 runs are counted to the end; of more, orders are
// drawn as in Largest.
func Between(rates []float64, figures [][]float64, seed uint64) (correlation, p []float64) {
	y := centred(rates)
	correlation, p = make([]float64, len(figures)), make([]float64, len(figures))
	var scores [][]float64
	for j, f := range figures {
		scores = append(scores, centred(f))
		correlation[j] = dot(scores[j], y)
	}
	all := 0.0
	count := func(order []float64) {
		most := 0.0
		for _, s := range scores {
			most = max(most, math.Abs(dot(s, order)))
		}
		for j := range p {
			if most >= math.Abs(correlation[j])-near {
				p[j]++
			}
		}
		all++
	}
	if len(y) <= 8 {
		everyOrder(y, 0, count)
	} else {
		count(y) // the one that was seen is one of them
		random := rand.New(rand.NewPCG(seed, 0x72756e73))
		for range draws(len(y) * len(figures)) {
			random.Shuffle(len(y), func(i, j int) { y[i], y[j] = y[j], y[i] })
			count(y)
		}
	}
	for j := range p {
		p[j] /= all
	}
	return correlation, p
}

// ReachBetween is the smallest probability that so many runs can come to: of all their
// orders, the one that rises and the one that falls.
func ReachBetween(runs int) float64 {
	ways := 1.0
	for i := 2; i <= runs; i++ {
		ways *= float64(i)
	}
	return min(1, 2/ways)
}

// centred are midranks less their mean, scaled to a length of one; those that are not
// known are zero. All alike is all zero.
func centred(values []float64) []float64 {
	var known []float64
	for _, v := range values {
		if !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	ranks, scores, squares := Midranks(known), make([]float64, len(values)), 0.0
	next := 0
	for i, v := range values {
		if math.IsNaN(v) {
			continue
		}
		scores[i] = ranks[next] - float64(len(known)+1)/2
		squares += scores[i] * scores[i]
		next++
	}
	for i := range scores {
		if squares > 0 {
			scores[i] /= math.Sqrt(squares)
		}
	}
	return scores
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// everyOrder calls f with every order of values from one place on.
func everyOrder(values []float64, from int, f func([]float64)) {
	if from >= len(values)-1 {
		f(values)
		return
	}
	for i := from; i < len(values); i++ {
		values[from], values[i] = values[i], values[from]
		everyOrder(values, from+1, f)
		values[from], values[i] = values[i], values[from]
	}
}

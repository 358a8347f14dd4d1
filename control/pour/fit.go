package pour

import "math"

// A melt that was held at c0 and lifted at a moment is at c0 - rate·h(t) a time t after it,
// with h(t) = t - lag·(1 - exp(-t/lag)): a vessel that was warmer than the melt gives that
// up with its lag (two lumps in series, the slower one linearised). Of each pair of moment
// and lag, c0 and rate follow by least squares, with what is known of rates before (Bayes'
// theorem for normal errors; any textbook), and how well they fit is the pair's weight.
const moments = 6

var lagsS = [...]float64{10, 20, 35, 60, 90} // E: metal stirred, to glass that stands still

// Grades: C common practice, E estimate.
const (
	rateKS    = 4.2 / 60 // C: 4 °C a minute at 170 °C, in a draught 7
	rateSigma = 1.4 / 60 // E
	leastRate = 1.0 / 60
	// errorC is what a second's value is off, with what a stir does to several on end (E).
	errorC = 0.3
	// before is how many seconds before the earliest moment say what the melt was (E).
	before = 10
)

// fitted is what a melt's readings come to: its rate in kelvin a second, and when it
// will be at the band's edge, in seconds from now, with standard deviations.
type fitted struct{ rate, inS, inSigma float64 }

// way is one pair of moment and lag.
type way struct{ c0, rate, rateSigma, lnWeight float64 }

// fit weighs all of them.
func (w *Window) fit() fitted {
	var ways [moments * len(lagsS)]way
	best := math.Inf(-1)
	for i := range ways {
		ways[i] = w.along(w.from[i/len(lagsS)], lagsS[i%len(lagsS)])
		best = max(best, ways[i].lnWeight)
	}
	var rates, times mixture
	for i := range ways {
		y := &ways[i]
		weight := math.Exp(y.lnWeight - best)
		fromS, lagS := w.from[i/len(lagsS)], lagsS[i%len(lagsS)]
		in := func(rate float64) float64 {
			return after((y.c0-w.lowerC)/max(rate, leastRate), lagS) - fromS - probeS
		}
		rates.add(weight, y.rate, y.rateSigma)
		times.add(weight, in(y.rate), math.Abs(in(y.rate-y.rateSigma)-in(y.rate+y.rateSigma))/2)
	}
	rate, _ := rates.moments()
	in, inOff := times.moments()
	return fitted{rate, in, inOff}
}

// along fits c0 and rate for a pot that was lifted fromS seconds ago.
func (w *Window) along(fromS, lagS float64) way {
	first := max(0, w.n-int(w.from[0])-before)
	var n, sh, sc, shh, shc, scc float64
	for i := first; i < w.n; i++ {
		h := fell(fromS-float64(w.n-1-i), lagS)
		c := w.c[i] - w.c[first]
		n, sh, sc, shh, shc, scc = n+1, sh+h, sc+c, shh+h*h, shc+h*c, scc+c*c
	}
	const weight = 1 / (errorC * errorC)
	prior := 1 / (rateSigma * rateSigma)
	// With c0 taken out, the rate's normal equation, and the prior's share in it.
	ways, read, left := (shh-sh*sh/n)*weight, (shc-sh*sc/n)*weight, (scc-sc*sc/n)*weight
	rate := (rateKS*prior - read) / (prior + ways)
	misfit := left + 2*rate*read + rate*rate*ways + prior*(rate-rateKS)*(rate-rateKS)
	return way{
		c0: w.c[first] + (sc+rate*sh)/n, rate: max(rate, leastRate), rateSigma: 1 / math.Sqrt(prior+ways),
		lnWeight: -(misfit + math.Log(prior+ways)) / 2,
	}
}

// fell is h(t), in seconds; zero before the lift.
func fell(t, lagS float64) float64 {
	if t <= 0 {
		return 0
	}
	return t + lagS*math.Expm1(-t/lagS)
}

// after is when h is reached, by Newton's method: from the right it comes down to it, as h
// is convex.
func after(h, lagS float64) float64 {
	if h <= 0 {
		return h
	}
	t := h + lagS
	for range 10 {
		t -= (fell(t, lagS) - h) / -math.Expm1(-t/lagS)
	}
	return t
}

// mixture adds up weighted normal distributions.
type mixture struct{ weight, sum, squares float64 }

func (m *mixture) add(weight, mean, sigma float64) {
	m.weight += weight
	m.sum += weight * mean
	m.squares += weight * (mean*mean + sigma*sigma)
}

// moments are the mean and the standard deviation of all.
func (m *mixture) moments() (mean, sigma float64) {
	mean = m.sum / m.weight
	return mean, math.Sqrt(max(0, m.squares/m.weight-mean*mean))
}

package guess

import (
	"math"
	"slices"
)

// candidate is one way to read some registers as a temperature, and what they read so.
type candidate struct {
	layout  Layout
	address uint16
	raw, c  []float64 // as the type reads it, and °C; NaN where nothing was read
	restC   float64   // the median before any hand
	rested  int       // rounds before any hand
}

func (c *candidate) take(w *Watch, round int) {
	raw := math.NaN()
	if regs, ok := w.regs(c.layout, c.address, round); ok {
		raw = c.layout.raw(regs)
	}
	c.raw, c.c = append(c.raw, raw), append(c.c, c.layout.celsius(raw))
}

// What tells a probe from other numbers. All are estimates, without a source.
const (
	quietC     = 1.5  // a probe at rest stays within this of its median
	strayShare = 0.2  // of the rounds at rest may be missing, or further off
	driftC     = 0.8  // and it does not climb or fall by more than this meanwhile, or one count
	handC      = 3.0  // a hand moves a probe by at least this
	warmestC   = 40.0 // and not beyond this
	leapC      = 10.0 // nor by more than this from one second to the next
	sustained  = 3    // rounds
	baseRounds = 5    // before a warming, that it is held against
	// What a probe at rest, in a hand, or with its leads crossed in a hand may read.
	coldestC, hottestC = -20.0, 60.0
)

// strays reports whether too many rounds at rest were no room temperature.
func (c *candidate) strays(room Range) bool {
	strayed := 0
	for _, v := range c.c {
		if !room.has(v) {
			strayed++
		}
	}
	return strayed > 2 && float64(strayed) > strayShare*float64(len(c.c))
}

// rests reports whether it is quiet at the room's temperature, and notes where.
func (c *candidate) rests(room Range) bool {
	read := numbers(c.c)
	c.rested = len(c.c)
	if len(read) < baseRounds || float64(len(read)) < (1-strayShare)*float64(len(c.c)) {
		return false
	}
	c.restC = median(read)
	quiet := 0
	for _, v := range read {
		if math.Abs(v-c.restC) <= quietC {
			quiet++
		}
	}
	third := max(len(read)/3, 1)
	drift := median(read[len(read)-third:]) - median(read[:third])
	return room.has(c.restC) && float64(quiet) >= (1-strayShare)*float64(len(read)) && math.Abs(drift) <= max(driftC, c.layout.countC())
}

// move is what a hand does to a probe.
type move uint8

const (
	still move = iota
	warms
	falls // with its leads crossed
)

// moves says what happened from one round to before another.
func (c *candidate) moves(from, to int) move {
	before := numbers(c.c[max(from-2*baseRounds, 0):from])
	if len(before) == 0 || !c.sound() {
		return still
	}
	base := median(before[max(len(before)-baseRounds, 0):]) // one that was held before may still be cooling
	up, down := 0, 0
	for _, v := range c.c[from:to] {
		up, down = next(up, v >= max(base, c.restC)+handC && v <= warmestC), next(down, v <= c.restC-handC && v >= coldestC)
		switch {
		case up >= sustained && !c.above(from, to):
			return warms
		case down >= sustained && math.Abs(base-c.restC) <= quietC:
			return falls
		}
	}
	return still
}

func next(run int, goes bool) int {
	if goes {
		return run + 1
	}
	return 0
}

// above reports whether it got warmer than a hand.
func (c *candidate) above(from, to int) bool {
	return slices.ContainsFunc(c.c[from:to], func(v float64) bool { return v > warmestC && v <= hottestC })
}

// extreme is the furthest that it went from rest in some rounds.
func (c *candidate) extreme(from, to int) float64 {
	most := c.restC
	for _, v := range c.c[from:to] {
		if c.possible(v) && math.Abs(v-c.restC) > math.Abs(most-c.restC) {
			most = v
		}
	}
	return most
}

func (c *candidate) possible(v float64) bool { return v >= coldestC && v <= hottestC }

// sound reports whether it never did what no probe does: a leap, or several numbers that
// can not be. One number that can not be, again and again, stands for no measurement.
func (c *candidate) sound() bool {
	last := c.restC
	for _, v := range c.c {
		if !c.possible(v) {
			continue
		}
		if math.Abs(v-last) > leapC {
			return false
		}
		last = v
	}
	return len(c.sentinels()) <= 1
}

// sentinels are the numbers, as the type reads them, that can be no temperature here.
func (c *candidate) sentinels() (found []float64) {
	for i, v := range c.c {
		if !math.IsNaN(v) && !c.possible(v) && !slices.Contains(found, c.raw[i]) {
			found = append(found, c.raw[i])
		}
	}
	return found
}

// halves are the upper and the lower 16 bits of a number of 32 bits with a point, by round.
func (c *candidate) halves(round int) (high, low int) {
	bits := math.Float32bits(float32(c.raw[round]))
	return int(bits >> 16), int(bits & 0xFFFF)
}

// pairing says whether two halves belong together, in standard deviations: where the upper
// goes up by one, the lower half of the same number falls from near its highest to near its
// lowest; that of another one knows nothing of it.
func (c *candidate) pairing() float64 {
	var both, upper, lower float64
	steps := 0
	for i := 1; i < len(c.c); i++ {
		if !c.possible(c.c[i]) || !c.possible(c.c[i-1]) {
			continue
		}
		high, low := c.halves(i)
		highBefore, lowBefore := c.halves(i - 1)
		if up, rest := float64(high-highBefore), float64(low-lowBefore)/(1<<16); math.Abs(up) == 1 {
			both, upper, lower, steps = both-up*rest, upper+up*up, lower+rest*rest, steps+1
		}
	}
	if lower == 0 {
		return 0
	}
	return both / math.Sqrt(upper*lower) * math.Sqrt(float64(steps))
}

// varied reports whether the lower half takes several values.
func (c *candidate) varied() bool {
	seen := map[int]bool{}
	for i, v := range c.c {
		if c.possible(v) {
			_, low := c.halves(i)
			seen[low] = true
		}
	}
	return len(seen) >= 4
}

// round is the share of its numbers that are whole in some part of one, such as tenths:
// devices round what they send, and half of one number with half of another is not round.
func (c *candidate) round(parts float64) float64 {
	ends, count := 0, 0
	for i, v := range c.c {
		if c.possible(v) {
			count++
			if raw := parts * c.raw[i]; math.Abs(raw-math.Round(raw)) < 1e-3 {
				ends++
			}
		}
	}
	return float64(ends) / float64(max(count, 1))
}

func numbers(values []float64) []float64 {
	return slices.DeleteFunc(slices.Clone(values), math.IsNaN)
}

// median of some numbers; there must be one.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}

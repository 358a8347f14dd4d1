// Package circuit shares the electrical circuit between the heaters: the sum at
// any instant stays under the breaker's rating, and the mean of any minute under
// the continuous share. Share divides what may flow in the mean; Windows says which
// of the heaters that draw all of their power or none do so now.
package circuit

import (
	"math"
	"time"
)

// Rating is what the supply circuit can carry.
type Rating struct {
	// MaxW is the most power in any cycle, in watts: volts times the breaker's amperes.
	MaxW float64
	// ContinuousW is the most the mean of any minute may reach, in watts. For a
	// load of three hours and more it is 80 % of MaxW in North America (NEC
	// 210.20(A)); elsewhere the local rule.
	ContinuousW float64
}

// window is the span of the mean, in buckets of one second. One bucket more
// than a minute is kept, so that the oldest, partly expired one still counts.
const window = 61

// ahead is over how many seconds a burst is spread out before the minute's
// budget is gone, so that power eases down to the share instead of falling to
// nothing.
const ahead = 10

// longest is how long what is decided now may flow before the next decision: a
// cycle that takes longer is a missed one, and ends with the heat off.
const longest = time.Second

// Share divides the circuit, and remembers the last minute.
type Share struct {
	rating  Rating
	heaters []Heater
	buckets [window]float64 // joules
	second  int64           // the bucket being filled, by bench second
	now     time.Duration
	drawnW  float64 // since the last decision
	open    []bool
	sums    []uint64 // reused
}

// New returns a share of a circuit for heaters.
func New(r Rating, heaters []Heater) *Share {
	allW := 0.0
	for i := range heaters {
		allW += heaters[i].RatedW
	}
	words := int(max(min(r.MaxW, allW), 0))/64 + 1
	return &Share{rating: r, heaters: heaters, open: make([]bool, len(heaters)), sums: make([]uint64, words)}
}

// Divide lowers the duties asked for (0 to 1) until the heaters fit on the circuit
// in the mean. Where not all fit, power goes in proportion to need, and what one
// does not use goes to the others. It never raises a duty. elapsed is the time since
// the last decision.
func (s *Share) Divide(duty, need []float64, elapsed time.Duration) {
	s.book(elapsed)
	budget := min(s.budgetW(), s.packedW(duty))
	total := 0.0
	for i := range duty {
		total += duty[i] * s.heaters[i].RatedW
		s.open[i] = duty[i] > 0
	}
	if total <= budget {
		return
	}
	s.fill(duty, need, budget)
}

// packedW is the most that can flow at once for these duties, seeing that some
// heaters draw all of their power or none.
func (s *Share) packedW(duty []float64) float64 {
	smoothW, wholeW := 0.0, 0.0
	for i := range s.heaters {
		if h := &s.heaters[i]; !h.whole() {
			smoothW += duty[i] * h.RatedW
		} else if duty[i] > 0 {
			wholeW += h.RatedW
		}
	}
	if wholeW <= s.rating.MaxW {
		return smoothW + wholeW
	}
	return smoothW + s.packW(duty)
}

// packW is the most that whole heaters which are asked for draw together on the circuit,
// of all sums that any of them make: a bit for each, in whole watts.
func (s *Share) packW(duty []float64) float64 {
	clear(s.sums)
	s.sums[0] = 1
	for i := range s.heaters {
		if h := &s.heaters[i]; h.whole() && duty[i] > 0 && h.RatedW <= s.rating.MaxW {
			add(s.sums, int(math.Ceil(h.RatedW)))
		}
	}
	for w := min(int(s.rating.MaxW), 64*len(s.sums)-1); w > 0; w-- {
		if s.sums[w/64]>>(w%64)&1 == 1 {
			return float64(w)
		}
	}
	return 0
}

// add puts to every sum the one with so many watts more.
func add(sums []uint64, watts int) {
	far, near := watts/64, watts%64
	for i := len(sums) - 1; i >= far; i-- {
		more := sums[i-far] << near
		if near > 0 && i > far {
			more |= sums[i-far-1] >> (64 - near)
		}
		sums[i] |= more
	}
}

// fill hands out the budget in rounds: whoever asks for less than its part is
// served in full, and its rest is shared among the others.
func (s *Share) fill(duty, need []float64, budget float64) {
	for {
		weight := 0.0
		for i := range duty {
			if s.open[i] {
				weight += need[i] + minNeed
			}
		}
		served := false
		left := budget
		for i := range duty {
			if s.open[i] && duty[i]*s.heaters[i].RatedW <= budget*(need[i]+minNeed)/weight {
				s.open[i], served = false, true
				left -= duty[i] * s.heaters[i].RatedW
			}
		}
		if !served {
			for i := range duty {
				if s.open[i] {
					duty[i] = math.Floor(budget*(need[i]+minNeed)/weight/s.heaters[i].RatedW*steps) / steps
				}
			}
			return
		}
		budget = max(left, 0)
	}
}

// steps is how finely a circuit that is full is shared, downwards, so that neither
// a device's rounding nor a number's last bit goes over the rating.
const steps = 10000

// minNeed keeps a pot that needs nothing more from being shut out of a circuit
// it only wants a little of.
const minNeed = 1e-3

// budgetW is the mean power that may flow until the next decision.
func (s *Share) budgetW() float64 {
	eased := (s.rating.ContinuousW*60 - s.joules(window-ahead)) / ahead
	return max(0, min(s.RoomW(), eased))
}

// RoomW is the most power that may flow at any instant until the next decision.
func (s *Share) RoomW() float64 {
	atOnce := (s.rating.ContinuousW*60 - s.joules(window)) / longest.Seconds()
	return max(0, min(s.rating.MaxW, atOnce))
}

// joules is what was drawn in the last so many seconds.
func (s *Share) joules(seconds int64) float64 {
	sum := 0.0
	for age := range seconds {
		sum += s.buckets[(s.second-age+window)%window]
	}
	return sum
}

// book moves to the bucket of the present second, empties those passed, and puts
// in what has been drawn since the last decision: at its end, so that it counts
// rather too long than too short.
func (s *Share) book(elapsed time.Duration) {
	elapsed = max(elapsed, 0)
	s.now += elapsed
	second := int64(s.now / time.Second)
	for n := min(second-s.second, window); n > 0; n-- {
		s.buckets[(second-n+1)%window] = 0
	}
	s.second = second
	s.buckets[second%window] += s.drawnW * elapsed.Seconds()
}

// Drawn tells what the heaters are really told to draw until the next decision.
func (s *Share) Drawn(watts float64) { s.drawnW = watts }

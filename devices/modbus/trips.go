package modbus

import (
	"slices"
	"sync"
	"time"
)

// Remembered is of how many of the last answered exchanges a device's times are told:
// some ten seconds of a bench, so that a cable that was mended shows soon.
const Remembered = 128

// tripBounds are the upper bounds by which round trips are counted: from an answer at
// 115200 bits per second to the longest time-out that a device may have.
var tripBounds = [...]time.Duration{
	2 * time.Millisecond, 5 * time.Millisecond, 10 * time.Millisecond, 20 * time.Millisecond, 50 * time.Millisecond,
	100 * time.Millisecond, 200 * time.Millisecond, 500 * time.Millisecond, time.Second,
}

// Trips are the times of the exchanges that a device has answered, refusals too. They may
// be read at any time.
type Trips struct {
	mu    sync.Mutex
	n     uint64
	sum   time.Duration
	under [len(tripBounds)]uint64
	last  [Remembered]trip
}

// trip is one round trip: all of it, and what is beyond the time on the wire.
type trip struct{ round, turn time.Duration }

func (t *Trips) add(one trip) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.last[t.n%Remembered] = one
	t.n++
	t.sum += one.round
	for i, bound := range tripBounds {
		if one.round <= bound {
			t.under[i]++
		}
	}
}

// Times are how long a device takes, in bench time. Where N is zero nothing is known.
type Times struct {
	// N is how many exchanges were answered since the device's making, Sum how long they
	// took together, and Under how many took at most as long as each bound.
	N     uint64
	Sum   time.Duration
	Under map[time.Duration]uint64
	// Of is how many of the last exchanges the rest is told of, Remembered at most.
	Of int
	// Median and Worst are round trips: from the first byte of the request to the last of
	// the reply.
	Median, Worst time.Duration
	// Turn is in the median what of it was not the time of both frames on the wire: the
	// silence by which a device knows the end of a request, its own time, and whatever an
	// adapter adds. Zero where the line is not as slow as its speed says: a
	// pseudo-terminal.
	Turn time.Duration
}

// Times returns what is known by now.
func (t *Trips) Times() Times {
	t.mu.Lock()
	defer t.mu.Unlock()
	all := Times{N: t.n, Sum: t.sum, Under: map[time.Duration]uint64{}, Of: int(min(t.n, Remembered))}
	for i, bound := range tripBounds {
		all.Under[bound] = t.under[i]
	}
	if all.Of == 0 {
		return all
	}
	round, turn := make([]time.Duration, all.Of), make([]time.Duration, all.Of)
	for i, one := range t.last[:all.Of] {
		round[i], turn[i] = one.round, one.turn
	}
	all.Median, all.Worst = middleAndLast(round)
	all.Turn, _ = middleAndLast(turn)
	return all
}

// middleAndLast sorts spans, and returns the one in their middle and the longest.
func middleAndLast(spans []time.Duration) (middle, last time.Duration) {
	slices.Sort(spans)
	return spans[(len(spans)-1)/2], spans[len(spans)-1]
}

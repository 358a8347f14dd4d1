// Package timing measures how long something takes, on a computer that may be busy with
// other things as well. For tests only.
package timing

import (
	"fmt"
	"time"
)

// Took is how long something took once.
type Took struct {
	// Clock is the time that passed, and Processor how much of a processor this program had
	// meanwhile, for whatever; it is zero where the system does not say.
	Clock, Processor time.Duration
}

// waits is how many times as long as it should something may take by the clock on a computer
// that others use as well (E: seen were five packages' tests on two processors). What takes
// longer waits for something of its own.
const waits = 4

// Within reports whether something takes at most so long on a computer with nothing else to
// do. Where more time passed, it still does if it did not need more of a processor: the rest
// was spent waiting for one, or for a disk, that others were using.
func (t Took) Within(most time.Duration) bool {
	return t.Clock <= most || t.Clock <= waits*most && t.Processor > 0 && t.Processor <= most
}

// String is the time that passed, and what was needed of a processor where that was less.
func (t Took) String() string {
	if t.Processor > 0 && t.Processor < t.Clock*9/10 {
		return fmt.Sprintf("%.0f ms (%.0f of a processor)", ms(t.Clock), ms(t.Processor))
	}
	return fmt.Sprintf("%.0f ms", ms(t.Clock))
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

const fewest, mostTries = 5, 50

// Fastest does something five times, and more often while it is not within most, and returns
// the try that took least by the clock, of those within where there are any: what else the
// computer does only adds to a time.
func Fastest(most time.Duration, f func()) Took {
	best := timed(f)
	for try := 1; try < fewest || try < mostTries && !best.Within(most); try++ {
		if t := timed(f); t.Within(most) && !best.Within(most) || t.Within(most) == best.Within(most) && t.Clock < best.Clock {
			best = t
		}
	}
	return best
}

func timed(f func()) Took {
	used, began := Used(), time.Now()
	f()
	return Took{time.Since(began), Used() - used}
}

package demo

import (
	"fmt"
	"time"

	"meltwarden/control"
)

// lifts is what was made of pots that left their plates, or did not.
type lifts struct {
	pots              []liftedPot
	unmarked, noticed int      // those of 25 s and more
	needless          []string // noticed on a pot that had not left its plate for a minute
	heldBack          int      // times that heat was held back from such a pot
	heldBackFor       time.Duration
}

// liftedPot is one pot's lifts so far.
type liftedPot struct {
	unmarked, counted bool
	from, last        time.Duration
	noticed, maybe    bool // in the last cycle
	seenToAt          time.Duration
}

// noticeable is how long a pot has to be gone to be counted as one that could be noticed.
const noticeable = 25 * time.Second

// look counts what becomes of the pots in a cycle, and does what a maker does about a lift
// that was noticed: put the pot back, say so, and press.
func (l *lifts) look(q *quick) {
	for i, truth := range q.bench.Truth().Pots {
		p, f := &l.pots[i], &q.f.Pots[i]
		if truth.Lifted {
			if p.last < q.f.Time-q.settings.Period {
				p.from, p.counted = q.f.Time, false
			}
			p.last = q.f.Time
		}
		if truth.Lifted && p.unmarked && q.f.Time-p.from >= noticeable && !p.counted {
			p.counted = true
			l.unmarked++
		}
		stood := q.f.Time-p.last > time.Minute
		if f.Noticed && !p.noticed {
			p.seenToAt = q.f.Time + time.Minute
			if stood {
				l.needless = append(l.needless, fmt.Sprintf("pot %d at %v", i, q.f.Time))
			} else if p.counted {
				l.noticed++
			}
		}
		if f.MaybeLifted && stood {
			l.heldBackFor += q.settings.Period
			if !p.maybe {
				l.heldBack++
			}
		}
		if f.Noticed && q.f.Time >= p.seenToAt {
			q.bench.Return(i)
			q.mark(control.Return, i)
			q.bench.PressEnable()
			p.seenToAt += time.Minute
		}
		p.noticed, p.maybe = f.Noticed, f.MaybeLifted
	}
}

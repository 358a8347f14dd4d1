package api

import (
	"slices"
	"sync"
	"time"

	"meltwarden/daemon/checks"
	"meltwarden/daemon/history"
)

// tick is one check that somebody ticked off.
type tick struct {
	at   time.Time
	from string // as history.Event has it
	run  int64  // zero where none was recorded
	off  bool   // it was taken away then
}

// ticked is what has been ticked off. A tick is of the run in which it was made, and of no
// other: it stands until that run ends, and no longer than checks.Stands. What history has
// of the run being recorded is among them. The zero value has nothing ticked. It is safe for
// use by several goroutines.
type ticked struct {
	mu     sync.Mutex
	all    map[string]tick
	loaded int64 // the run of which history's are among them
}

// set ticks a check off, or takes the tick away. One that stands keeps its time and who made
// it. keep writes down what is new; where it can not, nothing is changed.
func (t *ticked) set(key string, on bool, is tick, keep func() error) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if _, was := t.standing(key, is.at, is.run); was == on {
		return nil
	}
	if err := keep(); err != nil {
		return err
	}
	t.put(key, on, is)
	return nil
}

func (t *ticked) put(key string, on bool, is tick) {
	if t.all == nil {
		t.all = map[string]tick{}
	}
	is.off = !on
	t.all[key] = is
}

// when is the tick of a check in a run, where one stands.
func (t *ticked) when(key string, now time.Time, run int64) (is tick, stands bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.standing(key, now, run)
}

func (t *ticked) standing(key string, now time.Time, run int64) (tick, bool) {
	is, there := t.all[key]
	if !there || is.off || now.Sub(is.at) > checks.Stands || is.run != run {
		return tick{}, false
	}
	return is, true
}

// recall takes up what was ticked off in the run being recorded before the program was
// started, but for checks of which something was said since. What can not be read now is asked for again.
func (t *ticked) recall(h *history.Store, run int64, all []checks.Check) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if run == 0 || run == t.loaded {
		return
	}
	events, err := h.Events(run)
	if err != nil {
		return
	}
	t.loaded = run
	for _, e := range events {
		i := slices.IndexFunc(all, func(c checks.Check) bool { return c.Short == e.Text })
		if i >= 0 && !t.all[all[i].Key].at.After(e.Wall) && (e.Kind == history.Ticked || e.Kind == history.Unticked) {
			t.put(all[i].Key, e.Kind == history.Ticked, tick{at: e.Wall, from: e.From, run: run})
		}
	}
}

package api

import (
	"sync"
	"time"
)

// ticked is what has been ticked off, in memory: it outlives a page that is loaded anew,
// and not the program. The zero value has nothing ticked. It is safe for use by several
// goroutines.
type ticked struct {
	mu sync.Mutex
	at map[string]time.Time
}

// set makes these keys, and no others, the ones that are ticked; one that was before keeps
// its time.
func (t *ticked) set(keys []string, now time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	at := map[string]time.Time{}
	for _, k := range keys {
		at[k] = now
		if before, was := t.at[k]; was {
			at[k] = before
		}
	}
	t.at = at
}

// when is when a check was ticked; the zero time where it is not.
func (t *ticked) when(key string) time.Time {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.at[key]
}

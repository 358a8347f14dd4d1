package phone

import (
	"net/netip"
	"sync"
	"time"
)

// Wrong secrets are guesses, or a page that was left open. A secret can not be guessed at
// any pace; the limit keeps a guesser from working the bench's computer.
const (
	// mostTries is how many wrong secrets in a row one place may hand in; another one is
	// taken from it every tryEvery (E).
	mostTries = 10
	tryEvery  = 6 * time.Second
	// mostPlaces bounds what is remembered; beyond it all others count as one place.
	mostPlaces = 256
)

// Tries counts wrong secrets by the place that they come from. Its zero value is ready; it
// is safe for use by several goroutines.
type Tries struct {
	mu     sync.Mutex
	places map[netip.Prefix]time.Time // when all of its tries are forgotten
}

// placeOf is who counts as one: an address of the old protocol, a network of the new one,
// in which a computer has as many addresses as it likes. Others count as one place.
func placeOf(host string) netip.Prefix {
	a, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Prefix{}
	}
	bits := 32
	if a = a.Unmap().WithZone(""); a.Is6() {
		bits = 64
	}
	p, _ := a.Prefix(bits) // both fit
	return p
}

// Wait is how long a host has to wait until a secret is taken from it again; zero is not
// at all.
func (t *Tries) Wait(host string, now time.Time) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	owed := max(t.places[t.known(placeOf(host))].Sub(now), 0)
	return max(owed-(mostTries-1)*tryEvery, 0)
}

// Wrong counts a wrong secret from a host.
func (t *Tries) Wrong(host string, now time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.places == nil {
		t.places = map[netip.Prefix]time.Time{}
	}
	place := placeOf(host)
	if len(t.places) >= mostPlaces {
		t.forget(now)
	}
	place = t.known(place)
	from := t.places[place]
	if from.Before(now) {
		from = now
	}
	t.places[place] = from.Add(tryEvery)
}

// known is the place that a place counts as.
func (t *Tries) known(place netip.Prefix) netip.Prefix {
	if _, is := t.places[place]; !is && len(t.places) >= mostPlaces {
		return netip.Prefix{}
	}
	return place
}

func (t *Tries) forget(now time.Time) {
	for place, until := range t.places {
		if until.Before(now) {
			delete(t.places, place)
		}
	}
}

// Package call decides what lamp and buzzer say: a few distinct patterns, the
// worst wins, and silence stops the sound without clearing anything.
package call

import "time"

// Sound is one of the things a bench can say.
type Sound uint8

// The sounds, least urgent first. A buzzer has no pitch: on the bench the
// rhythm tells them apart, on the page the pitch as well.
const (
	Quiet  Sound = iota
	Tick         // a pot has become ready or wants a hand: short beeps, as many as the pot's number
	Ready        // every pot is ready to pour: a short and a long beep, a rising pair on the page
	Act          // act within a minute: three beeps, falling on the page
	Danger       // heat has been cut: fast alternating
)

var soundNames = [...]string{"quiet", "tick", "ready", "act", "danger"}

// String returns the sound's name.
func (s Sound) String() string { return soundNames[s] }

// State is what is being called in this cycle.
type State struct {
	Sound Sound
	// Pot is the number of the pot called, from 1; zero means the whole bench.
	Pot      int
	Silenced bool
	// Seq goes up by one with every new call, so that a page or a terminal
	// plays each call once however often it is told.
	Seq uint64
	// Since is how long the call has been going on.
	Since time.Duration
}

// Wanted is what the bench has to say in a cycle.
type Wanted struct {
	Trips, Warnings int // how many are there
	// FreshTrips and FreshWarnings are how many of them were not there in the cycle
	// before: as many as before may be other ones.
	FreshTrips, FreshWarnings int
	Ready                     bool // every pot is ready to pour
	News                      int  // number of a pot that is ready or wants a hand since now, from 1; or zero
	Hot                       bool
	Silence                   bool // somebody pressed silence
}

// Caller remembers what has been called.
type Caller struct {
	state    State
	before   Wanted
	quietFor time.Duration // since somebody pressed silence
}

// Step takes what is wanted and returns the call, the lamp and the buzzer.
func (c *Caller) Step(w Wanted, elapsed time.Duration) (s State, lamp, buzzer bool) {
	c.state.Since += elapsed
	sound, pot, fresh := c.choose(w)
	if fresh {
		c.state = State{Sound: sound, Pot: pot, Seq: c.state.Seq + 1}
	} else if sound != c.state.Sound {
		c.state.Sound, c.state.Pot = sound, pot
	}
	// What begins in this very cycle has not been heard yet, so nobody silenced it.
	if w.Silence && !fresh {
		c.state.Silenced, c.quietFor = true, 0
	}
	// Silence is no answer: what still needs somebody is said again.
	if c.quietFor += elapsed; c.quietFor >= silenceLasts && sound >= Act {
		c.state.Silenced = false
	}
	c.before = w
	return c.state, lampOn(c.state, w), buzzerOn(c.state)
}

// choose returns the worst call that is due and whether it is a new one.
func (c *Caller) choose(w Wanted) (sound Sound, pot int, fresh bool) {
	switch {
	case w.Trips > 0:
		return Danger, 0, w.FreshTrips > 0 || c.before.Trips == 0
	case w.Warnings > 0:
		return Act, 0, w.FreshWarnings > 0 || c.before.Warnings == 0 || c.before.Trips > 0
	case w.Ready:
		return Ready, 0, !c.before.Ready || c.before.Trips > 0 || c.before.Warnings > 0
	case w.News > 0:
		return Tick, w.News, true
	case c.state.Sound == Tick && c.state.Since < tickLasts:
		return Tick, c.state.Pot, false
	}
	return Quiet, 0, false
}

const (
	beat      = 200 * time.Millisecond // one cycle: the shortest beep a bench can make
	tickLasts = 5 * time.Second
	again     = 10 * time.Second // calls that repeat do so this often
	// silenceLasts is how long a press of silence stops the sound of a warning or a trip
	// (C).
	silenceLasts = 2 * time.Minute
	readyFor     = 30 * time.Second // "ready" is said three times, then the lamp alone says it
)

// buzzerOn is the rhythm of each sound.
func buzzerOn(s State) bool {
	if s.Silenced {
		return false
	}
	n := int(s.Since / beat)
	in := int(s.Since % again / beat)
	switch s.Sound {
	case Danger:
		return n%2 == 0
	case Act:
		return in < 9 && in%3 != 2 // three beeps of two beats
	case Ready:
		return s.Since < readyFor && (in < 4 || in >= 6 && in < 12) // short, then longer
	case Tick:
		return n < 2*s.Pot && n%2 == 0
	}
	return false
}

// lampOn is steady for ready, fast for danger, slow for "act", and a short wink
// every few seconds for as long as the bench is hot.
func lampOn(s State, w Wanted) bool {
	n := int(s.Since / beat)
	switch s.Sound {
	case Danger:
		return n%2 == 0
	case Act:
		return n%6 < 3
	case Ready:
		return true
	}
	return w.Hot && n%20 == 0
}

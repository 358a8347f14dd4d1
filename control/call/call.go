// Package call decides what lamp and buzzer say: a few distinct patterns, the
// worst wins, and silence stops the sound without clearing anything.
package call

import "time"

// Sound is one of the four things a bench can say.
type Sound uint8

// The sounds, least urgent first.
const (
	Quiet  Sound = iota
	Tick         // a pot has changed its stage, or one pot is ready
	Ready        // every pot is ready to pour: a rising pair
	Act          // act within a minute: falling three
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

// Package plan foresees an evening: what goes into each pot, who heats and who waits from
// when, what hands have to do and when, how long it takes until all pots are ready, and
// what the circuit carries meanwhile. It is pure: a bench, a recipe, what is known of the
// pots and what earlier runs took come to the same plan, whenever it is made.
//
// The way is a rehearsal: the program's own control leads pots that are simulated by what
// is known of them. What earlier runs on the bench took, hands included, over what a
// rehearsal makes of those runs corrects it; how far these ratios lie apart is the range.
// All of it is an estimate, and nothing heats by it.
package plan

import (
	"fmt"
	"math"
	"time"

	"meltwarden/config"
	"meltwarden/config/quantity"
	"meltwarden/control"
	"meltwarden/control/reading"
)

// Given is what a plan rests on.
type Given struct {
	Bench  *config.Bench
	Recipe *config.Recipe
	// Settings are what both come to, with what is known of the pots.
	Settings control.Settings
	// Recalled says in words what is known of each pot.
	Recalled []string
	// Course is the rehearsal of the settings in that room, by Rehearse; nil where a pot
	// has one probe only.
	Course *Course
	// Earlier are earlier runs on the bench, the newest first.
	Earlier []Earlier
	Wanted
	// RoomAssumed is true where nobody measured the room.
	RoomAssumed bool
}

// Wanted is what a person says of the evening.
type Wanted struct {
	// Begin is when heat is to be enabled, ReadyAt when all is to be ready. At most one of
	// them counts, the first; both may be zero.
	Begin, ReadyAt time.Time
	// RoomC is the room in degrees Celsius; NaN where it is not known.
	RoomC float64
}

// AssumeRoom takes a room for one that is not known.
func (g *Given) AssumeRoom(c float64) {
	if g.RoomAssumed = math.IsNaN(g.RoomC); g.RoomAssumed {
		g.RoomC = c
	}
}

// Plan is an evening as it is foreseen.
type Plan struct {
	Given
	// Version is the number of the recipe's version, zero for a file that is not kept.
	Version int
	// Ready is how long after the press all pots are ready.
	Ready Expected
}

// CanRehearse reports whether every pot is seen well enough to be rehearsed: half a pot is
// led by a person's readings, and what a controller gives its plate nobody knows.
func CanRehearse(set control.Settings) bool {
	for _, p := range set.Pots {
		if p.Probes != reading.BothProbes || p.Controller.Is() {
			return false
		}
	}
	return true
}

// Of makes a plan. Where all is to be ready at a time, it begins by the middle of what is
// expected.
func Of(g Given) *Plan {
	p := &Plan{Given: g}
	if g.Course == nil || g.Course.Ready < 0 {
		return p
	}
	p.Ready = Expect(g.Course.Ready, p.restsOn(), g.Earlier)
	if p.Begin.IsZero() && !p.ReadyAt.IsZero() {
		p.Begin = p.ReadyAt.Add(-p.Ready.Middle).Round(time.Minute)
	}
	return p
}

// restsOn is what the plan rests on, of the pot that is known least.
func (p *Plan) restsOn() Basis {
	switch {
	case p.firstHeats() != nil:
		return OnGuesses
	case p.warmedOnly() != nil:
		return OnFirstHeats
	}
	return OnEvenings
}

// warmedOnly are the colours of the pots that are known by a first heat only.
func (p *Plan) warmedOnly() (colours []string) {
	for i := range p.Settings.Pots {
		if set := &p.Settings.Pots[i]; known(set) && set.Known.FirstHeat() {
			colours = append(colours, set.Colour)
		}
	}
	return colours
}

// firstHeats are the colours of the pots of which nothing is known.
func (p *Plan) firstHeats() (colours []string) {
	for i := range p.Settings.Pots {
		if set := &p.Settings.Pots[i]; !known(set) {
			colours = append(colours, set.Colour)
		}
	}
	return colours
}

// known reports whether anything is known of a pot that can be said of it.
func known(set *control.PotSettings) bool { return set.Known != nil && set.Known.Fits(set.LoopPot()) }

// At is the next time that the clock shows so, such as 19:30, from now on.
func At(now time.Time, typed string) (time.Time, error) {
	t, err := time.ParseInLocation("15:04", typed, now.Location())
	if err != nil {
		return time.Time{}, fmt.Errorf("%q: %w", typed, &quantity.Fault{Wrong: "no time of day", Fix: "write it like 19:30"})
	}
	at := time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location())
	if at.Before(now.Truncate(time.Minute)) {
		at = at.AddDate(0, 0, 1)
	}
	return at, nil
}

// likely is a time of the rehearsal as it is to be expected.
func (p *Plan) likely(foreseen time.Duration) time.Duration {
	return time.Duration(float64(foreseen) * p.Ready.Ratio)
}

// What a room can be, in degrees Celsius (E): colder or warmer is a slip of the unit.
const minRoomC, maxRoomC = 0.0, 45.0

// Room reads how warm a room is, in degrees Celsius, from a text with its unit.
func Room(typed string) (float64, error) {
	c, err := quantity.Temperature(typed)
	if err == nil && !(c >= minRoomC && c <= maxRoomC) {
		err = &quantity.Fault{Wrong: "hard to believe of a room", Fix: "check number and unit: 0 C to 45 C"}
	}
	if err != nil {
		return 0, fmt.Errorf("%q: %w", typed, err)
	}
	return c, nil
}

// Package cause is the trade's table of what may have spoilt a bait: for each fault
// the causes that show in the figures kept with a shot and on which side of the usual,
// the causes that no thermometer sees, and what to try. All of it is common practice
// without a source, or an estimate; so a cause is a hypothesis, and what it is held
// against is the maker's own shots.
package cause

import "slices"

// Side is where a figure has to be for a cause to fit.
type Side int

// The sides.
const (
	High Side = 1
	Low  Side = -1
)

// Cause is a cause that shows in a figure.
type Cause struct {
	Name   string // in words: "a pot above its own target"
	Figure *Figure
	Side   Side
	Try    Try
}

// Try is a kind of change that may help.
type Try int

// What can be tried. Each is one thing, so that its effect can be told.
const (
	Nothing    Try = iota
	Cooler         // lower the set-point of the pot that is hottest
	Warmer         // raise the set-point of the pot that is coldest
	MatchPots      // push only when all pots are in their bands: narrow the band
	CoolMould      // let the mould cool between shots
	WarmMould      // warm the mould before the first shot
	PushSooner     // from the draw to the push in less time
	HoldLess       // shoot sooner after the cure, in smaller potfuls
	StirFirst      // stir just before the draw
	CureLonger     // a longer dwell at the cure temperature
	LowerPlate     // a lower limit for the plate
)

// Fault is what is known of the causes of one fault.
type Fault struct {
	Name string
	// Seen are the causes that a record can speak for or against, Unseen those that it
	// can not.
	Seen   []Cause
	Unseen []string
}

// causes that several faults share
var (
	hotPot      = Cause{"a pot above its own target", Hottest, High, Cooler}
	coldPot     = Cause{"a pot below its own target", Coldest, Low, Warmer}
	unlike      = Cause{"pots unlike beside their targets: the thinner colour wraps the thicker", Spread, High, MatchPots}
	hotMould    = Cause{"a hot mould", Mould, High, CoolMould}
	coldMould   = Cause{"a cold mould", Mould, Low, WarmMould}
	longDraw    = Cause{"a long time from draw to push", Draw, High, PushSooner}
	longStir    = Cause{"long since it was stirred", SinceStir, High, StirFirst}
	hotPlate    = Cause{"a hot plate under a melt that reads right", Plate, High, LowerPlate}
	heldLong    = Cause{"held hot for long", Held, High, HoldLess}
	highDose    = Cause{"a high heat dose", Dose, High, HoldLess}
	hardlyCured = Cause{"hardly held since it was cured", HeldLeast, Low, CureLonger}
	lateShot    = Cause{"a late shot of its run", Number, High, CoolMould}
	earlyShot   = Cause{"an early shot of its run", Number, Low, WarmMould}
	coldShop    = Cause{"a cold shop", Room, Low, Nothing}
)

// faults is the table. Grades: common practice, no source, as far as nothing else is
// said.
var faults = []Fault{
	{"bled", []Cause{hotPot, hotMould, unlike, longDraw}, []string{"a rough or fast push", "one injector ahead of the others", "a worn manifold"}},
	{"swirled", []Cause{unlike, hotPot}, []string{"unequal strokes", "softener: colours that flow unlike at the same temperature"}},
	{"seam", []Cause{coldPot, longDraw, coldMould}, []string{"oil on the seam", "a pause in the push", "cold injectors"}},
	{"dented", []Cause{hotPot, hotMould, lateShot}, []string{"pressure let go too early", "an empty sprue", "no vent"}},
	{"short", []Cause{coldPot, coldMould, earlyShot, longDraw}, []string{"trapped air", "a skin in the gate", "too little in an injector"}},
	{"flash", []Cause{hotPot, hotMould}, []string{"the clamp: loose, or dirt between the halves"}},
	{"bubbles", []Cause{hardlyCured, coldShop, hotPot}, []string{"moisture on tools, probe or mould, or in what was added", "air drawn in", "a leaky injector"}},
	{"scorched", []Cause{highDose, heldLong, hotPlate, hotPot, longStir}, []string{"old scrap in the pot", "a hot spot where nobody stirs"}},
	{"cloudy", []Cause{hardlyCured, coldPot}, []string{"a jug that had settled", "salt"}},
	{"dull", []Cause{coldMould, earlyShot}, []string{"oil or dirt in the mould"}},
	{"low contrast", nil, []string{"the recipe's own colours: see their contrast with its neighbours"}},
	{"flake sunk", []Cause{longStir, hotPot}, []string{"coarse flake"}},
}

// Of is what is known of a fault; ok is false for a word that is none.
func Of(fault string) (f Fault, ok bool) {
	i := slices.IndexFunc(faults, func(f Fault) bool { return f.Name == fault })
	if i < 0 {
		return Fault{}, false
	}
	return faults[i], true
}

// Names are the faults of the table.
func Names() (names []string) {
	for _, f := range faults {
		names = append(names, f.Name)
	}
	return names
}

// Migration are the causes of a bleed that shows only days later. No thermometer sees
// any of them, and it is never charged to temperature.
func Migration() []string {
	return []string{
		"a colourant that dissolves in the plasticiser (a dye) where a pigment would stay",
		"baits of unlike colours stored in touch",
		"warm storage",
	}
}

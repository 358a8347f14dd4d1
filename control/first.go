package control

import (
	"slices"
	"time"

	"meltwarden/control/loop"
	"meltwarden/control/reading"
)

// The bounds of a first heat: raw paste gels from 75 °C on (published), by some accounts
// from 60 °C, and stays the liquid that it is below. A vessel's wall is between melt and
// plate. Grades: E estimate.
const (
	FirstHeatToC    = 45.0             // E: warm enough to tell what passes to the melt, cold enough to stay a paste
	FirstHeatPlateC = 68.0             // E: a wall is 60 °C then, and the paste stays liquid at it
	FirstHeatFor    = 12 * time.Minute // E: the slowest pot that can be told is there in 10; the guard cuts an unattended plate after 15
	firstMeltWarnC  = 50.0             // E
	firstMeltTripC  = 55.0             // E
	firstPlateTripC = 85.0             // E: above any overshoot of its limit
)

// ForFirstHeat is settings of an evening as those of a first heat: the bounds that are lower
// than the evening's own, and the pots warmed whose names are given. One with a single probe
// is left cold: its other temperature would be guessed at by what is to be found out. So is one
// that a controller heats: nobody knows what that gives.
func ForFirstHeat(s Settings, pots []string) Settings {
	s.Pots = slices.Clone(s.Pots)
	s.Limits.MeltWarnC = min(s.Limits.MeltWarnC, firstMeltWarnC)
	s.Limits.MeltTripC = min(s.Limits.MeltTripC, firstMeltTripC)
	s.Limits.PlateTripC = min(s.Limits.PlateTripC, firstPlateTripC)
	for i := range s.Pots {
		p := &s.Pots[i]
		p.Known, p.FirstHeat = nil, FirstHeat{ToC: FirstHeatToC}
		p.PlateLimitC, p.SetpointC = min(p.PlateLimitC, FirstHeatPlateC), FirstHeatToC
		if p.Probes == reading.BothProbes && !p.Controller.Is() && slices.Contains(pots, p.Name) {
			p.FirstHeat.For = FirstHeatFor
		}
	}
	return s
}

// FirstHeat is what a pot of raw paste goes through in place of an evening, so that the
// first one need not begin with guesses.
type FirstHeat struct {
	// ToC is what its melt is warmed to, in degrees Celsius: far below where it gels. Zero
	// is an ordinary evening.
	ToC float64
	// For is for how long it may be heated at most; zero leaves it cold.
	For time.Duration
}

// Is reports whether there is a first heat at all.
func (h FirstHeat) Is() bool { return h.ToC > 0 }

// Warming is how far a pot has come in its first heat.
type Warming uint8

// The ways of a pot through its first heat. The zero value is an ordinary evening.
const (
	NoFirstHeat   Warming = iota
	LeftCold              // it is not heated
	Warms                 // or waits for heat to be enabled
	Understood            // it was heated, and what it showed will be kept
	TooLittleRise         // it was heated for all the time, and rose by too little to tell
	TakesLittle           // its melt takes up no more heat than any is taken to: that may be the stirring
	Otherwise             // it is built otherwise than pots are taken to be
)

var warmingNames = [...]string{
	"", "left cold", "warming", "understood", "rose too little to tell anything", "takes up no more heat than any pot is taken to", "answers otherwise than any pot is taken to",
}

// String returns it in words.
func (w Warming) String() string { return warmingNames[w] }

// Grades: E estimate.
const (
	coastsFor = 90 * time.Second // E: what the plate holds is in the melt by then, for the most part
	tellsRise = 8.0              // E: of less, the probe's noise and steps are too large a share, in kelvin
	// tellsPass is what a melt has to take up, over what it is taken for, to be kept (E): a
	// lazy stir, thick paste and an oil bath take much away from that, and a keen stir adds
	// little.
	tellsPass = 1.1
)

// first is what is remembered of a first heat.
type first struct {
	heated, coasted time.Duration
	begun, cut      bool
	fromC           float64 // the melt, when it was first heated
	ended           Warming // NoFirstHeat until it has
}

// warming is how far the pot has come in its first heat.
func (p *pot) warming() Warming {
	switch h := p.set.FirstHeat; {
	case !h.Is():
		return NoFirstHeat
	case h.For <= 0:
		return LeftCold
	case p.first.ended != NoFirstHeat:
		return p.first.ended
	}
	return Warms
}

// rests reports whether the pot's first heat leaves it without any, now.
func (p *pot) rests() bool { return p.set.FirstHeat.Is() && (p.first.cut || p.warming() != Warms) }

// warm counts a cycle of a first heat in which the pot may be heated. Heat is cut as soon as
// what plate and wall hold takes the melt where it is to get.
func (p *pot) warm(elapsed time.Duration) {
	f := &p.first
	if p.warming() != Warms {
		return
	}
	if !f.begun {
		f.begun, f.fromC = true, p.melt.C()
	}
	if h := p.set.FirstHeat; f.cut {
		f.coasted += elapsed
	} else {
		f.heated += elapsed
		f.cut = f.heated >= h.For || p.melt.C() >= h.ToC || p.peakC >= h.ToC
	}
	if f.coasted < coastsFor {
		return
	}
	switch {
	case !p.loop.Trusted():
		f.ended = Otherwise
	case p.melt.C()-f.fromC < tellsRise:
		f.ended = TooLittleRise
	case p.loop.Passes() < tellsPass:
		f.ended = TakesLittle
	default:
		f.ended = Understood
	}
}

// warmingUp is the way of a pot in its first heat.
func (p *pot) warmingUp() (PotState, Wait, time.Duration) {
	switch {
	case p.warming() != Warms:
		return Off, WaitNothing, -1
	case p.first.cut:
		return Heating, WaitSteady, coastsFor - p.first.coasted
	}
	return Heating, WaitWarm, max(p.set.FirstHeat.For-p.first.heated, 0) + coastsFor - p.first.coasted
}

// foundOut is what was found out about the pot, as far as it is worth keeping.
func (p *pot) foundOut() (known loop.Known, worth bool) {
	if !p.set.FirstHeat.Is() {
		return p.loop.Known()
	}
	return p.loop.Warmed(), p.warming() == Understood
}

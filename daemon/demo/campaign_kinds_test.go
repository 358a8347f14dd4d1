package demo

import (
	"math"
	"slices"
	"time"

	"meltwarden/control/guard"
	"meltwarden/devices/registers"
	"meltwarden/devices/simbench"
)

// heatGoneWithin is the longest that a heater of a device that obeys may draw
// power after the moment from which something forbids it.
const heatGoneWithin = 2 * time.Second

// kind is one row of the table of what is done to a bench.
type kind struct {
	name  string
	fault simbench.Fault // "" where it is a person's doing
	// from says since when a wrong of this kind forbids its heaters; nil where
	// it does not, or nobody can say when it shows.
	from func(s *trial, w *wrong) (time.Duration, bool)
	// latches is how long it must last, with heat enabled, for its pot to stay cold
	// until a person has pressed the button after its end; zero where that shows in
	// the state of the whole bench.
	latches time.Duration
	// own are the trips of the whole bench that it explains, beside those of its
	// own pots.
	own []guard.Code
}

// The times are those of the guard's table, with a second for the line and the
// conversions.
const (
	unusableLatches = 3*time.Second + time.Second
	frozenShows     = 60*time.Second + time.Second
	noiseShows      = 30 * time.Second // estimate: three times what noise is averaged over
	pullShows       = 6 * time.Second  // as the table of troubles prints it for a hot melt
	farC            = 60.0             // twice what a reading may step by
	hotC            = 100.0
)

var kinds = []kind{
	{fault: simbench.OpenProbe, from: atOnce, latches: unusableLatches},
	{fault: simbench.GroundedProbe, from: atOnce, latches: unusableLatches},
	{fault: simbench.SentinelReading, from: atOnce, latches: unusableLatches},
	{fault: simbench.ShortedProbe, from: whereFar},
	{fault: simbench.FrozenProbe, from: whereStill},
	{fault: simbench.NoisyProbe, from: whereLoud},
	{fault: simbench.PulledProbe, from: whereHot},

	{fault: simbench.NoReply, from: atOnce},
	{fault: simbench.CorruptReplies, from: atOnce},
	{fault: simbench.LateReplies, from: atOnce},
	{fault: simbench.ExceptionReplies, from: atOnce},
	{fault: simbench.LostReplies, from: atOnce},
	{fault: simbench.TruncatedReplies, from: atOnce},
	{fault: simbench.GarbageReplies, from: atOnce},
	{fault: simbench.AlienReplies, from: atOnce},
	{fault: simbench.UnitRestarts, from: atOnce},
	{fault: simbench.DuplicateReplies},
	{fault: simbench.EchoedRequests},

	{fault: simbench.EStopOpened, from: atOnce, own: []guard.Code{guard.EStopOpen}},
	{fault: simbench.CutOutOpened, from: atOnce, own: []guard.Code{guard.CutOutOpen}},
	{fault: simbench.FanStopped, from: atOnce, own: []guard.Code{guard.FanOff}},

	{fault: simbench.RelayWelded},
	{fault: simbench.HeaterFailed},
}

// What people do that forbids heat.
var (
	allOffAsked = kind{name: "mark: off", from: atOnce}
	liftMarked  = kind{name: "mark: lift", from: atOnce}
)

func (k *kind) title() string {
	if k.fault != "" {
		return string(k.fault)
	}
	return k.name
}

// wrong is one thing that is wrong, from when it begins until it ends.
type wrong struct {
	kind  *kind
	at    simbench.Place
	began time.Duration
	ended time.Duration // negative while it goes on
	said  time.Time     // as it began, on the clock of the frames' labels
	// heated is whether heat was enabled as it began, and stays whether it has
	// been ever since; pressed, whether the button has been since.
	heated, stays, pressed bool
	shownC, otherC         float64       // what its probe measured as it began, and what it would show
	still                  time.Duration // how long a frozen reading had to move
	stillAt                time.Duration // when that was long enough
	// lit is whether its heaters drew power as it began; told and gone are how long
	// after that they were last told to, and last did.
	lit        bool
	told, gone time.Duration
	due        bool // its heaters have had their time
}

// onAt reports whether the wrong was there at a time.
func (w *wrong) onAt(at time.Duration) bool {
	return w.began <= at && (w.ended < 0 || at < w.ended)
}

// ofPot reports whether it is one pot's only.
func (w *wrong) ofPot() bool {
	scope := w.kind.fault.Scope()
	return scope == simbench.OfProbe || scope == simbench.OfPot || w.kind == &liftMarked
}

// heaters are those it is about.
func (w *wrong) heaters() []int {
	if w.ofPot() {
		return []int{w.at.Pot}
	}
	return everyPot
}

func atOnce(_ *trial, w *wrong) (time.Duration, bool) { return w.began, true }

// whereFar: what a shorted probe reads is impossible where it is far from what was
// read before, and otherwise shows by standing still. Once somebody has pressed
// the button it counts as the reading it is.
func whereFar(s *trial, w *wrong) (time.Duration, bool) {
	if w.heated && !w.pressed && s.blind < w.began && math.Abs(w.shownC-w.otherC) > farC {
		return w.began, true
	}
	return whereStill(s, w)
}

// whereStill: a reading must have stood still for a minute in which it had to move.
func whereStill(_ *trial, w *wrong) (time.Duration, bool) {
	return w.stillAt, w.still >= frozenShows
}

// whereLoud: noise is averaged; what the line hides does not count.
func whereLoud(s *trial, w *wrong) (time.Duration, bool) {
	return max(w.began, s.blind) + noiseShows, true
}

// whereHot: a probe that is pulled from a hot melt falls as no melt can. One that
// comes off its plate shows by what the heater does then.
func whereHot(s *trial, w *wrong) (time.Duration, bool) {
	hot := w.at.Probe == registers.Melt && w.shownC > hotC
	return w.began + pullShows, hot && w.heated && w.stays && !w.pressed && s.blind < w.began && s.liftedLast[w.at.Pot] < w.began
}

// lingers is how long after its end a wrong still explains a trip: an element's
// afterheat, and filters.
const lingers = time.Minute

// explains reports whether a trip may come of the wrong.
func (w *wrong) explains(c guard.Condition, now time.Duration) bool {
	if w.ended >= 0 && now > w.ended+lingers {
		return false
	}
	switch w.kind.fault.Scope() {
	case simbench.OfProbe, simbench.OfPot:
		return c.Pot == w.at.Pot || c.Code == guard.ProbesCrossed || w.kind.fault == simbench.RelayWelded && c.Code == guard.CutOutOpen
	case simbench.OfLine:
		ofLine := c.Code == guard.InterlockUnknown || c.Code == guard.HeaterUnheard || c.Code == guard.HeaterForgot
		return w.kind.from != nil && (c.Pot >= 0 || ofLine)
	}
	return slices.Contains(w.kind.own, c.Code)
}

package control

import (
	"math"
	"time"

	"meltwarden/control/cascade"
	"meltwarden/control/estimate"
	"meltwarden/control/guard"
	"meltwarden/control/loop"
	"meltwarden/control/model"
	"meltwarden/control/pour"
	"meltwarden/control/reading"
)

// Grades: C common practice, no source; E estimate by calculation.
const (
	// cureMarginC is how far above its cure temperature a pot is held while it
	// cures, so that noise and ripple do not stop the dwell (E).
	cureMarginC = 1.0
	// bandSlack widens a band that a pot is already in: it flaps less (C).
	bandSlack = 1.25
	// stirSlack does the same for the time since the last stir (C).
	stirSlack = 1.5
	// cureSlackC is how far below its cure temperature a pot that has begun its
	// dwell is still called curing: it flaps less (C).
	cureSlackC = 1.25
	// clearBelowC is how far below its cure temperature a melt may be and still be
	// called clear: it is a thin liquid from about 150 °C (E).
	clearBelowC = 25.0
	// ColourUpset is how long a cold addition is not blamed on the plate (E).
	ColourUpset = 45 * time.Second
	// MeltJPerMLK is the heat capacity of liquid vinyl, 1.04 g/mL × 2.0 J/(g K)
	// (E; no published value for hot plastisol was found).
	MeltJPerMLK = 2.08
	// setpointBelowTripC is how far below the melt trip a set-point must stay, so
	// that the warning comes between them (E).
	setpointBelowTripC = 8.0
)

// pot is one pot's memory from cycle to cycle.
type pot struct {
	set         PotSettings
	melt, plate estimate.Temperature
	loop        *loop.Loop
	view        loop.View // reused, so that a step allocates nothing
	way         model.Way // from some cycles ago until it is ready
	ahead       model.Ahead
	peakC       float64       // with the power off, from some cycles ago on
	waiting     bool          // for the others, on its way up or down
	spareS      float64       // how long, if so
	waited      time.Duration // before its cure
	paused      time.Duration // and after it
	heldBack    bool          // it waits, and next to no heat takes it where it does
	state       PotState
	believed    bool // this cycle's readings may both be used
	lifted      bool
	liftedHere  bool // that was marked at the bench, and nobody has said since that it is back
	noticed     bool // the lift was, and nobody has marked it
	mayBeOff    bool // its plate, and it is not told yet
	returned    bool // it was lifted, and is said to be back
	window      pour.Window
	wasOver     bool // by the window, in the last cycle
	clear       bool
	cured       bool
	arrived     bool // cured, by its maker's word
	uncured     bool // that it was cured was taken back, and nobody has pressed since
	dwelled     time.Duration
	dwells      pace // how steadily the dwell, and the time in band, are counted
	steadies    pace
	creep       creep
	inBandFor   time.Duration
	stirred     bool
	sinceStir   time.Duration
	coloured    bool
	sinceColour time.Duration
	unattended  time.Duration // how long it has waited for a hand since the last call
	drawn       Drawn
	said        said
	half        half
	steering    steering
	first       first
}

func newPot(s PotSettings) *pot {
	return &pot{
		set: s, melt: estimate.OfMelt(), plate: estimate.OfPlate(),
		loop:  loop.New(s.LoopPot(), s.Known),
		ahead: model.NothingAhead(), peakC: math.NaN(), half: newHalf(),
		steering: steering{toldC: s.Controller.RestC}, dwells: begins(), steadies: begins(),
	}
}

// mark takes in what a person said about the pot.
func (p *pot) mark(c Command) {
	switch c.Kind {
	case Stir:
		p.said.remember(Stir)
		p.said.stir = moment{p.stirred, p.sinceStir}
		p.stirred, p.sinceStir = true, 0
		p.loop.Stirred()
	case TickClear:
		// Cold paste is no clear melt, whoever says so.
		if !p.clear && p.melt.Valid() && p.melt.C() >= p.set.CureC-clearBelowC {
			p.clear = true
			p.said.remember(TickClear)
		}
	case ArrivedCured:
		if !p.arrived {
			p.said.remember(ArrivedCured)
		}
		p.cured, p.arrived, p.uncured = true, true, false
	case ColourAdded:
		p.said.remember(ColourAdded)
		p.said.colour, p.said.mixed, p.said.notAdded = p.lastColour(), moment{p.stirred, p.sinceStir}, false
		p.said.forget(Stir)
		// Cold and not mixed in: only time in band and a new stir make it ready again.
		p.coloured, p.sinceColour = true, 0
		p.inBandFor, p.stirred = 0, false
		ml := c.ML
		if c.Afar { // nothing elsewhere raises heat; the dip that comes is heated by what the probe shows
			ml = 0
		}
		p.loop.Added(ml * MeltJPerMLK)
		p.half.unread = unreadYet
		p.half.reach.lowC -= additionC
	case Draw:
		p.loop.Drawn(c.ML * MeltJPerMLK)
		p.said.remember(Draw)
		p.said.drawn = p.drawn
		p.draw()
	case Lift:
		p.said.forget(Return)
		p.lift(!c.Afar)
		p.half.replaced(!c.Afar)
	case Return:
		if p.lifted && !p.returned {
			p.said.remember(Return)
		}
		p.returned, p.liftedHere = p.lifted, false
	case Setpoint:
		p.set.SetpointC = c.C
	case TryOut:
		if !c.Afar && p.canBeTried() {
			p.loop.Try()
		}
	case HandReading:
		p.handed(c.C)
	case TakeBack:
		p.takeBack(c.Mark)
	}
}

// canBeTried reports whether a trial can begin: of a pot that is held, by both its probes.
func (p *pot) canBeTried() bool {
	return p.set.Probes == reading.BothProbes && !p.set.Controller.Is() && (p.state == Holding || p.state == Ready) && p.loop.CanTry()
}

// pressed is the bench's button: a pot that is back on its plate is heated again
// only after it, because no mark made elsewhere may turn a heater on.
func (p *pot) pressed() {
	p.uncured = false
	if p.returned {
		p.putBack()
	}
}

// sense takes in one cycle's readings, and which of them the guard believes.
func (p *pot) sense(r *PotReadings, melt, plate bool, now, elapsed time.Duration) {
	p.steering.look(r, elapsed)
	p.sinceStir += elapsed
	p.sinceColour += elapsed
	p.said.passes(elapsed)
	p.drawn.passes(r.Injector, elapsed)
	p.melt.Take(r.Melt, melt, now, guard.MaxAge)
	p.plate.Take(r.Plate, plate, now, guard.MaxAge)
	p.believed = (melt || !p.set.Probes.HasMelt()) && (plate || !p.set.Probes.HasPlate())
	p.watch(r, melt, plate, elapsed)
	if p.set.Probes != reading.BothProbes {
		p.infer(r, elapsed)
	}
	if !p.melt.Valid() {
		p.inBandFor = 0
		return
	}
	// A sample speaks for no more time than it stays fresh: what nobody watched
	// is not dwelt.
	watched := min(elapsed, guard.MaxAge)
	p.countDwell(watched)
	p.countBand(watched)
}

// watch lets the loop see the cycle, whether it may heat in it or not. A pot that is
// off its plate shows nothing of what it is on it.
func (p *pot) watch(r *PotReadings, melt, plate bool, elapsed time.Duration) {
	p.view.Melt, p.view.Plate, p.view.Dt = believed(r.Melt, melt), believed(r.Plate, plate), elapsed.Seconds()
	p.window.See(r.Melt.C, melt, elapsed)
	if !p.lifted && !p.set.Controller.Is() { // nobody knows what a controller gives
		p.loop.Watch(&p.view)
	}
}

// believed is a reading for the model: one that the guard doubts has a fault.
func believed(t reading.Temperature, is bool) reading.Temperature {
	if !is {
		t.Fault = reading.Missing
	}
	return t
}

// known reports whether the melt and the plate are known now, a bad frame or two aside.
func (p *pot) known() bool { return p.melt.Valid() && p.plate.Valid() }

// isDwelt reports whether the pot's time counts for its dwell.
func (p *pot) isDwelt() bool {
	return !p.cured && !p.lifted && p.melt.C() >= p.set.CureC && p.handSays(p.set.CureC)
}

// countDwell adds up the time at cure temperature; the dwell and the maker's
// tick together make a cured pot.
func (p *pot) countDwell(elapsed time.Duration) {
	on := p.isDwelt()
	if p.cured {
		p.dwells = begins() // so it is where the cure is taken back
	} else if p.dwelled > 0 {
		p.dwells.see(on, p.melt.C()-p.set.CureC, elapsed)
	}
	if on {
		p.dwelled = min(p.dwelled+elapsed, p.set.Dwell)
	}
	if p.dwelled >= p.set.Dwell && p.clear {
		p.cured, p.uncured = true, false
	}
}

// countBand adds up the time in band, with a wider way out than in.
func (p *pot) countBand(elapsed time.Duration) {
	off := math.Abs(p.melt.C() - p.set.SetpointC)
	if p.inBandFor > 0 {
		p.steadies.see(off <= p.set.BandC, p.set.BandC-off, elapsed)
	} else {
		p.steadies = begins()
	}
	switch {
	case off <= p.set.BandC:
		p.inBandFor += elapsed
	case off > StillReadyC(p.set.BandC):
		p.inBandFor = 0
	}
}

// StillReadyC is how far off its set-point a pot that is ready may be without losing that, in
// degrees Celsius, for half a band.
func StillReadyC(bandC float64) float64 { return bandC * bandSlack }

// inBand reports whether the pot counts as in band, hysteresis included.
func (p *pot) inBand() bool {
	off := math.Abs(p.melt.C() - p.set.SetpointC)
	return off <= p.set.BandC || p.inBandFor > 0 && off <= StillReadyC(p.set.BandC)
}

// freshStir reports whether the last stir is recent enough, hysteresis included.
func (p *pot) freshStir() bool {
	return p.stirred && p.sinceStir <= p.stirBy()
}

// stirBy is how long after a stir the pot may still be called ready.
func (p *pot) stirBy() time.Duration {
	if p.state == Ready {
		return time.Duration(float64(p.set.StirWithin) * stirSlack)
	}
	return p.set.StirWithin
}

// target is what the loop holds: where the pot is to get, or where it waits.
func (p *pot) target() float64 {
	switch {
	case p.waiting && p.falls():
		return p.wary(math.Min(p.set.SetpointC+p.set.BandC+pausesOverC, p.set.CureC+cureMarginC))
	case p.waiting:
		return p.wary(math.Min(waitsAtC, p.goal()))
	}
	return p.wary(p.goal())
}

// goal is the cure temperature and a margin until the pot is cured, then the set-point; one
// whose cure was taken back stays there.
func (p *pot) goal() float64 {
	if p.set.FirstHeat.Is() {
		return p.set.FirstHeat.ToC
	}
	if p.cured || p.uncured {
		return p.set.SetpointC
	}
	return math.Max(p.set.CureC+cureMarginC, p.set.SetpointC)
}

// ask returns the duty the loop wants, 0 to 1, or zero at rest.
func (p *pot) ask(mayHeat bool, elapsed time.Duration) float64 {
	may := mayHeat && p.believed && p.known() && !p.lifted
	if may {
		p.warm(elapsed)
	}
	if !may || p.rests() {
		p.steering.rest(p.set.Controller)
		p.loop.Rest()
		return 0
	}
	p.view.Seen = cascade.Measure{
		MeltC: p.melt.C(), PlateC: p.plate.C(), MeltSlope: p.melt.Slope(), PlateSlope: p.plate.Slope(),
		TargetC: p.target(), LimitC: p.plateLimitC(),
		Upset: p.coloured && p.sinceColour < ColourUpset,
	}
	if p.set.Controller.Is() {
		return p.steer()
	}
	duty := p.bounded(p.loop.Step(&p.view))
	p.heldBack = p.waiting && p.coasts(duty)
	return duty
}

// coasts reports whether the melt of a pot that waits is where it waits, or gets there by
// what its plate holds already.
func (p *pot) coasts(duty float64) bool {
	return p.melt.C() > waitsAtC-arrivedC || duty < coastsDuty || p.heldBack && duty < heatsDuty
}

// decide sets the pot's state and returns what it waits for and how long that
// will take, negative when not known.
func (p *pot) decide(tripped, enabled, proven bool) (Wait, time.Duration) {
	state, wait, left := p.next(tripped, enabled, proven)
	p.state = state
	return wait, left
}

func (p *pot) next(tripped, enabled, proven bool) (PotState, Wait, time.Duration) {
	const unknown = -1
	switch {
	case tripped:
		return Tripped, WaitReset, unknown
	case p.lifted && !p.returned:
		return Lifted, WaitReturn, unknown
	case p.lifted:
		return Lifted, WaitEnable, unknown
	case !proven:
		return Off, WaitRefused, unknown
	case !enabled:
		return Off, WaitEnable, unknown
	case !p.known():
		return Off, WaitReading, unknown
	case p.set.FirstHeat.Is():
		return p.warmingUp()
	case !p.cured:
		return p.curing()
	}
	return p.holding()
}

// remindAfter is how long a pot waits for a hand until it calls again (C).
const remindAfter = 30 * time.Second

// wantsHand reports whether a person is to be called to the pot in this cycle: it
// has begun to wait for a tick, a stir or a reading, or has gone on waiting.
func (p *pot) wantsHand(wait Wait, elapsed time.Duration) bool {
	if wait != WaitClear && wait != WaitStir && wait != WaitHand {
		p.unattended = 0
		return false
	}
	calls := p.unattended == 0 || p.unattended >= remindAfter
	if p.unattended >= remindAfter {
		p.unattended = 0
	}
	p.unattended += max(elapsed, 1)
	return calls
}

// curing is the way of a pot that is not cured yet.
func (p *pot) curing() (PotState, Wait, time.Duration) {
	if p.dwelled >= p.set.Dwell {
		return Curing, WaitClear, -1
	}
	if p.uncured && p.set.SetpointC < p.set.CureC {
		return Heating, WaitEnable, -1 // where it is held it will never cure
	}
	if p.wantsReading() {
		return Heating, WaitHand, -1
	}
	if p.dwelled > 0 && p.melt.C() >= p.set.CureC-cureSlackC {
		return Curing, WaitDwell, p.dwellLeft()
	}
	if p.waiting && p.heldBack {
		return Heating, WaitOthers, -1
	}
	return Heating, WaitHeat, p.toCure()
}

// dwellLeft is what the dwell still takes, with the way back to the cure temperature while
// it stands still below it; negative where nobody knows.
func (p *pot) dwellLeft() time.Duration {
	left := p.set.Dwell - p.dwelled
	if !p.dwells.stands || p.isDwelt() {
		return left
	}
	back := p.toCure()
	if back < 0 {
		return -1
	}
	return back + left
}

// toCure is how long the melt needs to its cure temperature; negative where nobody knows.
func (p *pot) toCure() time.Duration {
	if p.creep.is() {
		return seconds(p.creepS())
	}
	rises, way := p.reach(p.set.CureC), seconds(p.way.CureS)
	switch {
	case p.dwelled == 0 || way == 0:
		return rises
	case way < 0 || way > longestGuess:
		return -1 // a rise that ends too low tells no time
	case rises >= 0:
		return min(rises, way)
	}
	return way // also of one that still sinks
}

// seconds is a time; negative of one that is not known.
func seconds(s float64) time.Duration {
	if math.IsNaN(s) || math.IsInf(s, 0) {
		return -1
	}
	return time.Duration(s * float64(time.Second))
}

// holding is the way of a cured pot.
func (p *pot) holding() (PotState, Wait, time.Duration) {
	low, high := p.set.SetpointC-p.set.BandC, p.set.SetpointC+p.set.BandC
	switch {
	case p.wantsReading():
		return Heating, WaitHand, -1
	case !p.inBand() && p.melt.C() > high:
		return Cooling, WaitCool, p.reach(high)
	case !p.inBand():
		return Heating, WaitWarm, p.reach(low)
	case p.inBandFor < p.set.SteadyFor:
		return Holding, WaitSteady, p.steadyLeft()
	case !p.handReady():
		return Holding, WaitHand, -1
	case !p.freshStir():
		return Holding, WaitStir, -1
	}
	return Ready, WaitNothing, time.Duration(float64(p.set.StirWithin)*stirSlack) - p.sinceStir
}

// steadyLeft is the rest of the time in band; negative while that stands still, because the
// melt is just outside it.
func (p *pot) steadyLeft() time.Duration {
	if p.steadies.stands {
		return -1
	}
	return p.set.SteadyFor - p.inBandFor
}

// longestGuess is the longest time that is worth telling: a slope that would take
// longer has only just begun (E).
const longestGuess = 90 * time.Minute

// hasSlope reports whether the melt's slope tells a time: an estimate's does not, nor one
// of which nobody knows what gives it.
func (p *pot) hasSlope() bool { return p.set.Probes.HasMelt() && !p.set.Controller.Is() }

// reach guesses from the present slope how long the melt needs to a
// temperature; negative when it is not on its way there.
func (p *pot) reach(c float64) time.Duration {
	const still = 0.005 // K/s: slower than this is no way to tell a time by (E)
	if !p.hasSlope() {
		return -1
	}
	slope := p.melt.Slope()
	gap := c - p.melt.C()
	if math.Abs(slope) < still || gap*slope < 0 || gap/slope > longestGuess.Seconds() {
		return -1
	}
	return time.Duration(gap / slope * float64(time.Second))
}

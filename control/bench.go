// Package control has the words of the trade and every decision about heat:
// Bench.Step takes what the line reported and what people said, and answers with
// what the heaters, the contactor, the lamp and the buzzer do. It is pure: no
// I/O, no clock, no goroutine, no randomness, no logging; time is an argument.
//
// One step: estimate ► decide ► share the circuit ► guard. The guard has the
// last word.
package control

import (
	"math"
	"time"

	"meltwarden/control/call"
	"meltwarden/control/circuit"
	"meltwarden/control/estimate"
	"meltwarden/control/guard"
	"meltwarden/control/loop"
	"meltwarden/control/reading"
)

// Bench is everything that is remembered from cycle to cycle. It is not safe
// for use by several goroutines.
type Bench struct {
	settings  Settings
	pots      []*pot
	guard     *guard.Guard
	share     *circuit.Share
	windows   *circuit.Windows
	caller    call.Caller
	called    called
	pedal     reading.Edge
	longPedal guard.Button // where a short press is a shot
	cycle     uint64
	now       time.Duration
	// hottestAtStartC is what the limits' warning was made for.
	hottestAtStartC float64

	sight       guard.Sight // reused, so that a step allocates nothing
	heaters     []circuit.Heater
	asked, duty []float64 // before and after the circuit's share and the guard
	told        []float64 // of which this now
	need        []float64
	allOff      bool // was asked for, and nobody has enabled heat since
	sinceAllOff time.Duration
	held        []time.Duration // how long each pot has been kept hot since it was cured
}

// NewBench returns a bench at rest, with heat blocked.
func NewBench(s Settings) *Bench {
	n := len(s.Pots)
	limits := s.Limits
	limits.CircuitW, limits.CircuitMeanW = s.Circuit.MaxW, s.Circuit.ContinuousW
	b := &Bench{
		settings: s, guard: guard.New(limits, n), called: newCalled(n),
		sight: guard.Sight{Pots: make([]guard.PotSight, n), Period: s.Period},
		asked: make([]float64, n), duty: make([]float64, n), told: make([]float64, n), need: make([]float64, n),
		held:      make([]time.Duration, n),
		longPedal: guard.Button{Quick: true, Least: guard.LongPress},
	}
	for _, p := range s.Pots {
		b.pots = append(b.pots, newPot(p))
		b.heaters = append(b.heaters, circuit.Heater{RatedW: p.HeaterW, Output: p.Output, Window: p.Window, LeastOn: p.LeastOn, LeastOff: p.LeastOff})
	}
	b.share, b.windows = circuit.New(s.Circuit, b.heaters), circuit.NewWindows(b.heaters)
	b.hottestAtStartC = b.hottestC()
	return b
}

// Step makes one cycle of decisions and writes them to out, whose slices are
// reused. An input with another number of pots than the settings counts as one
// without readings.
func (b *Bench) Step(in *Input, out *Frame) {
	b.cycle++
	elapsed := min(max(in.Elapsed, 0), longestStep)
	b.now += elapsed
	b.takeCommands(in.Commands)
	b.look(in, elapsed)
	b.sense(in, elapsed)
	b.heat(elapsed)
	b.report(in, elapsed, out)
}

// longestStep is the longest time step that is counted (E): a longer one is a missed
// cycle like this one, and no sum of a few overflows.
const longestStep = 24 * time.Hour

// takeCommands hands marks to their pots. A command for a pot that does not
// exist is dropped: it can not be about this bench.
func (b *Bench) takeCommands(commands []Command) {
	b.sight.AllOff, b.sight.Attended = false, false
	for _, p := range b.pots {
		p.said.settled()
	}
	for _, c := range commands {
		b.sight.Attended = b.sight.Attended || !c.Afar
		switch {
		case c.Kind == AllOff:
			b.sight.AllOff = true
		case c.Kind == Shot:
			for _, p := range b.pots {
				p.drawn = Drawn{}
				p.said.forget(Draw)
			}
		case c.Kind == Setpoint && !b.maySet(c.C):
			// Nobody who checked it first comes here.
		case c.Kind == HandReading && c.Afar:
			// Heat rests on it, and nothing elsewhere may raise heat.
		case c.Kind.NeedsPot() && c.Pot >= 0 && c.Pot < len(b.pots):
			b.pots[c.Pot].mark(c)
		}
		b.called.mark(c, b.now)
		if c.Kind == Setpoint {
			b.guard.WarnAt(b.settings.Limits.MeltWarnC + b.hottestC() - b.hottestAtStartC)
		}
	}
}

// hottestC is the highest temperature that any pot is to reach.
func (b *Bench) hottestC() float64 {
	hottest := 0.0
	for _, p := range b.pots {
		hottest = max(hottest, p.set.SetpointC, p.set.CureC)
	}
	return hottest
}

// maySet reports whether a set-point leaves the melt trip its room. A number that
// is none does not.
func (b *Bench) maySet(c float64) bool {
	return c > 0 && c <= b.settings.Limits.MeltTripC-setpointBelowTripC
}

// look lets the guard see the cycle before anybody decides about heat.
func (b *Bench) look(in *Input, elapsed time.Duration) {
	s := &b.sight
	s.Elapsed, s.First = in.Elapsed, b.cycle == 1
	s.EStop, s.CutOut, s.Fan, s.Enable = in.Contacts.EStop, in.Contacts.CutOut, in.Contacts.Fan, in.Contacts.Enable
	s.Pedal, s.Link, s.HistoryFailing = in.Contacts.Pedal, in.Contacts.Link, in.HistoryFailing
	for i, p := range b.pots {
		r := b.readings(in, i)
		b.held[i] = p.heldFor(b.held[i], elapsed)
		s.Pots[i] = guard.PotSight{
			Melt: r.Melt, Plate: r.Plate, Probes: p.set.Probes, Hand: p.lastHand(),
			HandLasts: p.set.HandLasts(), PlateTripC: p.set.PlateTripAtC(), MostDuty: p.set.mostDuty(), Duty: b.duty[i], RatedW: b.heaters[i].RatedW, Whole: b.heaters[i].Output != circuit.Smooth,
			LiftedHere: p.liftedHere, Coloured: p.coloured && p.sinceColour < ColourUpset, HeldFor: b.held[i],
		}
		s.Pots[i].Controller = p.controllerSight(r)
		p.seesOfLift(&s.Pots[i])
	}
	b.guard.Look(s)
	b.sinceAllOff += elapsed
	if s.AllOff {
		b.allOff, b.sinceAllOff = true, 0
	}
	b.allOff = b.allOff && b.guard.State() != HeatEnabled
	if b.guard.Pressed() {
		for _, p := range b.pots {
			p.pressed()
		}
	}
}

// heldFor is how long a cured melt has been hot, after one more cycle. A pause in
// which it cooled is not counted; what it aged before stays.
func (p *pot) heldFor(before, elapsed time.Duration) time.Duration {
	if !p.cured || !p.melt.Valid() || p.melt.C() < p.set.CureC-clearBelowC {
		return before
	}
	return before + elapsed
}

var noReadings = PotReadings{
	Melt: reading.Temperature{Fault: reading.Missing}, Plate: reading.Temperature{Fault: reading.Missing},
}

// readings returns what came of pot i: nothing where the number of pots is not
// the settings', because then nobody knows which is which.
func (b *Bench) readings(in *Input, i int) *PotReadings {
	if len(in.Pots) == len(b.pots) {
		return &in.Pots[i]
	}
	return &noReadings
}

func (b *Bench) sense(in *Input, elapsed time.Duration) {
	for i, p := range b.pots {
		melt, plate := b.guard.Believes(i)
		p.sense(b.readings(in, i), melt, plate, b.now, elapsed)
		p.notice(b.guard.MayHeat())
	}
}

// heat decides every duty: the loops ask, the circuit shares, windows say who draws
// now, the guard limits. The loops are told what they get in the mean: the windows'
// own on and off is none of their error.
func (b *Bench) heat(elapsed time.Duration) {
	b.plan(elapsed)
	for i, p := range b.pots {
		b.asked[i] = p.ask(b.guard.PotMayHeat(i), elapsed)
	}
	copy(b.duty, b.asked)
	b.share.Divide(b.duty, b.need, elapsed)
	b.windows.Tick(b.duty, b.told, b.share.RoomW(), elapsed)
	b.unshared()
	b.guard.Limit(b.told)
	for i, p := range b.pots {
		if b.heaters[i].Output == circuit.Smooth || !b.guard.PotMayHeat(i) {
			b.duty[i] = b.told[i]
		}
		switch {
		case !p.set.Controller.Is():
			p.loop.Applied(b.duty[i], b.told[i], elapsed.Seconds())
		case !b.guard.PotMayHeat(i):
			p.steering.rest(p.set.Controller)
		}
		p.half.heated(b.duty[i], elapsed)
	}
	b.windows.Told(b.duty, b.told)
	b.share.Drawn(b.watts(b.told))
}

// Known returns what was found out about pot i, as far as it is worth keeping for
// another evening, and whether the bench still went by what it had been told of the pot.
func (b *Bench) Known(i int) (known loop.Known, worth, recalled bool) {
	known, worth = b.pots[i].foundOut()
	return known, worth, b.pots[i].loop.Recalled()
}

// watts is what all heaters draw at these duties.
func (b *Bench) watts(duty []float64) float64 {
	sum := 0.0
	for i := range duty {
		sum += duty[i] * b.heaters[i].RatedW
	}
	return sum
}

// drawnW is what all heaters draw, in watts; NaN while nobody knows.
func (b *Bench) drawnW() float64 {
	for _, p := range b.pots {
		if p.set.Controller.Is() && b.guard.MayHeat() {
			return math.NaN()
		}
	}
	return b.watts(b.duty)
}

// report writes the frame.
func (b *Bench) report(in *Input, elapsed time.Duration, out *Frame) {
	out.Cycle, out.Time, out.Elapsed = b.cycle, b.now, in.Elapsed
	out.Heat = b.guard.State()
	out.AllOff, out.SinceAllOff = b.allOff, b.sinceAllOff
	out.PowerW = b.drawnW()
	out.Mould, out.Room, out.Contacts = in.Mould, in.Room, in.Contacts
	out.Conditions = b.guard.Append(out.Conditions[:0])
	out.Folded = b.guard.AppendFolded(out.Folded[:0])
	news := b.reportPots(in, elapsed, out)
	out.Outputs.Duty = append(out.Outputs.Duty[:0], b.told...)
	b.steered(out)
	out.Outputs.Contactor = b.guard.MayHeat()
	out.ReadyIn, out.ReadyWithin = b.allReadyIn(out)
	out.Pour = leastLeft(out.Pots)
	b.announce(in, elapsed, news, out)
}

// reportPots writes every pot and returns the number of one that has news for a
// person, from 1, or zero.
func (b *Bench) reportPots(in *Input, elapsed time.Duration, out *Frame) (news int) {
	if cap(out.Pots) < len(b.pots) {
		out.Pots = make([]PotFrame, len(b.pots))
	}
	out.Pots = out.Pots[:len(b.pots)]
	out.Ready, out.Hot = len(b.pots) > 0, false
	for i, p := range b.pots {
		before := p.state
		wait, left := p.decide(b.guard.PotTripped(i), out.Heat == HeatEnabled && !b.guard.PotWaits(i), b.settings.Limits.HeatersProven)
		if p.wantsHand(wait, elapsed) || p.state == Ready && before != Ready || p.outOf() {
			news = i + 1
		}
		out.Ready = out.Ready && p.state == Ready
		p.report(&out.Pots[i], b.readings(in, i), wait, left)
		out.Pots[i].AskedDuty, out.Pots[i].Duty = b.asked[i], b.duty[i]
		p.reportController(&out.Pots[i], b.readings(in, i), b.guard.MayHeat())
		out.Pots[i].ReadyIn, out.Pots[i].ReadyWithin = p.readyIn()
		out.Pots[i].AheadC = p.foreseen(b.guard.PotMayHeat(i))
		out.Hot = out.Hot || b.duty[i] > 0 || p.hot()
	}
	return news
}

// maybeHot reports whether the last that was known of a probe, however long
// ago, was too hot to touch. One that was never read may be hot as well: the
// program may have been started over a hot bench.
func maybeHot(e *estimate.Temperature) bool { return !e.Seen() || e.C() >= guard.TouchC }

func (p *pot) report(out *PotFrame, r *PotReadings, wait Wait, left time.Duration) {
	*out = PotFrame{
		State: p.state, Wait: wait, WaitLeft: left,
		Melt: r.Melt, Plate: r.Plate, Injector: r.Injector,
		MeltC: math.NaN(), SlopeCPerMin: math.NaN(),
		Probes: p.set.Probes, MeltEstimate: p.half.melt, PlateEstimate: p.half.plate, Hand: p.half.hand, HeatedFor: p.half.heatedFor, DrivenFor: p.half.drivenFor,
		TargetC: p.goal(), SetpointC: p.set.SetpointC, BandC: p.set.BandC,
		PlateTargetC: p.loop.PlateTargetC(),
		Dwelled:      p.dwelled, DwellStands: wait == WaitDwell && p.dwells.stands, Clear: p.clear, Cured: p.cured, Uncured: p.uncured, Said: p.said.last,
		StirredEver: p.stirred, SinceStir: p.sinceStir,
		InBandFor: p.inBandFor, SinceColour: p.colourAgo(), Drawn: p.drawn, Recalled: p.loop.Recalled(),
		Doubted: p.loop.Doubted(), Tuned: p.loop.Tuning() != nil, Trial: p.loop.Trial(), CanBeTried: p.canBeTried(),
	}
	out.Warming = p.warming()
	p.reportLift(out)
	out.PeakC, out.PeakWithinC = p.peak()
	if p.melt.Valid() && p.set.Probes.HasMelt() {
		out.MeltC, out.SlopeCPerMin = p.melt.C(), p.melt.Slope()*60
	}
}

// pedalSilences reports whether the pedal was pressed for that: for long where a short press
// marks a shot.
func (b *Bench) pedalSilences(in *Input) bool {
	if !b.settings.PedalMarksShot {
		return b.pedal.Rising(in.Contacts.Pedal, guard.MaxAge)
	}
	missed := b.cycle > 1 && (in.Elapsed <= 0 || in.Elapsed > guard.MaxAge)
	return b.longPedal.Released(in.Contacts.Pedal, min(max(in.Elapsed, 0), longestStep), missed)
}

// announce lets lamp and buzzer speak.
func (b *Bench) announce(in *Input, elapsed time.Duration, news int, out *Frame) {
	w := call.Wanted{Ready: out.Ready, News: news, Hot: out.Hot, Silence: b.pedalSilences(in)}
	b.called.count(out, &w)
	for _, c := range in.Commands {
		w.Silence = w.Silence || c.Kind == Silence
	}
	out.Call, out.Outputs.Lamp, out.Outputs.Buzzer = b.caller.Step(w, elapsed)
}

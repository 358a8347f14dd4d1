package commission

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/daemon/lines"
	"meltwarden/devices/registers"
)

// nudge switches one heater on a little, finds out which plate it warms, and puts
// that on record. What is not right does not end the session: the map of all of
// them says which wires to swap.
func (s *session) nudge(ctx context.Context, pot string) error {
	i := slices.IndexFunc(s.Bench.Pots, func(p config.Pot) bool { return p.Name == pot })
	watts, gives := nudgeW(&s.Bench.Pots[i])
	s.say("\nHeater %s: which plate does it warm?\n"+
		"  %s. First with the contactor open, %.0f s: nothing may warm. Then with it closed, until a plate has moved by %.0f °C: %.0f s at most; up to %.0f s (%.0f kJ) where one moves slowly, and then both are tried once more. Nothing here sees which pot stands on the plate that gets warm: hold the kitchen thermometer, dry, to the edges of the plates, and see that it is the one under pot %s.\n",
		pot, gives, openFor.Seconds(),
		nudgeRiseC, min(nudgeFor, mostHeated(watts)).Seconds(), mostHeated(watts).Seconds(), watts*mostHeated(watts).Seconds()/1000, pot)
	if p := s.Bench.Pots[i]; p.Controller.Is() && !unheard(s.Bench, p) {
		s.say("%s\n", lines.Wrap("  ", onDisplay))
	}
	w, err := s.enabled(ctx)
	if err != nil {
		return err
	}
	found, err := s.push(ctx, w, i)
	if err := foremost(err, w.close()); err != nil {
		return err
	}
	found.Pot, found.At, found.EnergyJ = pot, time.Now(), watts*found.HeatedS
	s.record.Nudges = put(s.record.Nudges, found, func(n Nudge) bool { return n.Pot == pot })
	if err := s.save(); err != nil {
		return err
	}
	if found.passed() {
		s.say("  Right: plate %s moved by %+.1f °C, no other by more than %.0f °C.\n", pot, found.Moved[pot], strayC)
	} else {
		s.say("  NOT RIGHT: %s.\n", found.advice())
	}
	return nil
}

// mostHeated is for how long a heater may be nudged that draws so many watts in the mean.
func mostHeated(watts float64) time.Duration {
	return min(slowFor, time.Duration(nudgeMostJ/watts*float64(time.Second)))
}

// nudgeW is what a heater may draw while it is nudged, in watts, and what it is given in
// words. What a controller gives nobody knows: all of it counts.
func nudgeW(p *config.Pot) (watts float64, gives string) {
	if p.Controller.Is() {
		return p.HeaterW, fmt.Sprintf("Its controller is told %.0f °C more than its plate has, and may give all %.0f W", nudgeOverC, p.HeaterW)
	}
	return nudgeDuty * p.HeaterW, fmt.Sprintf("It is given %.0f %% (%.0f W)", 100*nudgeDuty, nudgeDuty*p.HeaterW)
}

// onDisplay is said before a controller is told anything: that it heats shows not how far.
const onDisplay = "Whether it takes the number for the same temperature is not seen by this. Its own display has to show the set-point that is named here, in its own unit. If it shows another one, ten times as much perhaps: Ctrl-C, and mend scale or unit in the bench file."

// open gives the heater its duty with the contactor open for a span: nothing may warm.
func (s *session) open(ctx context.Context, w *watch, pot int, span time.Duration) error {
	far := newExtremes(means(w.plates))
	s.say("  %.0f s with the contactor open: nothing may warm.\n", span.Seconds())
	w.give(pot)
	if c := w.targets[pot]; c > 0 {
		s.say("  Its display has to show a set-point of %.0f °C (%.0f °F) now.\n", c, registers.Fahrenheit.Number(c))
	}
	err := s.wait(ctx, w, span, func() bool {
		far.add(w.plates, 0)
		return farthest(far.moved) < strayC
	})
	w.off()
	if err != nil {
		return err
	}
	for i, moved := range far.moved {
		if math.Abs(moved) >= strayC {
			return fmt.Errorf("%w. Heater %s is heated with the contactor open (plate %s moved by %+.1f °C): the contactor is welded, or this heater is not behind it. A licensed electrician has to mend it",
				errPress, s.Bench.Pots[pot].Name, s.Bench.Pots[i].Name, moved)
		}
	}
	return nil
}

// closed closes the contactor for a span with every heater told zero. What moves by
// less than strayC while it is open comes out here as well: the plates are those from
// before.
func (s *session) closed(ctx context.Context, w *watch, plates []float64, span time.Duration) error {
	w.contactor = true
	err := s.wait(ctx, w, span, func() bool { return farthest(moves(plates, w.plates)) < strayC })
	if err != nil {
		return err
	}
	for i, moved := range moves(plates, w.plates) {
		if math.Abs(moved) >= strayC {
			return fmt.Errorf("%w. Plate %s moved by %+.1f °C with every heater told zero: a relay may be stuck on, or a heater is not behind the contactor. %shave it mended, and run the command again",
				errPress, s.Bench.Pots[i].Name, moved, electrician)
		}
	}
	return nil
}

// unheated gives the heater its duty with the contactor open, then closes it without:
// neither may warm a plate.
func (s *session) unheated(ctx context.Context, w *watch, pot int, open, closed time.Duration) error {
	plates := means(w.plates)
	if err := s.open(ctx, w, pot, open); err != nil {
		return err
	}
	s.say("  Nothing warms with the contactor open. Closing it, without heat, for %.0f s.\n", closed.Seconds())
	if err := s.closed(ctx, w, plates, closed); err != nil {
		return err
	}
	s.say("  No plate moves by itself.\n")
	return nil
}

// push carries a nudge out: the heater alone, the contactor alone, both, and a look
// at what comes late. A heater that took longer to move its plate than it was tried
// with the contactor open could have hidden a contactor that is welded: that is tried
// again, for as long.
func (s *session) push(ctx context.Context, w *watch, pot int) (Nudge, error) {
	plates, melts, began := means(w.plates), means(w.melts), w.clk.Now()
	if err := s.unheated(ctx, w, pot, openFor, alone); err != nil {
		return Nudge{}, err
	}
	far, drifts := newExtremes(plates), moves(plates, w.plates)
	for i := range drifts {
		drifts[i] /= (openFor + alone).Seconds()
		far.cools[i] = min(drifts[i], 0)
	}
	look := func() bool { far.add(w.plates, w.clk.Now()-began); return true }
	heated, shown, err := s.heat(ctx, w, pot, look, drifts)
	if err == nil {
		s.say("  Off after %.0f s; watching for %.0f s more.\n", heated.Seconds(), after.Seconds())
		err = s.wait(ctx, w, after, look)
	}
	if err != nil {
		return Nudge{}, err
	}
	n := Nudge{OpenS: openFor.Seconds(), HeatedS: heated.Seconds(), Moved: s.byPot(far.moved), MeltMoved: s.byPot(moves(melts, w.melts))}
	n.Result, n.Other = s.judge(pot, far.moved)
	switch {
	case n.Result != Right:
	case !shown:
		n.Result = Weak
	case heated > openFor:
		err = s.longer(ctx, w, pot, heated)
		n.OpenS = heated.Seconds()
	}
	return n, err
}

// heat heats until a plate has moved by nudgeRiseC, for nudgeFor at most, or for as long
// as a heater may be where one has begun to by then. It returns how long that took, and
// whether it came. It calls look after every cycle. drifts are how fast the plates moved
// before, in °C a second.
func (s *session) heat(ctx context.Context, w *watch, pot int, look func() bool, drifts []float64) (time.Duration, bool, error) {
	s.say("  Heating.\n")
	began, now := w.clk.Now(), newExtremes(means(w.plates))
	told, begun := began, false
	watts, _ := nudgeW(&s.Bench.Pots[pot])
	w.give(pot)
	err := w.hold(ctx, mostHeated(watts), func() bool {
		look()
		now.add(w.plates, 0)
		spent := w.clk.Now() - began
		begun = begun || answered(pot, moves(now.before, w.plates), drifts, spent)
		if w.clk.Now()-told >= tellEvery {
			told = w.clk.Now()
			s.say("  %3.0f s: %s\n", spent.Seconds(), w.temperatures())
		}
		return farthest(now.moved) < nudgeRiseC && (begun || spent < nudgeFor)
	})
	w.off()
	return w.clk.Now() - began, farthest(now.moved) >= nudgeRiseC, err
}

// answered reports whether a plate answers the heater of a pot: its own, either way, or
// another that rises, by more than it drifted before.
func answered(pot int, moved, drifts []float64, spent time.Duration) bool {
	for i, m := range moved {
		if i == pot && math.Abs(m) >= seenC || m-drifts[i]*spent.Seconds() >= seenC {
			return true
		}
	}
	return false
}

// longer tries again for a span what was tried without heat, once the plates are at
// rest for as long and somebody has pressed again.
func (s *session) longer(ctx context.Context, w *watch, pot int, span time.Duration) error {
	s.say("  It took %.0f s to show, longer than the contactor was open: that is tried again, for as long.\n", span.Seconds())
	if err := s.rest(ctx, w, span); err != nil {
		return err
	}
	if err := s.press(ctx, w); err != nil {
		return err
	}
	return s.unheated(ctx, w, pot, span, span)
}

// extremes keeps how far each plate has been from where it began, at most, and from where
// it would have cooled to from an earlier nudge: cools is how fast, in °C a second.
type extremes struct{ before, moved, cools []float64 }

func newExtremes(before []float64) *extremes {
	return &extremes{before, make([]float64, len(before)), make([]float64, len(before))}
}

// add takes in where the plates are after a span.
func (e *extremes) add(all []average, spent time.Duration) {
	for i, m := range moves(e.before, all) {
		if m -= e.cools[i] * spent.Seconds(); math.Abs(m) > math.Abs(e.moved[i]) {
			e.moved[i] = m
		}
	}
}

// judge says what the moves of the plates mean for the heater of a pot.
func (s *session) judge(pot int, moved []float64) (Result, string) {
	other, most := "", 0.0
	for i, m := range moved {
		if i != pot && math.Abs(m) > most {
			other, most = s.Bench.Pots[i].Name, math.Abs(m)
		}
	}
	switch own := moved[pot]; {
	case own >= movedC && most < strayC:
		return Right, ""
	case own >= movedC:
		return Both, other
	case own <= -movedC:
		return Reversed, ""
	case most >= movedC:
		return Crossed, other
	}
	return Missing, ""
}

func (s *session) byPot(values []float64) map[string]float64 {
	named := map[string]float64{}
	for i, p := range s.Bench.Pots {
		named[p.Name] = math.Round(10*values[i]) / 10
	}
	return named
}

// electrician stands before every advice about wires, fuses and heaters.
const electrician = "Switch the mains off and lock it off; mains wiring only by a licensed electrician: "

// advice says what a nudge that is not right means, and what to do about it.
func (n *Nudge) advice() string {
	switch n.Result {
	case Crossed:
		return fmt.Sprintf("heater %s moves plate %s by %+.1f °C. %sswap the plate probes of %s and %s, if it is plate %s that gets warm, or else this heater and that of the plate that does (or their channels in the bench file)",
			n.Pot, n.Other, n.Moved[n.Other], electrician, n.Pot, n.Other, n.Pot)
	case Reversed:
		return fmt.Sprintf("the reading of plate %s falls by %.1f °C when it is heated. %sswap the two wires of its thermocouple", n.Pot, -n.Moved[n.Pot], electrician)
	case Weak:
		return fmt.Sprintf("heater %s moves its plate by only %+.1f °C in %.0f s: too weak to tell whether it is behind the contactor. TAKE THE PLATE FOR HOT: its probe may not sit on it. Let it cool. %scheck the probe's seat, and the heater's fuse, its wires and whether all of it heats", n.Pot, n.Moved[n.Pot], n.HeatedS, electrician)
	case Both:
		return fmt.Sprintf("heater %s moves plate %s by %+.1f °C as well. %sfind out what else it switches, or whether a probe touches the wrong plate", n.Pot, n.Other, n.Moved[n.Other], electrician)
	}
	return fmt.Sprintf("no plate moves when heater %s is on. Is the heaters' supply on? Take its plate for hot: its probe may not sit on it. %scheck the probe's seat, and the heater's fuse, its relay and its wires; and its channel in the bench file", n.Pot, electrician)
}

package commission

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/devices/registers"
)

// prove tries out whether a device reports its outputs off by itself when its line
// goes silent, and again once its supply was off, and puts on record what came of it.
func (s *session) prove(ctx context.Context, device string) error {
	if p := s.record.proof(device); p == nil || !p.tried() || lapsed(p.At) {
		s.say("\nDevice %s: does it report its outputs off when the line goes silent?\n"+
			"  The contactor is closed and %s.\n"+
			"  First nobody talks on the line, then it is only read. Altogether that lasts\n  %.0f s at most.\n",
			device, s.share(device), mostOn.Seconds())
		if err := s.tryOut(ctx, Proof{Device: device}, (*trials).run); err != nil {
			return err
		}
		p = s.record.proof(device)
		s.say("  Still on after %.2f s of silence, off after %.2f s, by its own registers.\n", p.StillOnS, p.LetGoS)
	}
	s.say("\nDevice %s: is that so once its supply was off?\n", device)
	if err := s.switchOffAndOn(ctx, device); err != nil {
		return err
	}
	s.say("  Once more: the contactor is closed and %s, for %.0f s of silence.\n", s.share(device), mustLetGo.Seconds())
	if err := s.tryOut(ctx, *s.record.proof(device), (*trials).again); err != nil {
		return err
	}
	s.say("  Proven, by its own registers; a relay that sticks is not seen by this.\n")
	return nil
}

// tryOut waits for a press, makes trials, and puts on record what came of them. What
// was stopped leaves the record as it was.
func (s *session) tryOut(ctx context.Context, proof Proof, run func(*trials, context.Context, *Proof) error) error {
	w, err := s.enabled(ctx)
	if err != nil {
		return err
	}
	t := &trials{session: s, device: proof.Device, before: means(w.plates)}
	if err := w.close(); err != nil { // zeros, before anything else
		return err
	}
	proof.At = time.Now()
	err = run(t, ctx, &proof)
	if errors.Is(err, ErrStopped) {
		return err
	}
	if err != nil {
		proof.Trouble, proof.LetGoS = err.Error(), 0
	}
	s.record.Proofs = put(s.record.Proofs, proof, func(p Proof) bool { return p.Device == proof.Device })
	if saved := s.save(); saved != nil {
		return foremost(saved, err)
	}
	if err != nil && !errors.Is(err, errPress) {
		return incomplete(fmt.Sprintf("device %s: %v", proof.Device, err))
	}
	return err
}

// share says how much power a device's heaters are given.
func (s *session) share(device string) string {
	switches := slices.ContainsFunc(s.Wiring.Channels, func(c registers.Channel) bool {
		return c.Device == device && c.Role == registers.Heater && c.Type == registers.Bit
	})
	if switches {
		return "one heater after the other switched on"
	}
	if !slices.ContainsFunc(s.Wiring.Channels, func(c registers.Channel) bool { return c.Device == device && c.Role == registers.Heater }) {
		return "no heater is told anything"
	}
	return fmt.Sprintf("its heaters get %.0f %% of their power", 100*proofDuty)
}

// trials are what is tried out on one device after one press.
type trials struct {
	*session
	device string
	before []float64     // the plates, cold
	on     time.Duration // how long the device has had a duty, altogether
}

// run finds the silence after which the device lets go.
func (t *trials) run(ctx context.Context, p *Proof) error {
	groups, err := t.allOff(ctx, p)
	if err != nil {
		return err
	}
	if err := t.tryReading(ctx, groups[0]); err != nil {
		return err
	}
	p.LetGoS, p.ReadS = mustLetGo.Seconds(), mustLetGo.Seconds()
	low, high := time.Duration(0), mustLetGo
	for range halvings {
		silence := (low + high) / 2
		if t.on+silence+trialTakes > mostOn {
			break
		}
		held, err := t.try(ctx, groups[0], silence)
		if err != nil {
			return err
		}
		if len(held) > 0 {
			low = silence
		} else {
			high = silence
		}
	}
	p.StillOnS, p.LetGoS = low.Seconds(), high.Seconds()
	return nil
}

// errHolds is wrapped by the error about outputs that are still on.
var errHolds = errors.New("still holds")

// again finds out whether the device still lets go.
func (t *trials) again(ctx context.Context, p *Proof) error {
	if _, err := t.allOff(ctx, p); errors.Is(err, errHolds) {
		return fmt.Errorf("once its supply was off: %w", err)
	} else if err != nil {
		return err
	}
	p.AgainS = mustLetGo.Seconds()
	return nil
}

// allOff sees that every output is off after the longest silence that may be.
func (t *trials) allOff(ctx context.Context, p *Proof) ([][]string, error) {
	groups, err := t.groups(p)
	if err != nil {
		return nil, err
	}
	for _, group := range groups {
		held, err := t.try(ctx, group, mustLetGo)
		if err != nil {
			return nil, err
		}
		if len(held) > 0 {
			return nil, fmt.Errorf("%w %s %.1f s after its line went silent: set its communication time-out (also called watchdog or fail-safe time) to 1.5 s or less with all outputs off, and store that in the device so that it outlasts switching off",
				errHolds, list(held), mustLetGo.Seconds())
		}
	}
	return groups, nil
}

// groups says which heaters are tried together: those that take a small duty, and
// each that can only be switched by itself. A device of the contactor alone has one
// empty group.
func (t *trials) groups(p *Proof) ([][]string, error) {
	var small []string
	var groups [][]string
	p.Outputs = nil
	for _, c := range t.Wiring.Channels {
		if !givesHeat(c) || c.Device != t.device {
			continue
		}
		name := (&output{Channel: c}).name()
		p.Outputs = append(p.Outputs, name)
		switch {
		case c.Role == registers.Contactor:
		case c.Type == registers.Bit:
			groups = append(groups, []string{name})
		default:
			small = append(small, name)
		}
	}
	if len(small) > 0 || len(groups) == 0 {
		groups = append(groups, small)
	}
	// One trial for each group, and one more of the first: see tryReading.
	if most := int(mostOn/(mustLetGo+trialTakes)) - 1; len(groups) > most {
		return nil, fmt.Errorf("has %d heaters that can only be switched, and at most %d can be tried: spread them over more devices",
			len(groups), most)
	}
	return groups, nil
}

// try makes one trial and looks after the bench afterwards. It returns the outputs
// that were still on after the silence.
func (t *trials) try(ctx context.Context, heaters []string, silence time.Duration) ([]string, error) {
	held, err := t.trial(ctx, heaters, func(w *wire) error {
		if !w.clk.Sleep(ctx, silence) {
			return ErrStopped
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	t.say("  %.3f s of silence: %s.\n", silence.Seconds(), state(held))
	return held, t.inspect(ctx)
}

// state says what a trial found; it is called once zeros were confirmed.
func state(held []string) string {
	if len(held) > 0 {
		return "still on; zeros written and confirmed"
	}
	return "off"
}

// tryReading finds out whether the device's time-out begins anew whenever it, or a
// neighbour on its line, is read: then a program that still reads and no longer
// decides would keep the heat on.
func (t *trials) tryReading(ctx context.Context, heaters []string) error {
	held, err := t.trial(ctx, heaters, func(w *wire) error { return t.readOnly(ctx, w, mustLetGo) })
	if err != nil {
		return err
	}
	t.say("  %.3f s of reading without a write: %s.\n", mustLetGo.Seconds(), state(held))
	if len(held) > 0 {
		return fmt.Errorf("%w %s %.1f s after the last write, while it is read: its time-out is fed by reading: set it to count writes only, or use another device",
			errHolds, list(held), mustLetGo.Seconds())
	}
	return t.inspect(ctx)
}

// trial switches on, waits in one way or another, reads back, and switches off
// whatever happens.
func (t *trials) trial(ctx context.Context, heaters []string, wait func(*wire) error) (held []string, err error) {
	w, err := t.openWire()
	if err != nil {
		return nil, err
	}
	defer func() { err = foremost(err, w.release()) }()
	if err := w.off(); err != nil {
		return nil, err
	}
	began := w.clk.Now()
	defer func() {
		err = foremost(err, w.off())
		t.on += w.clk.Now() - began
	}()
	if err := w.on(t.device, heaters); err != nil {
		return nil, err
	}
	if err := wait(w); err != nil {
		return nil, err
	}
	return w.held(t.device)
}

// on closes the contactor, gives heaters a small duty, and reads back whether the
// device has it.
func (w *wire) on(device string, heaters []string) error {
	var told []*output
	for _, o := range slices.Backward(w.outputs) { // contactor first, so that the last write is a duty
		if o.Role != registers.Contactor && !(o.Device == device && slices.Contains(heaters, o.name())) {
			continue
		}
		if err := o.write(dutyOf(o)); err != nil {
			return err
		}
		told = append(told, o)
	}
	for _, o := range told {
		if o.Device != device {
			continue
		}
		on, err := o.has(dutyOf(o))
		if err != nil {
			return err
		}
		if !on {
			return fmt.Errorf("%s: read back, it is not what was written: it goes off faster than it can be asked, or it is the wrong register", o.name())
		}
	}
	return nil
}

// dutyOf is what an output is given in a trial.
func dutyOf(o *output) float64 {
	if o.switched() {
		return 1
	}
	return proofDuty
}

// held reads a device's outputs and returns those that are not off.
func (w *wire) held(device string) ([]string, error) {
	var held []string
	for _, o := range w.of(device) {
		off, err := o.has(0)
		if err != nil {
			return nil, err
		}
		if !off {
			held = append(held, o.name())
		}
	}
	return held, nil
}

// inspect sees that the bench is well and no plate has warmed. Whoever has pressed the
// emergency stop in the trial may have had a reason, and is not told to release it.
func (t *trials) inspect(ctx context.Context) error {
	w, err := t.observeUntil(ctx, func(ctx context.Context, w *watch) error { return w.calm(ctx) })
	if err != nil {
		return err
	}
	var hot error
	for i, moved := range moves(t.before, w.plates) {
		if moved >= t.mayRiseC(t.Bench.Pots[i].Name) {
			hot = fmt.Errorf("%w. Plate %s has warmed by %.1f °C, more than the trial can give: a relay may be stuck on. %shave it changed",
				errPress, t.Bench.Pots[i].Name, moved, electrician)
		}
	}
	return foremost(hot, w.close())
}

// mayRiseC is by how much a plate may have warmed by the trials, in °C.
func (t *trials) mayRiseC(pot string) float64 {
	tried := slices.ContainsFunc(t.Wiring.Channels, func(c registers.Channel) bool {
		return c.Role == registers.Heater && c.Pot == pot && c.Device == t.device && c.Type == registers.Bit
	})
	if tried {
		return proofRiseC + switchedRiseCS*t.on.Seconds()
	}
	return proofRiseC
}

// list writes names in a row.
func list(names []string) string {
	text := names[0]
	for _, n := range names[1:] {
		text += ", " + n
	}
	return text
}

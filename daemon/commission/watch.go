package commission

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/guard"
	"meltwarden/control/reading"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/registers"
)

// watch is the bench under observation, five times a second, over the same bus as
// in service: outputs that nobody renews become zeros there. Its guard is told
// that the heaters are not proven, so it never lets heat flow; here it only judges
// readings and the button. What flows is told by duty and contactor, and only in
// cycles in which nothing at all is wrong.
type watch struct {
	bus   *devices.Bus
	clk   *clock.Clock
	pots  []config.Pot
	wired func(registers.Role) bool
	guard *guard.Guard
	in    control.Input

	started   bool
	last, due time.Duration
	plates    []average
	melts     []average
	// drifts are how fast plates and melts still moved when they last came to rest, in °C a
	// second.
	drifts []float64

	// duty is what the heaters are to get in the mean, told what they are told in this
	// cycle: of those that can only be switched 0 or 1, in the windows of their relays.
	duty, told []float64
	// targets are what controllers are told, in °C; zero is rest.
	targets   []float64
	windows   *circuit.Windows
	ticked    time.Duration
	contactor bool
	// byHand says that melt probes are moved by hand: whatever they read is no reason
	// to doubt them then, as long as they read something.
	byHand bool
}

// average is a mean over the latest readings.
type average struct{ latest []float64 }

func (a *average) add(c float64) {
	a.latest = append(a.latest, c)
	if most := int(averageOver / config.Period); len(a.latest) > most {
		a.latest = a.latest[1:]
	}
}

func (a *average) mean() float64 { return mean(a.latest) }

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// observe opens the bench and waits until all of it can be seen and is well, also for a person
// to release the emergency stop.
func (s *session) observe(ctx context.Context) (*watch, error) { return s.observeUntil(ctx, s.settle) }

// observeUntil opens the bench and waits until it is well.
func (s *session) observeUntil(ctx context.Context, well func(context.Context, *watch) error) (*watch, error) {
	bus, err := devices.Open(s.Wiring, s.Open, s.Clock)
	if err != nil {
		return nil, err
	}
	n := len(s.Bench.Pots)
	w := &watch{
		bus: bus, clk: s.Clock, pots: s.Bench.Pots,
		wired:  func(r registers.Role) bool { return wired(s.Bench, r) },
		due:    s.Clock.Now(),
		plates: make([]average, n), melts: make([]average, n), drifts: make([]float64, 2*n), duty: make([]float64, n), told: make([]float64, n),
		targets: make([]float64, n),
		windows: windowsOf(s.Bench.Pots),
	}
	w.forget()
	if err := well(ctx, w); err != nil {
		return nil, foremost(err, w.close())
	}
	return w, nil
}

// windowsOf are the windows of the heaters.
func windowsOf(pots []config.Pot) *circuit.Windows {
	var heaters []circuit.Heater
	for _, p := range pots {
		heaters = append(heaters, circuit.Heater{RatedW: p.HeaterW, Output: p.Output, Window: p.Window})
	}
	return circuit.NewWindows(heaters)
}

// forget begins the judgement of readings anew.
func (w *watch) forget() {
	w.guard = guard.New(guard.Limits{
		MeltWarnC: tooHotC, MeltTripC: tooHotC, PlateTripC: tooHotC,
		EStop: w.wired(registers.EStop), CutOut: w.wired(registers.CutOut), Fan: w.wired(registers.Fan),
	}, len(w.pots))
	w.started = false
}

// close writes zeros and lets the ports go. Its error says that a device did not
// confirm them.
func (w *watch) close() error {
	if w.bus.Close(context.Background()) {
		return nil
	}
	return errNoZeros
}

// errPress is wrapped by every error after which heat may still be on. It comes
// before anything else that is said.
var errPress = errors.New("PRESS THE EMERGENCY STOP, then switch the mains off")

var errNoZeros = fmt.Errorf("%w. ZEROS WERE NOT CONFIRMED: see that every plate stays cold before you switch anything on again", errPress)

// errSilence is wrapped by errors about what says nothing: why that may be.
var errSilence = errors.New("a cable, a device without supply, or a computer that is too busy")

// unwell is what is wrong with the bench in a cycle. Run says how to go on after it.
type unwell struct{ error }

// Unwrap is for errors.Is and errors.As.
func (u unwell) Unwrap() error { return u.error }

// foremost joins what went wrong with what came of switching off, the urgent first.
func foremost(wrong, off error) error {
	if errors.Is(off, errPress) && wrong != nil {
		return fmt.Errorf("%w. Why it ended: %w", off, wrong)
	}
	return errors.Join(wrong, off)
}

// goOn is said after what the same command can go on from.
const goOn = "Once that is mended, run the same command again: what is done is kept (meltwarden check shows every channel)"

// onward adds to an error of the bench why it may be and how to go on, behind the alarm and
// the cause.
func onward(err error) error {
	_, seen := errors.AsType[unwell](err)
	unconfirmed := errors.Is(err, errNoZeros)
	switch {
	case unconfirmed && !errors.Is(err, errSilence):
		return fmt.Errorf("%w\nWhere nothing answers it may be %w. %s", err, errSilence, goOn)
	case unconfirmed || seen:
		return fmt.Errorf("%w\n%s", err, goOn)
	}
	return err
}

// calm waits until nothing has been wrong for a while, and no longer once one of some things
// is wrong, which do not pass by themselves.
func (w *watch) calm(ctx context.Context, lasting ...error) error {
	deadline := w.clk.Now() + answerWait
	var wrong error
	for well := w.clk.Now(); w.clk.Now() < well+calmFor; {
		if err := w.cycle(ctx); errors.Is(err, ErrStopped) || slices.ContainsFunc(lasting, func(l error) bool { return errors.Is(err, l) }) {
			return err
		} else if err != nil {
			wrong, well = err, w.clk.Now()
			w.forget()
		}
		if w.clk.Now() > deadline {
			return fmt.Errorf("%w%s", wrong, w.lines())
		}
	}
	return nil
}

// lines says which line is not open, and why.
func (w *watch) lines() string {
	for _, l := range w.bus.Stats().Lines {
		if !l.Open && l.LastError != "" {
			return fmt.Sprintf("; line %s: %s", l.Name, l.LastError)
		}
	}
	return ""
}

// cycle reads, judges and writes once, and waits for the next beat. When anything
// is wrong, zeros are written and duty and contactor forgotten.
func (w *watch) cycle(ctx context.Context) error {
	wrong := w.look(ctx)
	switch {
	case ctx.Err() != nil:
		wrong = ErrStopped
	case wrong != nil:
		wrong = unwell{wrong}
	}
	if wrong != nil {
		w.off()
	}
	w.tick()
	w.bus.ApplyAt(control.Outputs{Duty: w.told, SetpointC: w.targets, Contactor: w.contactor}, w.last)
	w.due = max(w.due+config.Period, w.clk.Now())
	w.clk.Sleep(ctx, w.due-w.clk.Now())
	return wrong
}

// tick says what each heater is told until the next cycle. One is on at a time, which
// every circuit carries.
func (w *watch) tick() {
	elapsed := w.clk.Now() - w.ticked
	w.ticked += elapsed
	given := slices.Clone(w.duty)
	w.windows.Tick(given, w.told, math.Inf(1), elapsed)
	w.windows.Told(given, w.told)
}

// give has a heater nudged: by a share of its power, or by a controller that is told a
// little more than its plate has.
func (w *watch) give(pot int) {
	w.duty[pot] = nudgeDuty
	if w.pots[pot].Controller.Is() {
		w.targets[pot] = math.Ceil(w.plates[pot].mean()) + nudgeOverC
	}
}

func (w *watch) off() {
	clear(w.duty)
	clear(w.targets)
	w.contactor = false
}

// look takes in one cycle's readings and says what is wrong.
func (w *watch) look(ctx context.Context) error {
	began := w.clk.Now()
	snapshot := w.bus.Poll(ctx, config.Period*3/5)
	now := w.clk.Now()
	w.clk.KeptUp(snapshot.Whole && now < began+config.Period)
	snapshot.Fill(&w.in, now)
	sight := guard.Sight{
		First: !w.started, Elapsed: now - w.last, Period: config.Period,
		EStop: w.in.Contacts.EStop, CutOut: w.in.Contacts.CutOut, Fan: w.in.Contacts.Fan,
		Enable: w.in.Contacts.Enable, Link: w.in.Contacts.Link,
	}
	for i, p := range w.in.Pots {
		sight.Pots = append(sight.Pots, guard.PotSight{Melt: p.Melt, Plate: p.Plate, Probes: w.pots[i].Probes, Duty: w.duty[i]})
	}
	late := w.started && sight.Elapsed > mustLetGo // the bus has written zeros long since
	w.started, w.last = true, now
	w.guard.Look(&sight)
	if late {
		return fmt.Errorf("this computer was busy for %.1f s: see that nothing else loads it", sight.Elapsed.Seconds())
	}
	return w.wrong()
}

// wrong says what is wrong with the bench in this cycle.
func (w *watch) wrong() error {
	for i := range w.in.Pots {
		if err := w.take(i); err != nil {
			return err
		}
	}
	k := w.in.Contacts
	for _, c := range []struct {
		role    registers.Role
		contact reading.Contact
	}{{registers.EStop, k.EStop}, {registers.CutOut, k.CutOut}, {registers.Fan, k.Fan}, {registers.Enable, k.Enable}} {
		if w.wired(c.role) && !c.contact.Known(guard.MaxAge) {
			return fmt.Errorf("%s can not be read (%w)", c.role, errSilence)
		}
		if c.role == registers.EStop && w.wired(c.role) && !c.contact.Closed {
			return errStopOpen
		}
		if w.wired(c.role) && c.role != registers.Enable && !c.contact.Closed {
			return fmt.Errorf("%s is open", c.role)
		}
	}
	switch {
	case !k.Link.Known(guard.MaxAge):
		return fmt.Errorf("the heaters or the contactor do not confirm what they are told (%w)", errSilence)
	case !k.Link.Closed:
		return errors.New("the heaters or the contactor have forgotten what they were told, or a line was lost: see that plugs, cables, adapters and supplies hold")
	}
	return nil
}

// take adds a pot's readings to their means, unless one is wrong. Of a pot with one probe
// that one stands for both: nothing else of it moves.
func (w *watch) take(i int) error {
	p, has := &w.in.Pots[i], w.pots[i].Probes
	melt, plate := w.guard.Believes(i)
	if has.HasMelt() {
		if err := checkProbe("melt", w.pots[i].Name, p.Melt, melt); err != nil && !(w.byHand && p.Melt.Usable(guard.MaxAge)) {
			return err
		}
	}
	if has.HasPlate() {
		if err := checkProbe("plate", w.pots[i].Name, p.Plate, plate); err != nil {
			return err
		}
	}
	switch has {
	case reading.PlateOnly:
		w.melts[i].add(p.Plate.C)
		w.plates[i].add(p.Plate.C)
	case reading.MeltOnly:
		w.melts[i].add(p.Melt.C)
		w.plates[i].add(p.Melt.C)
	default:
		w.melts[i].add(p.Melt.C)
		w.plates[i].add(p.Plate.C)
	}
	return nil
}

func checkProbe(role, pot string, t reading.Temperature, believed bool) error {
	switch {
	case !t.Usable(guard.MaxAge) && t.Fault == reading.None:
		return fmt.Errorf("the %s probe of pot %s can not be used: nothing new comes from it (%w)", role, pot, errSilence)
	case !t.Usable(guard.MaxAge):
		return fmt.Errorf("the %s probe of pot %s can not be used: %s", role, pot, t.Fault)
	case t.C >= tooHotC:
		return fmt.Errorf("the %s of pot %s is at %.0f °C, too hot for this", role, pot, t.C)
	case !believed:
		return fmt.Errorf("the %s probe of pot %s reads %.1f °C, which can not be true", role, pot, t.C)
	}
	return nil
}

// warmth is what a probe may have of what was tried lately.
type warmth uint8

const (
	untouched warmth = iota // as cold as the room
	perhaps                 // warmer than that
	moved                   // warmer; with its leads swapped, colder
)

// cold says why the bench is not cold: a probe that is warm, or one that differs
// from the others. What something tried has just warmed may be warmer, and colder only
// where that was seen.
func (w *watch) cold(warmed func(role, pot string) warmth) error {
	all, compared, most := map[string]float64{}, map[string]float64{}, map[string]float64{}
	var notColder []string
	for i, p := range w.pots {
		for role, c := range w.seen(i) {
			name := role + " of pot " + p.Name
			all[name], most[name] = c, warmC
			switch warmed(role, p.Name) {
			case untouched:
				compared[name], most[name] = c, coldC
			case perhaps:
				notColder = append(notColder, name)
			}
		}
	}
	slices.Sort(notColder)
	for _, name := range notColder {
		if len(compared) > 0 && all[name] < warmest(compared)-spreadC {
			return fmt.Errorf("the %s is at %.1f °C (%s): it may be warmer than what nothing has warmed, never colder. Find out which probe is wrong (its type, its correction, its channel), and run the command again%s",
				name, all[name], w.temperatures(), oddOneOut(all))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		if all[name] >= most[name] {
			return fmt.Errorf("the %s is at %.0f °C: wait until everything is below %.0f °C, and run the command again%s", name, all[name], coldC, oddOneOut(all))
		}
	}
	if between := spread(compared); between > spreadC {
		return fmt.Errorf("the cold probes differ by %.1f °C (%s), at most %.0f °C is right: wait until everything is as cold as the room, or find the probe that is wrong, and run the command again%s",
			between, w.temperatures(), spreadC, oddOneOut(compared))
	}
	return nil
}

// controllersAgree says which controller's own sensor, where it is read, does not say what
// its plate's probe does: its scale or unit is wrong, and the set-point's may be as well.
func (w *watch) controllersAgree() error {
	for i, p := range w.pots {
		own := w.in.Pots[i].Own
		if !own.Usable(guard.MaxAge) {
			continue // not read; where it should be, the guard of a hot bench says so
		}
		if plate := w.plates[i].mean(); math.Abs(own.C-plate) > spreadC {
			return fmt.Errorf("the controller of pot %s reads %.1f °C by its own sensor where the plate's probe reads %.1f °C: its sensor is not on that plate or of another type, or scale or unit in the bench file are wrong (then look at those of its set-point as well); mend it, and run the command again", p.Name, own.C, plate)
		}
	}
	return nil
}

// warmest is the highest of some readings, in °C.
func warmest(of map[string]float64) float64 { return slices.Max(slices.Collect(maps.Values(of))) }

// spread is how far probes are apart, in °C.
func spread(of map[string]float64) float64 {
	if len(of) == 0 {
		return 0
	}
	all := slices.Collect(maps.Values(of))
	return slices.Max(all) - slices.Min(all)
}

// oddOneOut names the probe without which all others agree much better, where there is one,
// and says what it often is: with its leads swapped it is as far above the terminals in its
// module as it should be below them, and those are warmer than a cold bench.
func oddOneOut(of map[string]float64) string {
	without := map[string]float64{}
	for name := range of {
		others := maps.Clone(of)
		delete(others, name)
		without[name] = spread(others)
	}
	names := slices.SortedFunc(maps.Keys(without), func(a, b string) int { return cmp.Compare(without[a], without[b]) })
	if len(names) < 3 || without[names[0]] > spreadC || 2*without[names[0]] > without[names[1]] {
		return ""
	}
	return fmt.Sprintf(". Where the %s alone stays off, its two wires may be swapped: %sswap them, and see whether it then agrees", names[0], electrician)
}

// temperatures lists every pot's readings.
func (w *watch) temperatures() string {
	text := ""
	for i, p := range w.pots {
		if i > 0 {
			text += ", "
		}
		text += p.Name
		for _, role := range []string{"plate", "melt"} {
			if c, has := w.seen(i)[role]; has {
				text += fmt.Sprintf(" %s %.1f", role, c)
			}
		}
	}
	return text
}

// seen are the means of the probes that a pot has.
func (w *watch) seen(i int) map[string]float64 {
	seen := map[string]float64{}
	if w.pots[i].Probes.HasMelt() {
		seen["melt"] = w.melts[i].mean()
	}
	if w.pots[i].Probes.HasPlate() {
		seen["plate"] = w.plates[i].mean()
	}
	return seen
}

// means returns the mean of each.
func means(all []average) []float64 {
	var list []float64
	for i := range all {
		list = append(list, all[i].mean())
	}
	return list
}

// hold goes on for a span, and calls each after every cycle until that is false.
func (w *watch) hold(ctx context.Context, span time.Duration, each func() bool) error {
	for until := w.clk.Now() + span; w.clk.Now() < until; {
		if err := w.cycle(ctx); err != nil {
			return err
		}
		if !each() {
			return nil
		}
	}
	return nil
}

// wait is hold for somebody who is told now and then how much of the span is left.
func (s *session) wait(ctx context.Context, w *watch, span time.Duration, each func() bool) error {
	began, next := w.clk.Now(), coolTellEvery
	return w.hold(ctx, span, func() bool {
		if spent := w.clk.Now() - began; spent >= next && spent < span {
			next += coolTellEvery
			s.say("  %.0f s more.\n", (span - spent).Seconds())
		}
		return each()
	})
}

// press waits for a deliberate press of the enable button while nothing is wrong.
func (s *session) press(ctx context.Context, w *watch) error {
	asks := s.remind("Stand at the emergency stop. Press the bench's enable button for about a second and let it go. Nothing is switched on before.")
	told := ""
	for until := w.clk.Now() + pressWait; w.clk.Now() < until; {
		err := w.cycle(ctx)
		if told == "" {
			asks.again("  Still waiting for a press of about a second.\n")
		}
		switch {
		case errors.Is(err, ErrStopped):
			return err
		case err != nil && err.Error() != told:
			told = err.Error()
			s.say("  Not now: %s.\n", told)
		case err == nil && w.guard.Pressed():
			s.say("  Pressed.\n")
			return nil
		case err == nil && told != "":
			told = ""
			s.say("  Well again: press now.\n")
		}
	}
	return fmt.Errorf("nobody pressed the enable button within %.0f minutes; nothing was switched on: run the command again", pressWait.Minutes())
}

// enabled begins a step: the bench seen, cold and at rest, and a press for it. The
// caller closes the watch.
func (s *session) enabled(ctx context.Context) (*watch, error) {
	w, err := s.observe(ctx)
	if err != nil {
		return nil, err
	}
	err = w.cold(s.warmed)
	if err == nil {
		err = s.rest(ctx, w, steadyFor)
	}
	if err == nil {
		err = w.controllersAgree()
	}
	if err == nil {
		err = s.press(ctx, w)
	}
	if err == nil {
		err = w.cold(s.warmed)
	}
	if err == nil {
		s.record.Heated = time.Now()
		err = s.save()
	}
	if err != nil {
		return nil, foremost(err, w.close())
	}
	return w, nil
}

// warmed says whether a probe may still be warm from what was tried lately: a plate's
// after any heat, also that of a bench file that was changed since, and a melt's where its
// pot was nudged. Without melt probes plates are held against each other only: those of a
// changed file have to be cold once more before the first of its steps.
func (s *session) warmed(role, pot string) warmth {
	if s.record.warmed(pot) {
		return moved
	}
	alone := !slices.ContainsFunc(s.Bench.Pots, func(p config.Pot) bool { return p.Probes.HasMelt() })
	before := !alone || len(s.record.Proofs)+len(s.record.Nudges) > 0
	if role == "plate" && before && time.Since(s.record.Heated) < coldAgain {
		return perhaps
	}
	return untouched
}

// warmed reports whether a nudge on record moved a pot's plate so lately that it may
// still be warm.
func (r *Record) warmed(pot string) bool {
	return slices.ContainsFunc(r.Nudges, func(n Nudge) bool {
		return time.Since(n.At) < coldAgain && (n.Pot == pot || math.Abs(n.Moved[pot]) >= strayC)
	})
}

// rest waits until nothing moves any more: by less than steadyC in a span.
func (s *session) rest(ctx context.Context, w *watch, span time.Duration) error {
	s.say("  Reading whether anything still moves, %.0f s: wait.\n", span.Seconds())
	told := time.Duration(0)
	most := max(steadyWait, span*15)
	for until := w.clk.Now() + most; w.clk.Now() < until; {
		before := means(w.probes())
		err := s.wait(ctx, w, span, always)
		if errors.Is(err, ErrStopped) {
			return err
		}
		if err != nil { // nothing is on: what passes is no reason to give up
			if err := w.calm(ctx); err != nil {
				return err
			}
			continue
		}
		if moved := moves(before, w.probes()); farthest(moved) < steadyC {
			for i := range moved {
				w.drifts[i] = moved[i] / span.Seconds()
			}
			return nil
		}
		if now := w.clk.Now(); told == 0 || now >= told {
			told = now + coolTellEvery
			s.say("  Waiting until nothing moves by %.1f °C in %.0f s any more (%s).\n", steadyC, span.Seconds(), w.temperatures())
		}
	}
	return fmt.Errorf("plates and melts have not come to rest within %.0f minutes: let everything cool, and run the command again", most.Minutes())
}

// probes are the plates, then the melts.
func (w *watch) probes() []average { return slices.Concat(w.plates, w.melts) }

func always() bool { return true }

// moves returns how far each mean is from where it was.
func moves(before []float64, all []average) []float64 {
	list := means(all)
	for i := range list {
		list[i] -= before[i]
	}
	return list
}

// farthest returns the largest move, either way.
func farthest(moved []float64) float64 {
	most := 0.0
	for _, m := range moved {
		most = max(most, math.Abs(m))
	}
	return most
}

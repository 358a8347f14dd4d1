package commission

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/config"
	"meltwarden/control/guard"
	"meltwarden/daemon/lines"
	"meltwarden/devices/registers"
)

// Display is what a person read on the display of a controller that was told a set-point,
// with the contactor open. What it sends back over the line it has from that line: only the
// display shows for which temperature it takes the number.
type Display struct {
	Pot string    `json:"pot"`
	At  time.Time `json:"at"`
	// PlateC is what the plate's probe read, and ToldC the set-point that the controller was
	// told and sent back, in degrees Celsius.
	PlateC float64 `json:"plate_c"`
	ToldC  float64 `json:"told_c"`
	// Reads and Shows are what its display had as its own reading and as its set-point, as
	// typed, in degrees of its own.
	Reads float64 `json:"reads"`
	Shows float64 `json:"shows"`
	// Trouble is what does not fit, or empty.
	Trouble string `json:"trouble,omitempty"`
}

// passed reports whether the controller takes a set-point for the temperature that was meant.
func (d *Display) passed() bool { return d.Trouble == "" }

func (d *Display) done() bool { return d != nil && d.passed() && !lapsed(d.At) }

// unheard reports whether a pot is heated by a controller that does not say over the line
// what its own sensor reads.
func unheard(b *config.Bench, p config.Pot) bool {
	return p.Controller.Is() && !slices.ContainsFunc(b.Channels, func(c registers.Channel) bool {
		return c.Role == registers.ProcessValue && c.Pot == p.Name
	})
}

// display returns what is on record of a pot's controller, or nil.
func (r *Record) display(pot string) *Display {
	i := slices.IndexFunc(r.Displays, func(d Display) bool { return d.Pot == pot })
	if i < 0 {
		return nil
	}
	return &r.Displays[i]
}

// unread returns in words which displays nobody has read, or not so that they fit.
func (r *Record) unread(b *config.Bench) []string {
	var missing []string
	for _, p := range b.Pots {
		switch d := r.display(p.Name); {
		case !unheard(b, p):
		case d == nil:
			missing = append(missing, fmt.Sprintf("controller of pot %s: nobody has typed what its display shows", p.Name))
		case !d.passed():
			missing = append(missing, fmt.Sprintf("controller of pot %s: %s", p.Name, d.Trouble))
		case !d.done():
			missing = append(missing, fmt.Sprintf("controller of pot %s: its display was read %s, %s", p.Name, day(d.At), tooLongAgo))
		}
	}
	return missing
}

const beforeDisplays = "The controllers of these pots do not say over the line what their own sensors read: %s. Each is told a set-point of its own that is colder than its plate, with the contactor open, and you type what its display has. Nothing else shows whether it takes the number for the temperature that was meant: with a wrong scale or unit it can heat far too hot."

// readAll has a person read the display of each controller that nothing else shows the scale
// and unit of. One that is not right does not end it, but no step with heat follows.
func (s *session) readAll(ctx context.Context) error {
	var pots []int
	var names []string
	for i, p := range s.Bench.Pots {
		if unheard(s.Bench, p) && !s.record.display(p.Name).done() {
			pots, names = append(pots, i), append(names, p.Name)
		}
	}
	if len(pots) == 0 {
		return nil
	}
	s.say("\n%s\n", lines.Wrap("", fmt.Sprintf(beforeDisplays, strings.Join(names, ", "))))
	w, err := s.observe(ctx)
	if err != nil {
		return err
	}
	k := &looking{session: s, w: w}
	if err := foremost(k.all(ctx, pots), w.close()); err != nil {
		return err
	}
	if missing := s.record.unread(s.Bench); len(missing) > 0 {
		return incomplete(missing...)
	}
	return nil
}

// looking is a person in front of the displays, with the contactor open.
type looking struct {
	*session
	w      *watch
	plates []float64 // when the last question began
}

func (k *looking) all(ctx context.Context, pots []int) error {
	if err := k.rest(ctx, k.w, steadyFor); err != nil {
		return err
	}
	if err := k.tell(ctx); err != nil {
		return err
	}
	for _, pot := range pots {
		if err := k.one(ctx, pot); err != nil {
			return err
		}
	}
	for _, pot := range pots {
		k.judge(k.w.pots[pot].Name)
	}
	return nil
}

// judge says whether a display is right. It is said of all of them at the end, because what one
// controller was told would be a hint for the next.
func (k *looking) judge(pot string) {
	if d := k.record.display(pot); d.passed() {
		k.say("  Pot %s, right: %s.\n", pot, d.words())
	} else {
		k.say("  Pot %s, NOT RIGHT: %s.\n", pot, d.Trouble)
	}
}

// tell gives every controller its set-point, keeps on record which, and waits until all have
// sent it back.
func (k *looking) tell(ctx context.Context) error {
	if err := k.choose(); err != nil {
		return err
	}
	if err := k.save(); err != nil {
		return err
	}
	k.plates = means(k.w.plates)
	for end := k.w.clk.Now() + answerWait; ; {
		if err := k.look(ctx); err != nil {
			return err
		}
		pot := slices.IndexFunc(k.w.pots, k.lacks)
		if pot < 0 {
			return nil
		}
		if k.w.clk.Now() > end {
			return fmt.Errorf("the controller of pot %s does not send back what it was told: %s; then run the command again", k.w.pots[pot].Name, notTaken)
		}
	}
}

// choose takes for each controller a set-point of its own, and another one than the last time:
// who has just read what it was would type it without a look. It goes by the time of day, so
// that nobody knows it beforehand.
func (k *looking) choose() error {
	room, err := k.room()
	if err != nil {
		return err
	}
	now := uint64(time.Now().UnixNano())
	rand.New(rand.NewPCG(now, now)).Shuffle(len(room), func(i, j int) { room[i], room[j] = room[j], room[i] })
	told := map[string]float64{}
	for i, p := range k.w.pots {
		if !unheard(k.Bench, p) {
			continue
		}
		last, known := k.record.ToldC[p.Name]
		at := slices.IndexFunc(room, func(c float64) bool { return !known || math.Abs(c-last) >= apartC/2 })
		k.w.targets[i], told[p.Name] = room[at], room[at]
		room = slices.Delete(room, at, at+1)
	}
	k.record.ToldC = told
	return nil
}

// room are the set-points that controllers can be told: above the rest of every one, so that
// none is taken for a rest, and below every plate, in case that two are crossed. There is one
// more than controllers at least, so that each can be told another one than the last time.
func (k *looking) room() (all []float64, err error) {
	above, below, n := lowestC, math.Inf(1), 0
	for i, p := range k.w.pots {
		above = max(above, p.Controller.RestC)
		if unheard(k.Bench, p) {
			below, n = min(below, k.w.plates[i].mean()), n+1
		}
	}
	for c := above + apartC; c <= below-coolerC; c += apartC {
		all = append(all, c)
	}
	if len(all) <= n {
		return nil, fmt.Errorf("there is no room for %d different set-points, each %g °C from the next, between %g °C (no rest is higher) and the coldest plate, which is at %.1f °C, so that a controller would heat: warm the room, or write a lower rest for the set-points in the bench file (below %g °C does not help), and run the command again",
			n+1, apartC, above, below, lowestC)
	}
	return all, nil
}

// lacks reports whether a pot's controller has not sent back what it was told.
func (k *looking) lacks(p config.Pot) bool {
	i := slices.IndexFunc(k.w.pots, func(o config.Pot) bool { return o.Name == p.Name })
	held, told := k.w.in.Pots[i].Setpoint, k.w.targets[i]
	return told > 0 && !(held.Usable(guard.MaxAge) && math.Abs(held.C-told) <= k.setpoint(p.Name).StepC())
}

// setpoint is the channel by which a pot's controller is told.
func (k *looking) setpoint(pot string) registers.Channel {
	return k.Bench.Channels[slices.IndexFunc(k.Bench.Channels, func(c registers.Channel) bool {
		return c.Role == registers.Setpoint && c.Pot == pot
	})]
}

// look goes on for one cycle. No plate may warm: the contactor is open.
func (k *looking) look(ctx context.Context) error {
	if err := k.w.cycle(ctx); err != nil {
		return err
	}
	for i, moved := range moves(k.plates, k.w.plates) {
		if moved >= strayC {
			k.w.off()
			return fmt.Errorf("%w. Plate %s has risen by %.1f °C with the contactor open: the contactor is welded, or this heater is not behind it. A licensed electrician has to mend it",
				errPress, k.w.pots[i].Name, moved)
		}
	}
	return nil
}

const (
	askReads = "Which temperature does it measure now (its actual value)? Type the number as it stands there, with its decimal point and without a unit: the number shows which unit it is."
	askShows = "And which set-point does it show? It was told another one just now, which is not said here. If none is shown, its manual says which key does that. Type the number likewise."
)

// one asks for what a display has, and puts it on record.
func (k *looking) one(ctx context.Context, pot int) error {
	name := k.w.pots[pot].Name
	k.plates = means(k.w.plates)
	k.say("\nController of pot %s: what does its display show?\n  Nothing is heated.\n", name)
	found := Display{Pot: name}
	for _, asked := range []struct {
		ask string
		to  *float64
	}{{askReads, &found.Reads}, {askShows, &found.Shows}} {
		k.say("%s\n", lines.Wrap("  ", asked.ask))
		n, err := k.number(ctx)
		if err != nil {
			return err
		}
		*asked.to = n
	}
	found.At, found.PlateC, found.ToldC = time.Now(), tenths(k.w.plates[pot].mean()), tenths(k.w.in.Pots[pot].Setpoint.C)
	found.Trouble = found.misfit(k.setpoint(name), k.others(pot))
	k.record.Displays = put(k.record.Displays, found, func(d Display) bool { return d.Pot == name })
	return k.save()
}

// number waits for a number by itself, and takes nothing else.
func (k *looking) number(ctx context.Context) (float64, error) {
	for {
		words, err := k.lineWhile(ctx, k.look)
		if err != nil {
			return 0, err
		}
		n, err := strconv.ParseFloat(words, 64)
		if err == nil && math.Abs(n) < mostShown {
			return n, nil
		}
		k.say("   Not accepted: %q: type the number alone, such as 23.5 or 74, as the display has it.\n", words)
	}
}

// others are what the controllers of other pots have been told, in °C.
func (k *looking) others(pot int) map[string]float64 {
	told := map[string]float64{}
	for i, p := range k.w.pots {
		if c := k.w.targets[i]; i != pot && c > 0 {
			told[p.Name] = c
		}
	}
	return told
}

func tenths(c float64) float64 { return math.Round(10*c) / 10 }

// unit is the display's, by its reading beside that of the plate's probe.
func (d *Display) unit() (registers.Unit, error) {
	for _, u := range []registers.Unit{registers.Celsius, registers.Fahrenheit} {
		if math.Abs(d.Reads-u.Number(d.PlateC)) <= u.Number(spreadC)-u.Number(0) {
			return u, nil
		}
	}
	return "", fmt.Errorf("its display reads %g where the plate's probe reads %.1f °C (%.1f °F): its sensor is not on that plate, is broken, or is of another type than the controller is set to; or a decimal point was left out as it was typed",
		d.Reads, d.PlateC, registers.Fahrenheit.Number(d.PlateC))
}

const notTaken = "the register in the bench file may not be that of the set-point that it heats to (but of a second one, or of a programme), or it is locked or in local mode. Look into its manual, and mend that"

// misfit says what does not fit in a display, of a controller that is told by a channel, and
// what to do about it, but not what it was told: that is for the display to show. Others are
// what the controllers of other pots have been told, in °C.
func (d *Display) misfit(by registers.Channel, others map[string]float64) string {
	unit, err := d.unit()
	if err != nil {
		return err.Error()
	}
	if math.Abs(d.Shows-unit.Number(d.ToldC)) <= shownC {
		return ""
	}
	likely, nearest := "that is nothing that it was told. Where it showed that before: "+notTaken, shownC
	for _, c := range causes(by, unit, d.ToldC, others) {
		if off := math.Abs(d.Shows - c.shows); off <= nearest {
			likely, nearest = c.words, off
		}
	}
	return fmt.Sprintf("its display shows %g, in °%s: %s", d.Shows, unit, likely)
}

// cause is what a display would show if something was wrong.
type cause struct {
	shows float64
	words string
}

// causes are what is wrong in most cases (common practice, no source): the register of
// something else, controllers that are crossed, and in the bench file another scale or unit
// than the controller has.
func causes(by registers.Channel, unit registers.Unit, toldC float64, others map[string]float64) []cause {
	all := []cause{{unit.Number(by.RestC), "that is its rest still, nothing has changed: " + notTaken}}
	for pot, c := range others {
		all = append(all, cause{unit.Number(c), fmt.Sprintf("that is what the controller of pot %s was told: the two are crossed. Swap their channels in the bench file, or their unit numbers", pot)})
	}
	for _, times := range []float64{1, 10, 0.1, 100, 0.01} {
		var mend []string
		if times != 1 {
			mend = append(mend, fmt.Sprintf("scale: %.4g in place of scale: %.4g, since it shows %.4g times as much", by.Scale*times, by.Scale, times))
		}
		if unit != by.Unit {
			mend = append(mend, fmt.Sprintf("unit: %s in place of unit: %s, since the controller counts in °%s", unit, by.Unit, unit))
		}
		if len(mend) > 0 {
			all = append(all, cause{by.Unit.Number(toldC) * times, "write " + strings.Join(mend, ", and ") + ", for its set-point in the bench file"})
		}
	}
	return all
}

// words says what a display that is right has proven.
func (d *Display) words() string {
	unit, err := d.unit()
	if err != nil {
		return d.Trouble
	}
	return fmt.Sprintf("its display shows %g, in °%s, where it was told %.1f °C", d.Shows, unit, d.ToldC)
}

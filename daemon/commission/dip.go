package commission

import (
	"context"
	"errors"
	"fmt"
	"time"

	"meltwarden/daemon/lines"
)

const beforeDips = `
The melt probes are tried in hot water, one after the other, without heat and
without the button.
- Label every melt probe with its pot, take it out, and let it hang in the air.
  One that is stuck in solid vinyl has to be freed first (Ctrl-C: you can go on
  later).
- Have ready, away from the pots: a cup of hot tap water (50 to 70 °C), a dry
  cloth and a kitchen thermometer.
WATER IN HOT VINYL SPATTERS: every tip is dried at the end.
`

// dipAll has every melt probe that is not right yet held in hot water, finds out which
// channel shows it, and puts that on record. What is not right does not end the
// session, as with a nudge.
func (s *session) dipAll(ctx context.Context) error {
	var pots []int
	for i, p := range s.Bench.Pots {
		if p.Probes.HasMelt() && !s.record.dip(p.Name).done() {
			pots = append(pots, i)
		}
	}
	if len(pots) == 0 {
		return nil
	}
	s.say(beforeDips)
	w, err := s.observe(ctx)
	if err != nil {
		return err
	}
	w.byHand = true
	d := &dipping{session: s, w: w}
	err = foremost(d.all(ctx, pots), w.close())
	if err != nil && d.wet {
		err = errors.Join(err, errWet)
	}
	return err
}

var errWet = errors.New("dry the tip of the melt probe before anything else is done with it: water in hot vinyl spatters")

// dipping is the melt probes on their way through the water, with every output told
// zero.
type dipping struct {
	*session
	w             *watch
	pot           int           // whose probe it is now
	plates, melts []float64     // cold
	since         time.Duration // when they were
	wrong         error         // why not all could be seen in the last cycle
	wet           bool
}

// all tries one probe after the other, and leaves the bench as cold as a step with heat
// needs it.
func (d *dipping) all(ctx context.Context, pots []int) error {
	for _, pot := range pots {
		d.pot = pot
		if err := d.one(ctx); err != nil {
			return err
		}
	}
	d.say("\n%s\n", lines.Wrap("", heatNext))
	return d.cool(ctx)
}

// heatNext is said before the steps with heat.
const heatNext = "Heat comes next. Take the cup, the wet cloth and all other water away from the bench now. Put every melt probe, dry, back into its own pot, or onto its rim where the vinyl is solid: none may lie on a plate, unless you are told so, or hang in your way."

// name names the pot whose probe it is.
func (d *dipping) name() string { return d.Bench.Pots[d.pot].Name }

// one tries one probe, and counts it once it is dry.
func (d *dipping) one(ctx context.Context) error {
	d.say("\nMelt probe %s: which channel shows it?\n  Nothing is heated. First it is read whether all is cold: wait.\n", d.name())
	if err := d.cool(ctx); err != nil {
		return err
	}
	if err := d.rest(ctx, d.w, steadyFor); err != nil {
		return err
	}
	d.plates, d.melts, d.since = means(d.w.plates), means(d.w.melts), d.w.clk.Now()
	d.wet = true
	found, err := d.inWater(ctx)
	if err != nil {
		return err
	}
	if err := d.dried(ctx); err != nil {
		return err
	}
	d.wet = false
	found.Pot, found.At = d.name(), time.Now()
	d.record.Melts = put(d.record.Melts, found, func(o Dip) bool { return o.Pot == found.Pot })
	if err := d.save(); err != nil {
		return err
	}
	if found.passed() {
		d.say("  Right: melt %s moved by %+.1f °C, no other by more than %.0f °C; %s.\n", found.Pot, found.Moved[found.Pot], strayC, found.compared())
	} else {
		d.say("  NOT RIGHT: %s.\n", found.advice())
	}
	return nil
}

// look goes on for one cycle. No plate may warm meanwhile: everything is told zero. One that
// cools from a nudge, its leads swapped, seems to, as slowly as it did at rest.
func (d *dipping) look(ctx context.Context) error {
	d.wrong = d.w.cycle(ctx)
	if errors.Is(d.wrong, ErrStopped) {
		return d.wrong
	}
	if d.wrong != nil { // nothing is on: what passes is no reason to give up
		return nil
	}
	for i, moved := range moves(d.plates, d.w.plates) {
		drifted := max(d.w.drifts[i], 0) * (d.w.clk.Now() - d.since).Seconds()
		if moved >= strayC+min(drifted, 2*strayC) && d.Bench.Pots[i].Probes.HasPlate() {
			return fmt.Errorf("%w. Plate %s has risen by %.1f °C with everything told zero. If that plate warms (hold a hand over it, do not touch), its heater is on by itself: %shave it mended. If it is cold, the probe in the water is on the channel of this plate: swap the two, or their channels in the bench file. If it cools from what was tried before, its own two wires are swapped",
				errPress, d.Bench.Pots[i].Name, moved, electrician)
		}
	}
	return nil
}

// until goes on until something is so, for dipWait at most, and reports whether it
// came. Somebody is told again and again what to do.
func (d *dipping) until(ctx context.Context, do string, so func() bool) (bool, error) {
	asks := d.remind(do)
	for end := d.w.clk.Now() + dipWait; d.w.clk.Now() < end; {
		if err := d.look(ctx); err != nil {
			return false, err
		}
		if d.wrong == nil && so() {
			return true, nil
		}
		if d.wrong != nil {
			asks.again("  Not now: %v.\n", d.wrong)
		} else {
			asks.again("  Still waiting. %s\n", do)
		}
	}
	if d.wrong != nil {
		return false, d.wrong
	}
	return false, nil
}

// inWater has the tip held in the water, and says which channel shows it.
func (d *dipping) inWater(ctx context.Context) (Dip, error) {
	do := fmt.Sprintf("Hold the tip of the melt probe of pot %s in the water, and no other, until you are told more.", d.name())
	seen, err := d.until(ctx, do, func() bool { return farthest(moves(d.melts, d.w.melts)) >= dipRiseC })
	if err == nil && seen {
		err = d.settle(ctx)
	}
	if err != nil {
		return Dip{}, err
	}
	moved := moves(d.melts, d.w.melts)
	found := Dip{Moved: d.byPot(moved)}
	found.Result, found.Other = d.judge(d.pot, moved)
	if found.Result == Right {
		err = d.compare(ctx, &found)
	}
	return found, err
}

// settle waits until the probe is as warm as the water.
func (d *dipping) settle(ctx context.Context) error {
	before, since := means(d.w.melts), d.w.clk.Now()
	seen, err := d.until(ctx, "It shows. Keep it in the water.", func() bool {
		if d.w.clk.Now()-since < settleFor {
			return false
		}
		moved := farthest(moves(before, d.w.melts))
		before, since = means(d.w.melts), d.w.clk.Now()
		return moved < steadyC
	})
	if err == nil && !seen {
		err = fmt.Errorf("the melt probe of pot %s does not come to rest in the water: take a larger cup, and run the command again", d.name())
	}
	return err
}

// line waits for what is typed, and goes on looking meanwhile.
func (d *dipping) line(ctx context.Context) (string, error) { return d.lineWhile(ctx, d.look) }

// asked is how often it is asked whether the tip is dry (E).
const asked = 3

// dried has the tip dried, and takes no other word for it.
func (d *dipping) dried(ctx context.Context) error {
	d.say("  Take the tip out and DRY IT: wipe tip and sheath until the cloth stays dry. Water in hot vinyl spatters.\n  When it is dry, type: dry\n")
	for range asked {
		words, err := d.line(ctx)
		if err != nil {
			return err
		}
		if plain(words) == "dry" {
			return nil
		}
		d.say("   Not confirmed. When it is dry, type: dry\n")
	}
	return incomplete(fmt.Sprintf("melt probe %s: nobody confirmed that it is dry", d.name()))
}

// cool waits until everything is as cold as a step with heat needs it, and stays so.
func (d *dipping) cool(ctx context.Context) error {
	d.plates, d.since = means(d.w.plates), d.w.clk.Now()
	told := time.Duration(0)
	well := d.w.clk.Now()
	for end := well + steadyWait; d.w.clk.Now() < well+settleFor; {
		if err := d.look(ctx); err != nil {
			return err
		}
		warm := d.w.cold(d.warmed)
		if d.wrong == nil && warm == nil {
			continue
		}
		well = d.w.clk.Now()
		if well >= end {
			return errors.Join(d.wrong, warm)
		}
		if told == 0 || well >= told {
			told = well + coolTellEvery
			d.say("  Waiting until everything is cold: %s (%s).\n", d.enough(), d.w.temperatures())
		}
	}
	return nil
}

// enough says how cold is cold.
func (d *dipping) enough() string {
	if d.wrong != nil {
		return d.wrong.Error()
	}
	return fmt.Sprintf("below %.0f °C, and within %.0f °C of each other but for what was heated", coldC, spreadC)
}

// advice says what a probe that is not right means, and what to do about it.
func (d *Dip) advice() string {
	switch d.Result {
	case Crossed:
		return fmt.Sprintf("the melt probe of pot %s moves melt %s by %+.1f °C. %sswap the melt probes of %s and %s (or their channels in the bench file)",
			d.Pot, d.Other, d.Moved[d.Other], electrician, d.Pot, d.Other)
	case Reversed:
		return fmt.Sprintf("the reading of melt %s falls by %.1f °C when its probe is warmed. %sswap the two wires of its thermocouple", d.Pot, -d.Moved[d.Pot], electrician)
	case Both:
		return fmt.Sprintf("the melt probe of pot %s moves melt %s by %+.1f °C as well. See that no other tip is in the water or near its steam; if none was: %sfind out what joins their wires", d.Pot, d.Other, d.Moved[d.Other], electrician)
	case Differs:
		return d.differs()
	case Right:
		return fmt.Sprintf("melt probe %s: %s", d.Pot, notCompared)
	}
	return fmt.Sprintf("no melt moves when the probe of pot %s is in hot water. See that it was in the water; if it was: %scheck its wires; and its channel in the bench file", d.Pot, electrician)
}

// words says what a probe that is right has proven.
func (d *Dip) words() string {
	return fmt.Sprintf("melt probe %s is on its own channel and no other, %s, tried %s", d.Pot, d.compared(), day(d.At))
}

package assemble

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"meltwarden/control/reading"
	"meltwarden/daemon/recognise"
	"meltwarden/devices"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/readout"
	"meltwarden/devices/registers"
)

// showProbe has probes held in the hand, or shows what is read where a maker says that one
// is.
func (s *session) showProbe(ctx context.Context, q Question, answer string) (wrong, err error) {
	if answer == hold {
		return s.holdProbes(ctx, q)
	}
	i := slices.IndexFunc(s.probeList(), func(p probe) bool { return p.key == q.Key })
	p := s.probeList()[i]
	return s.shown(ctx, q.Key, channel{role: p.role, pot: "x", layout: answer}, p.name(), s.temperature)
}

// temperature is what a channel reads, in words.
func (s *session) temperature(c registers.Channel, data []byte) string {
	t := c.Temperature(modbus.Registers(data), nil, reading.Temperature{})
	if t.Fault != reading.None {
		return fmt.Sprintf("no measurement (%v)", t.Fault)
	}
	return s.reading(t.C)
}

// takeOff has a wire of a probe taken off, and keeps the number that is read then.
func (s *session) takeOff(ctx context.Context, q Question, answer string) (wrong, err error) {
	if answer != seen {
		return nil, nil
	}
	i := slices.IndexFunc(s.units(), func(u unit) bool { return u.key("open") == q.Key })
	u := s.units()[i]
	p, _ := s.probeOn(u)
	c, err := channel{role: p.role, pot: "x", layout: s.Answers[p.key]}.read()
	if err != nil {
		return err, nil
	}
	before, err := s.once(ctx, u, c)
	if err != nil {
		return err, nil
	}
	s.say("  With its wires on, %s reads %s.", p.name(), s.temperature(c, before))
	if _, err := s.choose(ctx, fmt.Sprintf("Take one wire of %s off its terminal. Is it off?", p.name()), "Supply off first, where its terminals are near the mains.", []Choice{{"yes", "it is off"}}); err != nil {
		return nil, err
	}
	s.say("  Reading it for some %.0f s: wait, and leave it off.", (devices.HushFor + readFor*time.Second).Seconds())
	all, err := s.several(ctx, u, c)
	switch {
	case ctx.Err() != nil:
		return nil, ErrStopped
	case err != nil:
		return err, nil
	}
	wrong = s.noMeasurement(q, p, c, before, all)
	s.say("  Put the wire back on.")
	return wrong, nil
}

const (
	// apartC is by how much a reading without a probe differs from a room's at least (E).
	apartC = 10.0
	// What a bench may have, in °C: between these no number is taken for no measurement, since
	// an input without a probe often reads its own terminals, or drifts (E; a plate's cut-out
	// opens at 300 at most).
	benchLowC, benchHighC = 0.0, 300.0
	// readFor is how often it is read, once a second: what drifts moves meanwhile (E).
	readFor = 6
)

// several reads a channel once a second for some seconds.
func (s *session) several(ctx context.Context, u unit, c registers.Channel) (all [][]byte, err error) {
	err = s.onDevice(ctx, u, func(client *modbus.Client, d *modbus.Device) error {
		for range readFor {
			data, err := client.Exchange(d, modbus.Request{Function: c.Function, Address: c.Address, Quantity: uint16(c.Registers())})
			if err != nil {
				return fmt.Errorf("%s, address %d: %w", u.name, c.Address, err)
			}
			all = append(all, data)
			s.Clock.Sleep(ctx, time.Second)
		}
		return nil
	})
	return all, err
}

// noMeasurement keeps what an input reads without a probe: one number that stays, and that no
// bench has for a temperature.
func (s *session) noMeasurement(q Question, p probe, c registers.Channel, before []byte, all [][]byte) error {
	at := func(data []byte) reading.Temperature {
		return c.Temperature(modbus.Registers(data), nil, reading.Temperature{})
	}
	after := all[len(all)-1]
	plain := c
	plain.Scale, plain.Offset, plain.Unit = 1, 0, registers.Celsius
	raw := plain.Temperature(modbus.Registers(after), nil, reading.Temperature{})
	was, is := at(before), at(after)
	moves := slices.ContainsFunc(all, func(data []byte) bool { return !slices.Equal(data, after) })
	switch {
	case is.Fault != reading.None || raw.Fault != reading.None:
		s.say("  Without, it reads no number at all: that is seen by itself.")
		s.Answers[q.Key] = none
	case !moves && math.Abs(is.C-was.C) < apartC:
		return fmt.Errorf("%s still reads %s: the wire is on yet, or this device does not show that a probe is missing (then answer none)", p.name(), s.temperature(c, after))
	case moves || is.C > benchLowC && is.C < benchHighC:
		return fmt.Errorf("%s reads %s without its probe, which a bench can have as well: this input does not show that a probe is missing. See whether it can be set to (burn-out detection) and look again, or answer none", p.name(), s.temperature(c, after))
	default:
		number := strconv.FormatFloat(raw.C, 'f', -1, 64)
		s.say("  Without, it reads %s for %d s, which would be %s. That number is taken for no measurement, and the bench file has it.", number, readFor, s.temperature(c, after))
		s.Answers[q.Key] = number
	}
	return nil
}

// holdProbes leads through all probes of a device that are not found yet.
func (s *session) holdProbes(ctx context.Context, q Question) (wrong, err error) {
	u := s.unitOf(q.Key)
	var missing []probe
	var names []string
	for _, p := range s.probeList() {
		if at := s.Answers[p.key]; s.deviceOf(p.key) == u.name && !strings.HasPrefix(at, "function:") {
			missing, names = append(missing, p), append(names, p.name())
		}
	}
	s.say("\nEvery probe has to be as cold as the room, and within reach: take each out. %d to find on %s, about a minute each. The tips have to be dry and clean: nothing wet goes back into a pot.", len(missing), u.name)
	from, err := s.from(ctx)
	if err != nil {
		return nil, err
	}
	spans, err := readout.Spans([]uint8{modbus.ReadInput, modbus.ReadHolding}, from, registersAtOnce)
	if err != nil {
		return err, nil
	}
	s.say(readsFirst)
	var r guess.Result
	err = s.onDevice(ctx, u, func(client *modbus.Client, d *modbus.Device) error {
		r, err = recognise.Find(ctx, recognise.Options{
			Reader: readout.New(client, d, spans, s.Clock), Clock: s.Clock, Room: guess.Indoors, Probes: names, From: from, Device: u.name,
			Out: s.Out, Words: s.Out, Screen: s.Screen, Size: s.Size,
		})
		return err
	})
	switch {
	case ctx.Err() != nil:
		return nil, ErrStopped
	case err != nil:
		return fmt.Errorf("%s: %w", u.name, err), nil
	}
	return s.settle(ctx, q, missing, r)
}

// registersAtOnce is how many registers are looked at (common practice, no source: modules
// have their values together).
const registersAtOnce = 64

// readsFirst is said before an unknown device is read for the first time.
const readsFirst = "  Reading the device for the first time, which can take half a minute: wait."

// from asks where to look.
func (s *session) from(ctx context.Context) (uint16, error) {
	q := Question{Ask: "From which address on are they looked for?", Usual: "0", Numeric: true,
		Help: fmt.Sprintf("%d registers from there on are read, of both tables. Modules mostly begin at 0.", registersAtOnce),
		Check: func(typed string) (string, error) {
			number, _, err := address(typed)
			return number, err
		}}
	answer, err := s.until(ctx, q)
	if err != nil {
		return 0, err
	}
	n, err := strconv.ParseUint(answer, 10, 16)
	return uint16(n), err
}

// settle takes what was recognised, once the maker has seen it. Of what fits in two ways the
// maker says which; what was not told is not taken.
func (s *session) settle(ctx context.Context, q Question, missing []probe, r guess.Result) (wrong, err error) {
	told := s.tellProbes(r)
	if told == 0 {
		return errors.New("no probe was found that can be used; hold them once more, or type where they are read"), nil
	}
	help, among := "What was not told is asked again.", []Choice{{"yes", "take what was told"}}
	rivals := doubtful(r)
	if len(rivals) > 0 {
		help = "NOT CERTAIN: numbers and hand fit more than one reading. The module's manual says which of them it is. " + help
		among[0] = Choice{"first", fmt.Sprintf("take the first: %s", r.Layout)}
		for i, rival := range rivals {
			among = append(among, Choice{fmt.Sprintf("other-%d", i+1), fmt.Sprintf("take %s, in %ss", rival.Layout, guess.Table(rival.Layout.Function))})
		}
	}
	among = append(among, Choice{"no", "take none of it, and ask again"})
	if len(rivals) > 0 {
		slices.Reverse(among) // what is safe comes first
	}
	sure, err := s.choose(ctx, "Are these the right readings?", help, among)
	if err != nil {
		return nil, err
	}
	if sure == "no" {
		return errors.New("nothing was taken; hold them once more, or type where they are read"), nil
	}
	for i, p := range r.Probes {
		if !p.Told || p.Reversed {
			continue
		}
		s.Answers[missing[i].key] = guess.Written(p.Channel)
		if n, isRival := strings.CutPrefix(sure, "other-"); isRival {
			at, _ := strconv.Atoi(n) // made above
			s.takeRival(missing[i].key, rivals[at-1], i)
		}
	}
	if !strings.HasPrefix(s.Answers[q.Key], "function:") {
		return errors.New("it was not found: hold it once more, or type where it is read"), nil
	}
	return nil, nil
}

// tellProbes says what was recognised, and returns how many probes of that can be used. The
// probes come last: what is asked next is about them, and a small screen has no room for all.
func (s *session) tellProbes(r guess.Result) (told int) {
	if r.Layout != nil {
		s.say("\nRecognised, in %ss: %s.", guess.Table(r.Layout.Function), r.Layout)
	}
	for _, rival := range r.Rivals {
		s.say("Fits as well: %s, in %ss: %s.", rival.Layout, guess.Table(rival.Layout.Function), rival.Differs)
	}
	for _, note := range r.Notes {
		if !strings.HasSuffix(note, "write that number under sentinels.") { // that is asked next
			s.say("- %s", strings.ReplaceAll(note, " (write it under sentinels)", "; that stands for no measurement, see the next question"))
		}
	}
	s.say("")
	for _, p := range r.Probes {
		switch {
		case !p.Told:
			s.say("  %s: NOT TOLD: %s", p.Name, p.Why)
		case p.Reversed:
			s.say("  %s: address %d FELL in the hand: its two leads are SWAPPED. Swap them, and hold it again", p.Name, p.Address)
		default:
			told++
			s.say("  %s: address %d, %s at rest, %s in the hand", p.Name, p.Address, s.reading(p.RestC), s.reading(p.HandC))
		}
	}
	return told
}

// doubtful are the rivals by which something would be read otherwise.
func doubtful(r guess.Result) (all []guess.Rival) {
	for _, rival := range r.Rivals {
		if r.Layout != nil && (rival.Layout.Type != r.Layout.Type || rival.Layout.Scale != r.Layout.Scale || rival.Layout.Unit != r.Layout.Unit ||
			rival.Layout.Words != r.Layout.Words || rival.Layout.Bytes != r.Layout.Bytes) {
			all = append(all, rival)
		}
	}
	return all
}

// takeRival takes a probe as a rival has it, where that tells it.
func (s *session) takeRival(key string, rival guess.Rival, i int) {
	if i >= len(rival.Addresses) || rival.Addresses[i] == nil {
		delete(s.Answers, key)
		return
	}
	l := rival.Layout
	s.Answers[key] = guess.Written(registers.Channel{Function: l.Function, Address: *rival.Addresses[i], Type: l.Type, Words: l.Words, Bytes: l.Bytes, Scale: l.Scale, Unit: l.Unit})
}

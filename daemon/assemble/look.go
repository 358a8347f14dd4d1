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

	"go.yaml.in/yaml/v3"

	"meltwarden/control/reading"
	"meltwarden/daemon/recognise"
	"meltwarden/devices"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/ports"
	"meltwarden/devices/press"
	"meltwarden/devices/readout"
	"meltwarden/devices/registers"
	"meltwarden/devices/scan"
)

// do does what an answer needs at the bench before it counts. wrong says why it does not; it is
// asked again then.
func (s *session) do(ctx context.Context, q Question, answer string) (wrong, err error) {
	switch q.Do {
	case NotePort:
		s.notePort(q, answer)
	case LookForDevices:
		return s.lookForDevices(ctx, q, answer)
	case ShowProbe:
		return s.showProbe(ctx, q, answer)
	case TakeOff:
		return s.takeOff(ctx, q, answer)
	case ShowContact:
		return s.showContact(ctx, q, answer)
	case ShowProcess:
		if answer != none {
			return s.shown(ctx, q.Key, channel{role: "process-value", pot: "x", layout: answer}, "its sensor", s.temperature)
		}
	}
	return nil, nil
}

// notePort keeps by what else a port can be known than its name.
func (s *session) notePort(q Question, answer string) {
	i := lineOf(q.Key)
	delete(s.Answers, lineKey(i, "wanted"))
	delete(s.Answers, lineKey(i, "steady"))
	p, is := s.around.Ports.At(answer)
	if !is {
		return
	}
	if wanted, is := s.around.Ports.Wanted(p); is {
		s.Answers[lineKey(i, "wanted")] = wanted.String()
	}
	if steady := s.around.Ports.Steady(p); steady != p.Name {
		s.Answers[lineKey(i, "steady")] = steady
	}
}

// portOf is what the port of a line is called today.
func (s *session) portOf(i int) string {
	l := s.line(i)
	var wanted ports.Wanted
	if l.adapter != "" && yaml.Unmarshal([]byte(l.adapter), &wanted) == nil {
		if p, err := s.around.Ports.Find(wanted); err == nil {
			return p.Name
		}
	}
	return l.port
}

// lookForDevices scans a line, unless the maker knows what is on it.
func (s *session) lookForDevices(ctx context.Context, q Question, answer string) (wrong, err error) {
	p := scan.Usual()
	switch answer {
	case look:
	case lookFar:
		for unit := len(p.Units) + 1; unit <= mostUnit; unit++ {
			p.Units = append(p.Units, uint8(unit))
		}
	default:
		return nil, nil
	}
	i := lineOf(q.Key)
	some, nothing := longest(p)
	s.say("Asks units 1 to %d at %d speeds and parities, until something answers, and then all other units too. It only reads. That takes %s where nothing answers, and %s at most; Ctrl-C stops.",
		len(p.Units), len(p.Settings), span(nothing), span(some))
	r, err := s.scan(ctx, p, s.portOf(i))
	switch {
	case ctx.Err() != nil:
		return nil, ErrStopped
	case err != nil:
		return err, nil
	case len(r.Found) == 0:
		return nobody(p, r), nil
	}
	s.keepFound(i, r)
	return nil, nil
}

// mostUnit is the highest unit number (Modbus over serial line V1.02, 2.2).
const mostUnit = 247

// span is how long something takes, for a person who waits.
func span(d time.Duration) string {
	if d > 3*time.Minute {
		return fmt.Sprintf("%.0f minutes", d.Minutes())
	}
	return fmt.Sprintf("%.0f s", d.Seconds())
}

// nobody says what to do where nothing has answered.
func nobody(p scan.Plan, r scan.Result) error {
	said := "nothing answered. Look at its supply, and whether the two wires of the line are swapped"
	if len(p.Units) < mostUnit {
		said += "; or answer far, since a device may have a number above 16"
	}
	for _, at := range r.Heard {
		said += fmt.Sprintf(". At %s something came that is no answer: two devices with one number perhaps", at)
	}
	return errors.New(said)
}

// keepFound keeps what has answered, to be named and confirmed.
func (s *session) keepFound(i int, r scan.Result) {
	var units []string
	for _, f := range r.Found {
		units = append(units, strconv.Itoa(int(f.Unit)))
		s.say("  Unit %d answers at %s, within %d ms.", f.Unit, f.Settings[0], max(1, f.Worst.Milliseconds()))
		s.Answers[unit{line: i, unit: f.Unit}.key("timeout")] = fmt.Sprintf("%d ms", f.Timeout().Milliseconds())
	}
	for _, note := range r.Notes() {
		s.say("  - %s", note)
	}
	first := r.Found[0].Settings[0]
	s.Answers[lineKey(i, "speed")] = fmt.Sprintf("%d %s 1", first.Baud, first.Parity)
	s.Answers[lineKey(i, "found")] = strings.Join(units, ", ")
	delete(s.Answers, lineKey(i, "units")) // to be said anew
}

// lineOf is the number of a line, from 0, of a question about it.
func lineOf(key string) int {
	n, _ := strconv.Atoi(strings.Split(key, "-")[1]) // its keys are made by lineKey
	return n - 1
}

// scan looks for devices until something answers at one setting, and then for all units at
// that: all devices of a line have one setting.
func (s *session) scan(ctx context.Context, p scan.Plan, port string) (scan.Result, error) {
	open := func(at scan.Setting) (modbus.Port, error) {
		return s.Open(devices.LineConfig{Name: "a", Port: port, Baud: at.Baud, Parity: at.Parity, StopBits: 1})
	}
	enough, end := context.WithCancel(ctx)
	defer end()
	p.All = false
	r, err := scan.Run(enough, p, open, s.Clock, func(step scan.Step) {
		switch {
		case !step.Done || enough.Err() != nil:
		case len(step.Units) > 0:
			end()
		default:
			s.say("  %s: nothing", step.Setting)
		}
	})
	if len(r.Found) == 0 || ctx.Err() != nil {
		return r, err
	}
	p.Settings, p.All = r.Found[0].Settings[:1], true
	s.say("  %s: something answers; now all other units", p.Settings[0])
	return scan.Run(ctx, p, open, s.Clock, func(scan.Step) {})
}

// longest is how long a scan takes at most where something answers, and where nothing does.
func longest(p scan.Plan) (some, nothing time.Duration) {
	once, _, _ := p.Most()
	slowest := slices.MinFunc(p.Settings, func(a, b scan.Setting) int { return a.Baud - b.Baud })
	p.Settings = []scan.Setting{slowest}
	again, setting, _ := p.Most()
	return 2*once + again + setting, 2 * once
}

// answersWithin is how long a device may take that nothing is known of.
const answersWithin = 300 * time.Millisecond

// onDevice opens the line of a device and has something read from it.
func (s *session) onDevice(ctx context.Context, u unit, read func(*modbus.Client, *modbus.Device) error) error {
	l := s.line(u.line)
	baud, _ := strconv.Atoi(l.baud)
	stopBits, _ := strconv.Atoi(l.stopBits) // both were accepted as numbers
	config := devices.LineConfig{Name: l.name, Port: s.portOf(u.line), Baud: baud, Parity: l.parity, StopBits: stopBits}
	port, err := s.Open(config)
	if err != nil {
		return err
	}
	client := modbus.NewClient(port, baud, s.Clock)
	client.Characters(baud, config.CharacterBits())
	defer func() { <-client.Close() }()
	s.Clock.Sleep(ctx, devices.HushFor) // what a killed program told it ends by its own time-out
	return read(client, &modbus.Device{Name: u.name, Unit: u.unit, Timeout: answersWithin})
}

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

// showContact has contacts pressed, or shows how one reads where a maker says that it is.
func (s *session) showContact(ctx context.Context, q Question, answer string) (wrong, err error) {
	if answer == push {
		return s.pressContacts(ctx, q)
	}
	i := slices.IndexFunc(s.contactList(), func(c contact) bool { return c.key == q.Key })
	c := s.contactList()[i]
	return s.shown(ctx, q.Key, channel{role: c.role, pot: c.pot, layout: answer}, c.name(), contactWords)
}

// contactWords are how a contact reads, in words.
func contactWords(c registers.Channel, data []byte) string {
	var is reading.Contact
	if c.Function == modbus.ReadCoils || c.Function == modbus.ReadInputs {
		is = c.Contact(modbus.Bits(data, 1))
	} else {
		is = c.ContactOf(modbus.Registers(data))
	}
	return map[bool]string{true: "closed", false: "open"}[is.Closed]
}

// shown reads a channel until the maker says that it is right, or that it is not.
func (s *session) shown(ctx context.Context, key string, at channel, name string, words func(registers.Channel, []byte) string) (wrong, err error) {
	c, err := at.read()
	if err != nil {
		return err, nil
	}
	for {
		data, err := s.once(ctx, s.unitOf(key), c)
		if ctx.Err() != nil {
			return nil, ErrStopped
		}
		if err != nil {
			return err, nil
		}
		s.say("  %s reads %s.", name, words(c, data))
		sure, err := s.choose(ctx, fmt.Sprintf("Is that %s?", name), "Warm the probe, or press the button, and look again.", []Choice{
			{"yes", "take it"}, {"again", "read it once more"}, {"no", "it is somewhere else"}})
		switch {
		case err != nil:
			return nil, err
		case sure == "no":
			return fmt.Errorf("address %d is not %s; name another", c.Address, name), nil
		case sure == "yes":
			return nil, nil
		}
	}
}

// once reads a channel.
func (s *session) once(ctx context.Context, u unit, c registers.Channel) (data []byte, err error) {
	err = s.onDevice(ctx, u, func(client *modbus.Client, d *modbus.Device) error {
		data, err = client.Exchange(d, modbus.Request{Function: c.Function, Address: c.Address, Quantity: uint16(c.Registers())})
		return err
	})
	if err != nil {
		err = fmt.Errorf("%s, address %d: %w", u.name, c.Address, err)
	}
	return data, err
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
	after, err := s.once(ctx, u, c)
	if err != nil {
		return err, nil
	}
	wrong = s.noMeasurement(q, p, c, before, after)
	s.say("  Put the wire back on.")
	return wrong, nil
}

// apartC is by how much a reading without a probe differs from a room's at least (E).
const apartC = 10.0

// noMeasurement keeps what an input reads without a probe.
func (s *session) noMeasurement(q Question, p probe, c registers.Channel, before, after []byte) error {
	at := func(data []byte) reading.Temperature {
		return c.Temperature(modbus.Registers(data), nil, reading.Temperature{})
	}
	was, is := at(before), at(after)
	plain := c
	plain.Scale, plain.Offset, plain.Unit = 1, 0, registers.Celsius
	raw := plain.Temperature(modbus.Registers(after), nil, reading.Temperature{})
	switch {
	case is.Fault != reading.None || raw.Fault != reading.None:
		s.say("  Without, it reads no number at all: that is seen by itself.")
		s.Answers[q.Key] = none
	case math.Abs(is.C-was.C) < apartC:
		return fmt.Errorf("%s still reads %s: the wire is on yet, or this device does not show that a probe is missing (then answer none)", p.name(), s.temperature(c, after))
	default:
		number := strconv.FormatFloat(raw.C, 'f', -1, 64)
		s.say("  Without, it reads %s, which would be %s. That number is taken for no measurement.", number, s.temperature(c, after))
		s.Answers[q.Key] = number
	}
	return nil
}

// choose asks something that is kept nowhere.
func (s *session) choose(ctx context.Context, ask, help string, among []Choice) (string, error) {
	return s.until(ctx, Question{Ask: ask, Help: help, Among: among})
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

// from asks where to look.
func (s *session) from(ctx context.Context) (uint16, error) {
	q := Question{Ask: "From which address on are they looked for?", Usual: "0", Numeric: true,
		Help: fmt.Sprintf("%d registers from there on are read, of both tables. Modules mostly begin at 0.", registersAtOnce),
		Check: func(typed string) (string, error) {
			if _, err := strconv.ParseUint(typed, 10, 16); err != nil {
				return "", fmt.Errorf("%q: write a whole number from 0 to 65535", typed)
			}
			return typed, nil
		}}
	answer, err := s.until(ctx, q)
	if err != nil {
		return 0, err
	}
	n, err := strconv.ParseUint(answer, 10, 16)
	return uint16(n), err
}

// pressContacts leads through all contacts of a device that are not found yet.
func (s *session) pressContacts(ctx context.Context, q Question) (wrong, err error) {
	u := s.unitOf(q.Key)
	var missing []contact
	var names []string
	for _, c := range s.contactList() {
		if s.deviceOf(c.key) == u.name && !strings.HasPrefix(s.Answers[c.key], "function:") {
			missing, names = append(missing, c), append(names, c.name())
		}
	}
	s.say("\nThe emergency stop has to be released for this, so that a contactor may close: SWITCH THE HEATERS' SUPPLY OFF at its plug or main switch. Each contact is pressed three times, for two seconds. %d to find on %s, half a minute each.", len(missing), u.name)
	if _, err := s.choose(ctx, "Is the heaters' supply off?", "", []Choice{{"yes", "it is off, at its plug or main switch"}}); err != nil {
		return nil, err
	}
	from, err := s.from(ctx)
	if err != nil {
		return nil, err
	}
	spans, err := readout.Spans([]uint8{modbus.ReadInputs, modbus.ReadCoils, modbus.ReadInput, modbus.ReadHolding}, from, registersAtOnce)
	if err != nil {
		return err, nil
	}
	var r press.Result
	err = s.onDevice(ctx, u, func(client *modbus.Client, d *modbus.Device) error {
		r, err = recognise.FindContacts(ctx, recognise.Options{
			Reader: readout.New(client, d, spans, s.Clock), Clock: s.Clock, Contacts: names, From: from, Device: u.name,
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
	return s.settleContacts(ctx, q, missing, r)
}

// settleContacts takes what was told and can be used as it is wired, once the maker has seen
// it.
func (s *session) settleContacts(ctx context.Context, q Question, missing []contact, r press.Result) (wrong, err error) {
	if !slices.ContainsFunc(r.Contacts, func(c press.Contact) bool { return c.Told && c.Misfit == "" }) {
		return errors.New("no contact was found that can be used as it is wired; press them once more, or type where they are read"), nil
	}
	sure, err := s.choose(ctx, "Are these the right contacts?", "What was not told is asked again.", []Choice{
		{"yes", "take what was told"}, {"no", "take none of it, and ask again"}})
	switch {
	case err != nil:
		return nil, err
	case sure == "no":
		return errors.New("nothing was taken; press them once more, or type where they are read"), nil
	}
	for i, c := range r.Contacts {
		if c.Told && c.Misfit == "" {
			s.Answers[missing[i].key] = layoutOf(c.Channel(""))
		}
	}
	if !strings.HasPrefix(s.Answers[q.Key], "function:") {
		return fmt.Errorf("%s was not found", strings.TrimPrefix(q.Key, "contact-")), nil
	}
	return nil, nil
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
		s.Answers[missing[i].key] = layoutOf(p.Channel)
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

// tellProbes says what was recognised, and returns how many probes of that can be used.
func (s *session) tellProbes(r guess.Result) (told int) {
	if r.Layout != nil {
		s.say("\nRecognised, in %ss: %s.", guess.Table(r.Layout.Function), r.Layout)
	}
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
	for _, rival := range r.Rivals {
		s.say("Fits as well: %s, in %ss: %s.", rival.Layout, guess.Table(rival.Layout.Function), rival.Differs)
	}
	for _, note := range r.Notes {
		s.say("- %s", note)
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
	s.Answers[key] = layoutOf(registers.Channel{Function: l.Function, Address: *rival.Addresses[i], Type: l.Type, Words: l.Words, Bytes: l.Bytes, Scale: l.Scale, Unit: l.Unit})
}

// layoutOf is where a channel lives, as a bench file has it.
func layoutOf(c registers.Channel) string {
	text := fmt.Sprintf("function: %d, address: %d, type: %s", c.Function, c.Address, c.Type)
	if c.Type == registers.Bit {
		if c.Mask != 0 {
			text += fmt.Sprintf(", mask: 0x%04X", c.Mask)
		}
		if c.Invert {
			text += ", invert: true"
		}
		return text
	}
	if c.Registers() == 2 {
		text += fmt.Sprintf(", words: %s", c.Words)
	}
	if c.Bytes == registers.LowFirst {
		text += fmt.Sprintf(", bytes: %s", c.Bytes)
	}
	text += fmt.Sprintf(", scale: %s, unit: %s", strconv.FormatFloat(c.Scale, 'f', -1, 64), c.Unit)
	if len(c.Sentinels) > 0 {
		text += fmt.Sprintf(", sentinels: [%s]", strconv.FormatFloat(c.Sentinels[0], 'f', -1, 64))
	}
	return text
}

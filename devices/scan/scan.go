// Package scan looks for devices on a serial line of which nothing is known: at which
// speed and parity anything answers, and under which unit numbers.
//
// It only reads, one register or bit at address 0, and never writes. A refusal is a sign of
// life like any other answer; only a gateway's word that nobody is behind it is none. It
// listens first, and asks nothing where somebody else talks already. How long it takes at
// most is known before it begins.
//
// What it can not tell: whether a line has one stop bit or two, because a receiver looks at
// the first only; which of two parities is set in a device that checks none; and, unless
// it has coils or an input register, a device that is silent where the standard asks for a
// refusal.
package scan

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
)

// Setting is how a line is spoken to: 8 data bits and one stop bit always.
type Setting struct {
	Baud   int    `json:"baud"`   // bits per second
	Parity string `json:"parity"` // none, even or odd
}

// String is the setting in words.
func (s Setting) String() string {
	if s.Parity == "none" {
		return fmt.Sprintf("%d baud, no parity", s.Baud)
	}
	return fmt.Sprintf("%d baud, %s parity", s.Baud, s.Parity)
}

// Plan is what to look for.
type Plan struct {
	Settings []Setting
	// Units are looked for at every setting; All the others are too, at a setting where
	// something has answered.
	Units []uint8
	All   bool
	// Wait is how long a device may take to begin its answer.
	Wait time.Duration
}

// Usual is a plan for devices as they are delivered: the common speeds with every parity,
// and the unit numbers from 1 to 16 first.
func Usual() Plan {
	p := Plan{All: true, Wait: 100 * time.Millisecond}
	for unit := range uint8(16) {
		p.Units = append(p.Units, unit+1)
	}
	for _, baud := range []int{9600, 19200, 115200, 38400, 57600, 4800} {
		for _, parity := range []string{"none", "even", "odd"} {
			p.Settings = append(p.Settings, Setting{baud, parity})
		}
	}
	return p
}

const (
	lastUnit = 247
	// listens is how long a line is listened to before anything is asked on it: a bench that
	// is run by somebody else says something five times a second, or at least once in each.
	// What a killed program told a device ends by the device's own time-out meanwhile.
	listens = devices.HushFor + 100*time.Millisecond
	// upset is what an exchange can take longer after something unexpected.
	upset = 30 * time.Millisecond
	// babbles is after how long a line that is never silent is given up.
	babbles = time.Second
	// released is how long the port may take to close between two settings.
	released = 3 * time.Second
)

// ErrOthers means that somebody else talks on the line.
var ErrOthers = errors.New("somebody else talks on this line: another program that asks its devices, or a device that talks unasked; end that, or unplug it")

// Answer is what a unit said to one function.
type Answer struct {
	Function uint8  `json:"function"`
	Says     string `json:"says"`
}

// Found is a unit that answered.
type Found struct {
	Unit uint8 `json:"unit"`
	// Settings are all at which it answered; the first is taken for its own.
	Settings []Setting `json:"settings"`
	Answers  []Answer  `json:"answers"`
	// Worst is the longest that it took for an answer; Late says that it took longer than
	// was waited for.
	Worst time.Duration `json:"-"`
	Late  bool          `json:"late"`
}

// Result is what came of a scan.
type Result struct {
	Found []Found `json:"found"`
	// Heard are settings at which something came that is no answer: often the right speed
	// with the wrong parity, or two devices with one number.
	Heard []Setting `json:"heard"`
	Asked int       `json:"asked"`
}

// Step tells how far a scan has come: what it asks now, and what came of it when it is
// done.
type Step struct {
	Setting
	Again bool // at a setting where something has answered, for all other units
	Done  bool
	Units []uint8 // that answered
	Heard bool    // something that is no answer
}

// Most returns the longest that a plan can take until every setting was tried once, which
// is done once more by another function where nothing answers; what each setting adds at which something answers, and what each unit adds that does.
func (p Plan) Most() (once, setting, unit time.Duration) {
	once = listens
	for _, s := range p.Settings {
		once += babbles + time.Duration(len(p.Units))*p.exchange(s)
		others := 0
		if p.All {
			others = lastUnit - len(p.Units)
		}
		setting = max(setting, babbles+time.Duration(others+2*len(p.Units))*p.exchange(s))
		unit = max(unit, 3*p.exchange(s))
	}
	return once, setting, unit
}

// exchange is the longest that one request takes that is not answered.
func (p Plan) exchange(s Setting) time.Duration {
	t := s.timing()
	return t.Silence + t.Of(len(ask(1, modbus.ReadHolding).Append(nil))+ask(1, modbus.ReadHolding).ReplyLength()) + p.Wait + upset
}

func (s Setting) timing() modbus.Timing { return modbus.TimingOf(s.Baud, s.bits()) }

func (s Setting) bits() int { return modbus.CharacterBitsOf(s.Parity != "none", 1) }

func ask(unit, function uint8) modbus.Request {
	return modbus.Request{Unit: unit, Function: function, Quantity: 1}
}

// scanner is one scan under way.
type scanner struct {
	Plan
	open   func(Setting) (modbus.Port, error)
	clk    *clock.Clock
	tell   func(Step)
	result Result
}

// Run carries out a plan. It ends when that is done, or with the context, or with an error
// of the port; what was found by then is returned with it. tell hears of every step.
func Run(ctx context.Context, p Plan, open func(Setting) (modbus.Port, error), clk *clock.Clock, tell func(Step)) (Result, error) {
	s := &scanner{Plan: p, open: open, clk: clk, tell: tell, result: Result{Found: []Found{}, Heard: []Setting{}}}
	if len(p.Settings) == 0 || len(p.Units) == 0 {
		return s.result, errors.New("nothing to look for: name a speed, a parity and a unit")
	}
	if err := s.listen(ctx); err != nil {
		return s.result, err
	}
	answered, err := s.everywhere(ctx, modbus.ReadHolding)
	if err == nil && len(answered) == 0 {
		answered, err = s.everywhere(ctx, modbus.ReadCoils)
	}
	for _, setting := range answered {
		if err == nil {
			_, err = s.look(ctx, setting, true, (*looker).complete)
		}
	}
	return s.sorted(), err
}

// everywhere asks by a function at every setting, and returns those at which something
// answered.
func (s *scanner) everywhere(ctx context.Context, function uint8) (answered []Setting, err error) {
	for _, setting := range s.Settings {
		units, err := s.look(ctx, setting, false, func(l *looker, ctx context.Context) error { return l.each(ctx, s.Units, function) })
		if len(units) > 0 {
			answered = append(answered, setting)
		}
		if err != nil {
			return answered, err
		}
	}
	return answered, nil
}

func (s *scanner) sorted() Result {
	slices.SortFunc(s.result.Found, func(a, b Found) int { return int(a.Unit) - int(b.Unit) })
	return s.result
}

// listen waits for what others say.
func (s *scanner) listen(ctx context.Context) error {
	port, err := s.open(s.Settings[0])
	if err != nil {
		return err
	}
	defer port.Close()
	if err := port.SetReadTimeout(s.clk.Real(listens / 10)); err != nil {
		return err
	}
	heard := make([]byte, modbus.MaxFrame)
	for until := s.clk.Now() + listens; s.clk.Now() < until; {
		n, err := port.Read(heard)
		switch {
		case err != nil:
			return err
		case n > 0:
			return ErrOthers
		case ctx.Err() != nil:
			return ctx.Err()
		}
	}
	return nil
}

// look asks at one setting.
func (s *scanner) look(ctx context.Context, setting Setting, again bool, do func(*looker, context.Context) error) (units []uint8, err error) {
	s.tell(Step{Setting: setting, Again: again})
	port, err := s.open(setting)
	if err != nil {
		return nil, err
	}
	c := modbus.NewClient(port, setting.Baud, s.clk)
	c.Characters(setting.Baud, setting.bits())
	defer func() {
		select {
		case <-c.Close():
		case <-time.After(s.clk.Real(released)):
		}
	}()
	l := &looker{
		scanner: s, client: c, setting: setting,
		devices: map[uint8]*modbus.Device{}, answers: map[uint8][]Answer{}, asked: map[[2]uint8]bool{},
	}
	err = do(l, ctx)
	units, heard := l.collect()
	s.tell(Step{Setting: setting, Again: again, Done: true, Units: units, Heard: heard})
	return units, err
}

// looker asks at one setting.
type looker struct {
	*scanner
	client  *modbus.Client
	setting Setting
	devices map[uint8]*modbus.Device
	answers map[uint8][]Answer
	asked   map[[2]uint8]bool // unit and function
}

// complete asks every unit that was not asked yet at the setting, those that are silent to
// one function by two others, and of those that answer what they say to each.
func (l *looker) complete(ctx context.Context) error {
	var silent, alive, others []uint8
	for unit := uint8(1); unit <= lastUnit; unit++ {
		switch {
		case l.knows(unit):
			alive = append(alive, unit)
		case slices.Contains(l.Units, unit):
			silent = append(silent, unit)
		case l.All:
			others = append(others, unit)
		}
	}
	for _, part := range []struct {
		units     []uint8
		functions []uint8
	}{
		{others, []uint8{modbus.ReadHolding}}, {silent, []uint8{modbus.ReadCoils, modbus.ReadInput}},
	} {
		for _, f := range part.functions {
			if err := l.each(ctx, part.units, f); err != nil {
				return err
			}
		}
	}
	for unit := range l.answers {
		alive = append(alive, unit)
	}
	slices.Sort(alive)
	alive = slices.Compact(alive)
	for _, f := range []uint8{modbus.ReadCoils, modbus.ReadInputs, modbus.ReadHolding, modbus.ReadInput} {
		if err := l.each(ctx, slices.DeleteFunc(slices.Clone(alive), func(unit uint8) bool { return l.hasSaid(unit, f) }), f); err != nil {
			return err
		}
	}
	return nil
}

// knows reports whether a unit has answered at the setting before.
func (l *looker) knows(unit uint8) bool {
	return slices.ContainsFunc(l.result.Found, func(f Found) bool { return f.Unit == unit && slices.Contains(f.Settings, l.setting) })
}

// hasSaid reports whether a unit has answered to a function before, at any setting, or was
// asked at this one.
func (l *looker) hasSaid(unit, function uint8) bool {
	return l.asked[[2]uint8{unit, function}] || slices.ContainsFunc(l.result.Found, func(f Found) bool {
		return f.Unit == unit && slices.ContainsFunc(f.Answers, func(a Answer) bool { return a.Function == function })
	})
}

// each asks some units by a function.
func (l *looker) each(ctx context.Context, units []uint8, function uint8) error {
	for _, unit := range units {
		if err := ctx.Err(); err != nil {
			return err
		}
		d := l.devices[unit]
		if d == nil {
			d = &modbus.Device{Name: fmt.Sprintf("unit %d", unit), Unit: unit, Timeout: l.Wait}
			l.devices[unit] = d
		}
		l.result.Asked++
		l.asked[[2]uint8{unit, function}] = true
		data, err := l.client.Exchange(d, ask(unit, function))
		switch outcome := modbus.OutcomeOf(err); {
		case outcome == modbus.PortLost:
			return err
		case errors.Is(err, modbus.ErrNeverSilent):
			return ErrOthers
		case outcome == modbus.OK || outcome == modbus.Refused && !fromGateway(err):
			l.answers[unit] = append(l.answers[unit], Answer{function, says(data, function, err)})
		}
	}
	return nil
}

// fromGateway reports whether a refusal is a gateway's, for a unit that it does not reach.
func fromGateway(err error) bool {
	e, _ := errors.AsType[modbus.Exception](err)
	return e.Code == modbus.GatewayNoPath || e.Code == modbus.GatewayNoReply
}

// says is an answer in words.
func says(data []byte, function uint8, err error) string {
	if e, refused := errors.AsType[modbus.Exception](err); refused {
		return e.Error()
	}
	if function <= modbus.ReadInputs {
		return fmt.Sprintf("%t", modbus.Bits(data, 1)[0])
	}
	return fmt.Sprint(modbus.Registers(data)[0])
}

// collect takes what units have answered into the result.
func (l *looker) collect() (units []uint8, heard bool) {
	for unit := uint8(1); unit <= lastUnit; unit++ {
		d := l.devices[unit]
		if d == nil {
			continue
		}
		late := d.Counts.OfKind(modbus.Late) > 0
		if len(l.answers[unit]) > 0 || late {
			units = append(units, unit)
			l.keep(unit, d.Trips.Times().Worst, late)
		}
		for _, k := range []modbus.Kind{modbus.CutShort, modbus.WrongCheck, modbus.Noise, modbus.OtherReply} {
			heard = heard || d.Counts.OfKind(k) > 0 && !late
		}
	}
	if heard && !slices.Contains(l.result.Heard, l.setting) {
		l.result.Heard = append(l.result.Heard, l.setting)
	}
	return units, heard
}

func (l *looker) keep(unit uint8, worst time.Duration, late bool) {
	i := slices.IndexFunc(l.result.Found, func(f Found) bool { return f.Unit == unit })
	if i < 0 {
		i = len(l.result.Found)
		l.result.Found = append(l.result.Found, Found{Unit: unit, Answers: []Answer{}})
	}
	f := &l.result.Found[i]
	if !slices.Contains(f.Settings, l.setting) {
		f.Settings = append(f.Settings, l.setting)
	}
	for _, a := range l.answers[unit] {
		if !slices.ContainsFunc(f.Answers, func(b Answer) bool { return b.Function == a.Function }) {
			f.Answers = append(f.Answers, a)
		}
	}
	f.Worst, f.Late = max(f.Worst, worst), f.Late || late
}

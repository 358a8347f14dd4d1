package assemble

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"meltwarden/devices"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
	"meltwarden/devices/scan"
)

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

// saidBy is what a unit has answered at address 0, in words.
func saidBy(f scan.Found) string {
	var all []string
	for _, a := range f.Answers {
		if !strings.HasPrefix(a.Says, "refused") {
			all = append(all, fmt.Sprintf("%s 0 reads %s", guess.Table(a.Function), a.Says))
		}
	}
	if len(all) == 0 {
		return "refusals only"
	}
	return strings.Join(all, ", ")
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
		s.Answers[unit{line: i, unit: f.Unit}.key("says")] = saidBy(f)
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

// whoIsSilent asks every unit of a line for a sign of life: the one whose module has no supply
// gives none.
func (s *session) whoIsSilent(ctx context.Context, q Question) (wrong, err error) {
	var silent, answer []string
	s.say("  Asking each of them, some %.0f s each: wait. It only reads.", (devices.HushFor + answersWithin).Seconds())
	for _, u := range s.unitsOf(lineOf(q.Key)) {
		_, err := s.once(ctx, u, registers.Channel{Function: modbus.ReadHolding, Type: registers.Uint16, Scale: 1})
		var refused modbus.Exception
		switch {
		case ctx.Err() != nil:
			return nil, ErrStopped
		case err == nil || errors.As(err, &refused):
			answer = append(answer, strconv.Itoa(int(u.unit)))
		default:
			silent = append(silent, strconv.Itoa(int(u.unit)))
		}
	}
	switch {
	case len(silent) == 0:
		return errors.New("all units answer. Switch the supply of one module off, and take it again"), nil
	case len(answer) == 0:
		return errors.New("no unit answers. Switch the others on again, and take it again"), nil
	}
	s.say("  Found: %s; %s. Switch the supply on again, and then type each unit's name.",
		unitsThat(silent, "is silent now, so it has no supply", "are silent now, so they have no supply"), unitsThat(answer, "answers", "answer"))
	delete(s.Answers, q.Key) // it is no name: that is asked now
	return nil, nil
}

// unitsThat are units and what one, or what several of them do.
func unitsThat(units []string, one, several string) string {
	if len(units) == 1 {
		return "unit " + units[0] + " " + one
	}
	return "units " + strings.Join(units, ", ") + " " + several
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

package assemble

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"meltwarden/config"
)

// unit is a device on one of the lines. Answers name it by its name.
type unit struct {
	line int
	unit uint8
	name string
}

// key is the beginning of what is answered about it.
func (u unit) key(what string) string {
	return fmt.Sprintf("line-%d-unit-%d-%s", u.line+1, u.unit, what)
}

func lineKey(i int, what string) string { return fmt.Sprintf("line-%d-%s", i+1, what) }

// written are the beginnings of the keys of what is written to. They do not outlive a change
// of the devices: on another one the same address can be another output.
func (a Answers) written() []string {
	keys := []string{"contactor", "heaters-on"}
	for i := range a.pots() {
		keys = append(keys, potKey(i, "heater"), potKey(i, "process"))
	}
	return keys
}

// mostLines is E.
const mostLines = 8

// wiring asks for the serial lines and the devices on them.
func (s *script) wiring(o Around) bool {
	for i := range mostLines {
		if !s.line(i, o) {
			return false
		}
		if s.ask(Question{Key: lineKey(i, "more"), Step: TheLines, Ask: "Are there devices on another serial adapter?", Usual: "no",
			Among: []Choice{{"no", "all are found"}, {"yes", "there is one more line"}}}) != "yes" {
			break
		}
	}
	return s.known()
}

// line asks for one line, and reports whether all of it is known.
func (s *script) line(i int, o Around) bool {
	port := Question{Key: lineKey(i, "port"), Step: TheLines, Ask: "On which serial port is the adapter?", Open: true, Do: NotePort,
		Help:  "Plug it in and wire the devices to it. A port may be typed as well: /dev/ttyUSB0, COM5, /dev/cu.usbserial-1.",
		Voids: append(s.a.written(), lineKey(i, "")), Check: func(typed string) (string, error) { return s.port(i, typed) }}
	if len(o.Ports.Ports) == 0 {
		port.Help = "None is found on this computer by itself. Plug the adapter in and press Enter to look again, or type the port: /dev/ttyUSB0, COM5, /dev/cu.usbserial-1."
	}
	for _, p := range o.Ports.Ports {
		port.Among = append(port.Among, Choice{p.Name, strings.TrimSpace(p.Adapter.Text + " " + p.Adapter.String())})
	}
	if s.ask(port) == "" {
		return false
	}
	s.byWhat(i)
	s.ask(Question{Key: lineKey(i, "how"), Step: TheLines, Ask: "Which devices are on it?", Usual: look, Do: LookForDevices,
		Help: "New devices often have the same unit number: two of them answer at once, and neither is understood. Connect one alone and set its number as its manual says, then the next.",
		Among: []Choice{{look, "look for them; that only reads, and is said before how long it takes"},
			{lookFar, "look for them under all 247 unit numbers, which takes much longer"},
			{"type", "I know speed, parity and unit numbers"}},
		Voids: append(s.a.written(), lineKey(i, "speed"), lineKey(i, "units"), lineKey(i, "found"))})
	s.ask(Question{Key: lineKey(i, "speed"), Step: TheLines, Ask: "Which speed and parity has the line?", Usual: "19200 even",
		Help: "As its devices are set, such as: 9600 none. 1 stop bit is taken with a parity and 2 without; another number may stand behind.", Check: speed})
	if s.ask(Question{Key: lineKey(i, "units"), Step: TheLines, Ask: "Which unit numbers have the devices?", Usual: s.a[lineKey(i, "found")], Numeric: true,
		Help: "From 1 to 247, with commas between, such as: 1, 2, 3.", Check: units, Voids: s.a.written()}) == "" {
		return false
	}
	for _, u := range s.a.unitsOf(i) {
		s.ask(s.nameOf(i, u))
	}
	return s.known()
}

// which has a unit found out by its supply.
const which = "which"

// nameOf asks what a device is called. What it has answered is shown; where there are several
// a maker may not know which of them it is.
func (s *script) nameOf(i int, u unit) Question {
	q := Question{Key: u.key("name"), Step: TheLines, Ask: fmt.Sprintf("What do you call unit %d?", u.unit),
		Help:  "By what it does, such as: thermocouples, relays, board.",
		Check: func(typed string) (string, error) { return s.deviceName(u, typed) }}
	if says := s.a[u.key("says")]; says != "" {
		q.Help = "It answered: " + says + ". " + q.Help
	}
	if len(s.a.unitsOf(i)) > 1 {
		q.Open, q.Numeric, q.Do = true, true, AskWhich
		q.Among = []Choice{{which, "I do not know: switch the supply of one module off first, then take this"}}
	}
	return q
}

// How devices are looked for.
const (
	look    = "look"
	lookFar = "far"
)

// How a bench file knows a port again.
const (
	byAdapter = "adapter"
	byPath    = "path"
	byName    = "name"
)

// byWhat asks how the bench file is to know a port again, where there is more than its name.
func (s *script) byWhat(i int) {
	var among []Choice
	if wanted := s.a[lineKey(i, "wanted")]; wanted != "" {
		among = append(among, Choice{byAdapter, "by the adapter itself, wherever it is plugged in: " + wanted})
	}
	if path := s.a[lineKey(i, "steady")]; path != "" {
		among = append(among, Choice{byPath, "by a path that stays: " + path})
	}
	if len(among) == 0 {
		return
	}
	among = append(among, Choice{byName, "by " + s.a[lineKey(i, "port")] + ", which may be another adapter after the next start"})
	s.ask(Question{Key: lineKey(i, "by"), Step: TheLines, Ask: "How is the bench file to know this adapter again?", Among: among, Usual: among[0].Value})
}

// port refuses one that another line has.
func (s *script) port(i int, typed string) (string, error) {
	for other := range i {
		if s.a[lineKey(other, "port")] == typed {
			return "", fmt.Errorf("%q: that is the port of line %d already; name another one", typed, other+1)
		}
	}
	return inFile(typed, func(f *facts, v string) { f.lines[0].port = v })
}

// speed is a speed, a parity and, where they differ from the usual, the stop bits.
func speed(typed string) (string, error) {
	wrong := fmt.Errorf("%q: write a speed of %d and a parity, such as: 9600 none", typed, config.Bauds())
	words := strings.Fields(typed)
	if len(words) < 2 || len(words) > 3 {
		return "", wrong
	}
	if len(words) == 2 {
		words = append(words, map[bool]string{true: "2", false: "1"}[words[1] == "none"])
	}
	baud, err := strconv.ParseInt(words[0], 10, 64)
	if err != nil || !slices.Contains(config.Bauds(), baud) || !slices.Contains([]string{"none", "even", "odd"}, words[1]) || words[2] != "1" && words[2] != "2" {
		return "", wrong
	}
	return strings.Join(words, " "), nil
}

// units are unit numbers with commas between.
func units(typed string) (string, error) {
	var all []string
	for _, word := range strings.Split(typed, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(word))
		if err != nil || n < 1 || n > 247 {
			return "", fmt.Errorf("%q: write numbers from 1 to 247 with commas between, such as: 1, 2", typed)
		}
		if slices.Contains(all, strconv.Itoa(n)) {
			return "", fmt.Errorf("%q: %d is given twice; two devices of one line need two numbers", typed, n)
		}
		all = append(all, strconv.Itoa(n))
	}
	return strings.Join(all, ", "), nil
}

// deviceName refuses one that another device has.
func (s *script) deviceName(u unit, typed string) (string, error) {
	for _, other := range s.a.units() {
		if other.key("") != u.key("") && strings.EqualFold(other.name, typed) {
			return "", fmt.Errorf("%q: unit %d is called so already; give each its own name", typed, other.unit)
		}
	}
	if strings.EqualFold(typed, each) {
		return "", fmt.Errorf("%q: means something else further on; take another name", typed)
	}
	return inFile(typed, func(f *facts, v string) {
		f.devices[0].name = v
		for i := range f.channels {
			f.channels[i].device = v
		}
	})
}

// unitsOf are the devices of a line.
func (a Answers) unitsOf(i int) (all []unit) {
	if a[lineKey(i, "units")] == "" {
		return nil
	}
	for _, word := range strings.Split(a[lineKey(i, "units")], ",") {
		n, err := strconv.ParseUint(strings.TrimSpace(word), 10, 8)
		if err != nil {
			continue // of a draft that was changed by hand; it is asked again
		}
		u := unit{line: i, unit: uint8(n)}
		u.name = a[u.key("name")]
		all = append(all, u)
	}
	return all
}

// lines is how many lines there are.
func (a Answers) lines() int {
	n := 1
	for ; n < mostLines && a[lineKey(n-1, "more")] == "yes"; n++ {
	}
	return n
}

// units are all devices.
func (a Answers) units() (all []unit) {
	for i := range a.lines() {
		all = append(all, a.unitsOf(i)...)
	}
	return all
}

// unitOf is the device that something is on, by its key.
func (a Answers) unitOf(key string) unit {
	name := a.deviceOf(key)
	for _, u := range a.units() {
		if u.name == name {
			return u
		}
	}
	return unit{}
}

// each is the answer by which every one of several things has a device of its own.
const each = "each"

// on asks on which device some things are; what needs no question, since there is one device
// only, is not asked. deviceOf has the answers. Where they are, voids, was of that device.
func (s *script) on(step Step, group, ask string, keys, names []string, voids ...string) {
	all := s.a.units()
	if len(all) == 1 {
		return
	}
	var among []Choice
	for _, u := range all {
		among = append(among, Choice{u.name, fmt.Sprintf("unit %d of line %d", u.unit, u.line+1)})
	}
	one := Question{Key: group + "-on", Step: step, Ask: ask, Among: among, Voids: voids}
	if at := slices.IndexFunc(among, func(c Choice) bool { return c.Value == s.a["heaters-on"] }); group == "contactor" && at >= 0 { // mostly that one
		one.Usual = among[at].Value
		one.Among = slices.Concat(among[at:at+1], among[:at], among[at+1:])
	}
	if len(keys) > 1 {
		one.Among = append(slices.Clone(among), Choice{each, "not all on one: I say it of each"})
	}
	if s.ask(one) != each {
		return
	}
	for i, key := range keys {
		s.ask(Question{Key: key + "-on", Step: step, Ask: fmt.Sprintf("On which device is %s?", names[i]), Among: among,
			Voids: []string{key, strings.Replace(key, "-heater", "-process", 1)}})
	}
}

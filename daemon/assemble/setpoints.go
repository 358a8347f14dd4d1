package assemble

import (
	"fmt"
	"strings"
)

// heatedBy refuses set-points for a pot with one probe: nobody else sees whether its
// controller does what it is told.
func (s *script) heatedBy(way string) (string, error) {
	for i, name := range s.a.pots() {
		if way == bySetpoint && s.a[potKey(i, "probes")] != "both" {
			return "", fmt.Errorf("pot %s has one probe only; one that is heated by set-point needs both, on a module of their own", name)
		}
	}
	return way, nil
}

// sensed is what a set-point's channel says besides where it is, once a person has said where
// its controller's sensor sits; and it rests colder than any room.
const sensed = ", senses: plate, rest: 5 C"

// bySetpoint asks where each controller is told its set-point, and where it says what its
// own sensor reads. Mostly they are all alike: Enter takes what the one before has.
func (s *script) bySetpoint() {
	s.ask(Question{Key: "controllers-sense", Step: TheHeaters, Ask: "Where does each controller's own sensor sit?",
		Help:  "Nobody can tell that from the outside, and the limit of the plate rests on it: go and look at every one.",
		Among: []Choice{{elsewhere, "in the melt, in the air, or I do not know of all"}, {"plate", "on the plate, each on its own: I have looked"}},
		Check: senses})
	for i, name := range s.a.pots() {
		told, reads := "", none
		if i > 0 {
			told, reads = s.a[potKey(i-1, "heater")], s.a[potKey(i-1, "process")]
		}
		s.ask(Question{Key: potKey(i, "heater"), Step: TheHeaters, Ask: fmt.Sprintf("Where is the controller of pot %s told its set-point?", name), Numeric: true, Usual: told,
			Help:  "Function, address from 0, type, scale and unit, such as: 6 0 int16 0.1 C. Its own sensor has to sit on the plate, and nowhere else. Switch off what it does by itself to its set-point (ramp, programme, self-tuning).",
			Check: func(typed string) (string, error) { return s.controller(i, "setpoint", "heater", typed, sensed) }})
		s.ask(Question{Key: potKey(i, "process"), Step: TheHeaters, Ask: "Where does it say what its own sensor reads?", Numeric: true, Open: true, Usual: reads, Do: ShowProcess,
			Among: []Choice{{none, "it does not say; then you type what its display shows as it is tried out, and a sensor of its own that has come off shows only by the plate's probe"}},
			Help:  "Likewise, and last the number that it sends for a broken sensor, where its manual has one, such as: 3 1 int16 0.1 C 0x7FFF. It is read and shown before it counts.",
			Check: func(typed string) (string, error) { return s.controller(i, "process-value", "process", typed, "") }})
	}
}

// elsewhere is where a controller's sensor must not be.
const elsewhere = "elsewhere"

// senses refuses a sensor that is not on the plate, in the words of the bench file's reader.
func senses(where string) (string, error) {
	at := channel{role: "setpoint", pot: "x", layout: "function: 6, address: 65533, type: int16, scale: 0.1, unit: C, senses: melt, rest: 5 C"}
	if where == elsewhere {
		return "", fits(at, where)
	}
	return where, nil
}

// controller is where a controller is told or asked something, of what was typed.
func (s *script) controller(i int, role, what, typed, more string) (string, error) {
	layout, words := typed, strings.Fields(typed)
	if err := fromSheet(words); err != nil {
		return "", err
	}
	switch {
	case typed == none && role == "process-value":
		return none, nil
	case strings.HasPrefix(typed, "function:"):
	case len(words) == 5 || len(words) == 6 && role == "process-value":
		layout = fmt.Sprintf("function: %s, address: %s, type: %s, scale: %s, unit: %s", words[0], words[1], words[2], words[3], words[4]) + more
		if len(words) == 6 {
			layout += ", sentinels: [" + words[5] + "]"
		}
	default:
		return "", fmt.Errorf("%q: write function, address, type, scale and unit, such as: 6 0 int16 0.1 C", typed)
	}
	for o := range s.a.pots() {
		if o != i && s.a[potKey(o, what)] == layout && s.a.deviceOf(potKey(o, what)) == s.a.deviceOf(potKey(i, what)) {
			return "", fmt.Errorf("%q: that is where the controller of pot %s is; each has its own device or address", typed, s.a.pots()[o])
		}
	}
	return layout, fits(channel{role: role, pot: "x", layout: layout}, typed)
}

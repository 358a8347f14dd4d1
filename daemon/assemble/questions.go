package assemble

import (
	"fmt"
	"slices"
	"strings"

	"meltwarden/daemon/commission"
	"meltwarden/devices/ports"
)

// Around is what questions depend on besides the answers.
type Around struct {
	File  string     // the bench file to be
	Ports ports.List // the serial ports that can be found
}

// script is the questions that follow from the answers so far, in their order: all up to the
// first open one, and those after it that do not depend on it.
func (a Answers) script(o Around) *script {
	s := &script{a: a, open: -1}
	if s.bench() && s.protection() && s.wiring(o) && s.probes() && s.contacts() && s.heaters() {
		s.recipe(o)
	}
	return s
}

// bench asks for names and supply, and reports whether all of it is known.
func (s *script) bench() bool {
	s.ask(Question{Key: "name", Ask: "What is the bench called?", Help: "Such as: bench by the window.",
		Check: func(typed string) (string, error) {
			return inFile(typed, func(f *facts, v string) { f.name = v })
		}})
	s.ask(Question{Key: "unit", Ask: "Which unit do you read temperatures in?", Usual: "C",
		Among: []Choice{{"C", "degrees Celsius"}, {"F", "degrees Fahrenheit"}}})
	s.ask(Question{Key: "voltage", Ask: "Which voltage has the wall socket?", Help: "Such as: 120 V.",
		Check: func(typed string) (string, error) {
			return inFile(typed, func(f *facts, v string) { f.voltage = v })
		}})
	s.ask(Question{Key: "breaker", Ask: "Which breaker protects its circuit?", Help: "Such as: 20 A. It is printed on the breaker. Heaters that do not fit on it together take turns.",
		Check: func(typed string) (string, error) {
			return inFile(typed, func(f *facts, v string) { f.breaker = v })
		}})
	if s.ask(Question{Key: "pots", Ask: "How do you call the pots, from left to right?", Check: potNames,
		Help: "With commas between, such as: left, middle, right. Where they are changed later, all about the pots is asked again.", Voids: []string{"pot-"}}) == "" {
		return false
	}
	for i, name := range s.a.pots() {
		s.ask(Question{Key: potKey(i, "power"), Ask: fmt.Sprintf("How much power has the heater of pot %s?", name), Help: "In watts, such as: 800 W. It is on its plate.",
			Usual: s.a[potKey(i-1, "power")], Check: s.power})
		s.ask(Question{Key: potKey(i, "probes"), Ask: fmt.Sprintf("Which thermocouples has pot %s?", name), Usual: "both",
			Help:  "With one only, the program knows less, and heats less.",
			Among: []Choice{{"both", "one in the melt, and one in its plate"}, {"melt", "one in the melt only"}, {"plate", "one in its plate only"}}})
	}
	return s.known()
}

// power holds a heater's power against the supply.
func (s *script) power(typed string) (string, error) {
	return inFile(typed, func(f *facts, v string) {
		f.voltage, f.breaker, f.pots[0].power = s.a["voltage"], s.a["breaker"], v
	})
}

// potNames are names with commas between, each a pot's and none given twice.
func potNames(typed string) (string, error) {
	var names []string
	for _, name := range strings.Split(typed, ",") {
		name = strings.TrimSpace(name)
		if name == "" {
			return "", fmt.Errorf("%q: a name is missing between two commas; write them like: left, middle, right", typed)
		}
		if _, err := inFile(name, func(f *facts, v string) {
			f.pots[0].name = v
			for i := range f.channels {
				f.channels[i].pot = v
			}
		}); err != nil {
			return "", err
		}
		if slices.ContainsFunc(names, func(o string) bool { return strings.EqualFold(o, name) }) {
			return "", fmt.Errorf("%q: given twice; give each pot its own name", name)
		}
		names = append(names, name)
	}
	if len(names) > mostPots {
		return "", fmt.Errorf("%d pots: more than %d on one bench are not thought of", len(names), mostPots)
	}
	return strings.Join(names, ", "), nil
}

// mostPots is E: more do not fit on one manifold.
const mostPots = 8

// pots are the names of the pots.
func (a Answers) pots() []string {
	if a["pots"] == "" {
		return nil
	}
	return strings.Split(a["pots"], ", ")
}

func potKey(i int, what string) string { return fmt.Sprintf("pot-%d-%s", i+1, what) }

// protection asks what protects the bench without this program.
func (s *script) protection() bool {
	for _, q := range commission.InFile() {
		s.ask(Question{Key: q.Key, Step: ItsProtection, Ask: q.Text,
			Help: `In your own words, a few: "yes" is no answer. It is kept and believed: nobody but you can see whether it is true. What is missing has to be fitted first.`,
			Check: func(typed string) (string, error) {
				if err := commission.Accept(q.Key, typed); err != nil {
					return "", err
				}
				return inFile(typed, func(f *facts, v string) { f.protection[q.Key] = v })
			}})
	}
	return s.known()
}

// recipe asks for the recipe to begin with.
func (s *script) recipe(o Around) {
	s.ask(Question{Key: "recipe", Step: TheRecipe, Ask: "Which recipe is the bench to begin with?", Usual: begin,
		Among: []Choice{{begin, "a recipe is written to begin with; all in it is invented"}}, Open: true,
		Help:  "Or type the path of a recipe file of your own, with a colour for each of these pots.",
		Check: func(typed string) (string, error) { return typed, s.a.fits(typed, o.File) }})
	if s.a["recipe"] == begin {
		for i, name := range s.a.pots() {
			s.ask(Question{Key: potKey(i, "volume"), Step: TheRecipe, Ask: fmt.Sprintf("How much liquid vinyl goes into pot %s?", name), Usual: s.a[potKey(i-1, "volume")],
				Help: "What you will really pour in, such as: 35 mL or 250 mL; plans and limits rest on it. It has to cover the tip of the melt probe, with room left to stir.", Check: volume})
		}
	}
	if s.known() {
		s.ask(Question{Key: "write", Step: TheFile, Ask: fmt.Sprintf("Shall %s be written now?", o.File),
			Help:  "It stands above. Type ? to change an answer first. Nothing is heated by writing it. A probe of room, mould or injector, a lamp or a buzzer is added to the file by hand, before trying out.",
			Among: []Choice{{"yes", "write it, and go on to trying out"}, {"no", "stop here; the answers are kept"}},
			Check: func(typed string) (string, error) { return typed, s.a.good(o.File) }})
	}
}

// begin has a recipe written.
const begin = "begin"

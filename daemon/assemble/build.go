package assemble

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"meltwarden/config"
	"meltwarden/config/strict"
)

// facts are what the answers say of the bench. All questions have to be answered.
func (a Answers) facts(benchFile string) facts {
	f := facts{
		name: a["name"], recipe: a["recipe"], voltage: a["voltage"], breaker: a["breaker"],
		protection: map[string]string{},
	}
	if f.recipe == begin {
		f.recipe = newRecipe(benchFile, a.recipeText())
	}
	for i, name := range a.pots() {
		f.pots = append(f.pots, pot{name, a[potKey(i, "power")], a.drawn()})
	}
	for _, key := range []string{"cut-out", "fuse", "e-stop", "earth"} {
		f.protection[key] = a[key]
	}
	for i := range a.lines() {
		f.lines = append(f.lines, a.line(i))
	}
	for _, u := range a.units() {
		f.devices = append(f.devices, device{u.name, lineName(u.line), strconv.Itoa(int(u.unit)), a[u.key("timeout")]})
	}
	f.channels = a.channels()
	return f
}

// lineName is what a line is called in the bench file.
func lineName(i int) string { return string(rune('a' + i)) }

func (a Answers) line(i int) line {
	l := line{name: lineName(i), port: a[lineKey(i, "port")]}
	switch a[lineKey(i, "by")] {
	case byAdapter:
		l.adapter = a[lineKey(i, "wanted")]
	case byPath:
		l.port = a[lineKey(i, "steady")]
	}
	if words := strings.Fields(a[lineKey(i, "speed")]); len(words) == 3 {
		l.baud, l.parity, l.stopBits = words[0], words[1], words[2]
	}
	return l
}

// drawn is what stands beside a heater's power.
func (a Answers) drawn() string {
	switch a["heaters-by"] {
	case byNumber:
		return "output: " + a["heaters-draw"]
	case bySetpoint:
		return ""
	}
	if a["heaters-relay"] == mechanical {
		return "relay: {life: " + a["heaters-life"] + "}"
	}
	return "window: 2 s"
}

// channels are those of the bench file, in its order.
func (a Answers) channels() (all []channel) {
	on := a.deviceOf
	for _, p := range a.probeList() {
		all = append(all, channel{p.role, p.pot, on(p.key), a.probeLayout(p)})
	}
	for i, name := range a.pots() {
		key, process := potKey(i, "heater"), potKey(i, "process")
		if a["heaters-by"] != bySetpoint {
			all = append(all, channel{"heater", name, on(key), a.heaterLayout(a[key])})
			continue
		}
		all = append(all, channel{"setpoint", name, on(key), a[key]})
		if a[process] != none {
			all = append(all, channel{"process-value", name, on(process), a[process]})
		}
	}
	all = append(all, channel{"contactor", "", on("contactor"), fmt.Sprintf("function: %s, address: %s, type: bit", a["contactor-function"], wire(a["contactor"]))})
	for _, c := range a.contactList() {
		all = append(all, channel{c.role, c.pot, on(c.key), a[c.key]})
	}
	return all
}

// probeLayout is where a probe is read, with what its device sends for none.
func (a Answers) probeLayout(p probe) string {
	open := a[a.unitOf(p.key).key("open")]
	if open == none || open == "" || strings.Contains(a[p.key], "sentinels:") {
		return a[p.key]
	}
	return a[p.key] + ", sentinels: [" + open + "]"
}

// heaterLayout is where a heater is written.
func (a Answers) heaterLayout(typed string) string {
	address := wire(typed)
	if a["heaters-by"] == byCoil {
		return fmt.Sprintf("function: %s, address: %s, type: bit", a["heaters-function"], address)
	}
	full, _ := strconv.ParseFloat(a["heaters-full"], 64) // it was accepted as a number
	return fmt.Sprintf("function: %s, address: %s, type: uint16, scale: %s, unit: fraction", a["heaters-function"], address, strconv.FormatFloat(1/full, 'f', -1, 64))
}

// good says what is wrong with the bench file.
func (a Answers) good(file string) error {
	_, err := a.facts(file).parse(file)
	return err
}

// fits says why a recipe does not fit the bench.
func (a Answers) fits(typed, file string) error {
	if typed == begin {
		return nil // it is written so that it does
	}
	path := typed
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(file), path)
	}
	r, err := config.LoadRecipe(path)
	if err != nil {
		return err
	}
	f := a.facts(file)
	f.recipe = typed
	b, err := f.parse(file)
	if err != nil {
		return err
	}
	_, err = config.Settings(b, r)
	return err
}

// beginWith are colours to begin with; names, places and figures are invented.
var beginWith = []struct {
	name, position string
	setpointC      float64
}{
	{"slate", "back", 168}, {"ivory", "core", 171}, {"rust", "belly", 174}, {"moss", "tail", 168},
	{"sand", "head", 171}, {"plum", "left side", 174}, {"ash", "right side", 168}, {"clay", "tip", 171},
}

const aboutRecipe = `# Invented, to begin with: a colour for each pot. Take cure and set-points from the
# sheet of your own plastisol's maker, and from your own trials.
name: to begin with
colours:
`

// recipeText is a recipe to begin with.
func (a Answers) recipeText() string {
	var b strings.Builder
	b.WriteString(aboutRecipe)
	for i, name := range a.pots() {
		c := beginWith[i%len(beginWith)]
		b.WriteString(colour(c.name, name, c.position, a[potKey(i, "volume")], a.degrees(c.setpointC), a.degrees(172)))
	}
	return b.String()
}

// colour is a line of a recipe.
func colour(name, pot, position, volume, setpoint, cure string) string {
	return fmt.Sprintf("  - {name: %s, pot: %s, position: %s, base: invented, volume: %s, setpoint: %s, cure: {temperature: %s, dwell: 90 s}}\n",
		name, quoted(pot), position, quoted(volume), setpoint, cure)
}

// volume holds a potful against the rules of recipes.
func volume(typed string) (string, error) {
	_, err := config.ParseRecipe("recipe", []byte(aboutRecipe+colour("x", "x", "x", typed, "168 C", "172 C")))
	if wrong, is := errors.AsType[*strict.Error](err); is {
		return "", fmt.Errorf("%q: %s; %s", typed, wrong.Problems[0].Wrong, wrong.Problems[0].Fix)
	}
	return typed, err
}

// degrees is a temperature in the maker's unit, as files have it.
func (a Answers) degrees(celsius float64) string {
	if a["unit"] == "F" {
		return fmt.Sprintf("%.0f F", celsius*9/5+32)
	}
	return fmt.Sprintf("%.0f C", celsius)
}

// reading is a temperature in the maker's unit, as it is read.
func (a Answers) reading(celsius float64) string {
	if a["unit"] == "F" {
		return fmt.Sprintf("%.1f °F", celsius*9/5+32)
	}
	return fmt.Sprintf("%.1f °C", celsius)
}

// newRecipe is the name of a file beside the bench file that is not there, or has that text.
func newRecipe(benchFile, text string) string {
	name := "recipe.yaml"
	for n := 2; ; n++ {
		is, err := os.ReadFile(filepath.Join(filepath.Dir(benchFile), name))
		if errors.Is(err, os.ErrNotExist) || err == nil && string(is) == text || n > mostRecipes {
			return name
		}
		name = fmt.Sprintf("recipe-%d.yaml", n)
	}
}

// mostRecipes is E: a folder with more of these names is no bench's.
const mostRecipes = 99

// create writes a file that is not there yet, whole or not at all. One that is there with
// that text is left as it is.
func create(path, text string) error {
	if is, err := os.ReadFile(path); err == nil && string(is) == text {
		return nil
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.WriteString(text)
	if err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Link(f.Name(), path); !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, os.ErrPermission) {
		return err
	}
	return createPlain(path, text) // a file system without links
}

func createPlain(path, text string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

package assemble

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"meltwarden/config"
	"meltwarden/config/strict"
	"meltwarden/devices/registers"
)

// facts are what a bench file is written from, as typed.
type facts struct {
	name, recipe, voltage, breaker string

	pots       []pot
	protection map[string]string // by the keys of the bench file
	lines      []line
	devices    []device
	channels   []channel
}

type pot struct {
	name, power string
	heater      string // what stands beside the power, such as "window: 20 s", or ""
}

type line struct {
	name, port, adapter, baud, parity, stopBits string
}

type device struct{ name, line, unit, timeout string }

// channel is where a value lives: layout is what stands in a bench file from function on.
type channel struct{ role, pot, device, layout string }

// plainWord is what YAML takes for a text without quotes.
var plainWord = regexp.MustCompile(`^[A-Za-z0-9/][A-Za-z0-9/._-]*( [A-Za-z0-9/._-]+)*$`)

// quoted is a text as YAML takes it for one.
func quoted(text string) string {
	switch strings.ToLower(text) {
	case "null", "true", "false", "yes", "no", "on", "off", "y", "n":
		return `"` + text + `"`
	}
	if plainWord.MatchString(text) {
		return text
	}
	return fmt.Sprintf("%q", text)
}

const (
	aboutFile = `# Bench file, written by meltwarden commission from what was answered and found
# out. It can be changed in any editor; lines, devices, channels, pots and
# heater powers only with a new commissioning.
`
	aboutSupply = `
# What the wall socket can carry, from the breaker and the local code. Heaters
# that do not fit on it together take turns. Of what is on for hours, 80 % is
# used (continuous-share).
`
	aboutPots = `
# Each pot on its plate. What a heater draws: output: smooth is the share that
# it is told at every instant, hidden all of it in windows of its device that
# nobody here sees; window: 2 s is switched here, for solid-state relays. Of a
# mechanical one, which wears: relay: {life: 100000}, the operations that its
# maker rates it for at this load. They are counted.
`
	aboutProtection = `
# What cuts the heat without this program: the owner's word on record.
`
	aboutLines = `
# Serial lines, and the devices on them by their unit numbers.
`
	aboutChannels = `
# Where each value lives on its device. Addresses are as on the wire, from 0. A
# value is raw x scale, in the unit given. Probes of mould, room and injector,
# a lamp, a buzzer and further buttons can be added: meltwarden examples has
# such lines.
channels:
`
	aboutProbes  = "  # Probes.\n"
	aboutOutputs = "  # Heaters, and the contactor that everything that heats hangs on.\n"
	aboutInputs  = `  # Contacts: an interlock is closed when healthy, a button when pressed.
  # Emergency stop and cut-out break the contactor's coil in hardware; here
  # they are only read. A short press of the pedal marks a shot, a long one
  # silences; without short-press any press silences.
`
)

// about is what stands above the channels of a role.
func about(role string) string {
	switch role {
	case "melt", "plate":
		return aboutProbes
	case "heater", "setpoint", "process-value", "contactor":
		return aboutOutputs
	}
	return aboutInputs
}

// text is the bench file.
func (f facts) text() string {
	var b strings.Builder
	say := func(form string, args ...any) { fmt.Fprintf(&b, form, args...) }
	say("%sname: %s\n\n# The recipe to begin with, as a path from this file.\nrecipe: %s\n", aboutFile, quoted(f.name), quoted(f.recipe))
	say("%ssupply: {voltage: %s, breaker: %s}\n", aboutSupply, quoted(f.voltage), quoted(f.breaker))
	say("%spots:\n", aboutPots)
	for _, p := range f.pots {
		more := ""
		if p.heater != "" {
			more = ", " + p.heater
		}
		say("  - {name: %s, heater: {power: %s%s}}\n", quoted(p.name), quoted(p.power), more)
	}
	say("%sprotection:\n", aboutProtection)
	for _, key := range []string{"cut-out", "fuse", "e-stop", "earth"} {
		say("  %s: %s\n", key, quoted(f.protection[key]))
	}
	say("%slines:\n", aboutLines)
	for _, l := range f.lines {
		at := "port: " + quoted(l.port)
		if l.adapter != "" {
			at = "adapter: " + l.adapter
		}
		say("  - {name: %s, %s, baud: %s, parity: %s, stop-bits: %s}\n", l.name, at, l.baud, l.parity, l.stopBits)
	}
	say("devices:\n")
	for _, d := range f.devices {
		more := ""
		if d.timeout != "" {
			more = ", timeout: " + d.timeout
		}
		say("  - {name: %s, line: %s, unit: %s%s}\n", quoted(d.name), d.line, d.unit, more)
	}
	b.WriteString(aboutChannels)
	last := ""
	for _, c := range f.channels {
		if is := about(c.role); is != last {
			last = is
			b.WriteString(is)
		}
		b.WriteString(c.line())
	}
	return b.String()
}

func (c channel) line() string {
	of := ""
	if c.pot != "" {
		of = ", pot: " + quoted(c.pot)
	}
	more := ""
	if c.role == string(registers.Pedal) {
		more = ", short-press: shot"
	}
	return fmt.Sprintf("  - {role: %s%s, device: %s, %s%s}\n", c.role, of, quoted(c.device), c.layout, more)
}

// sample is a bench in which everything is right, to try one value in.
func sample() facts {
	return facts{
		name: "x", recipe: "x", voltage: "250 V", breaker: "63 A",
		pots:       []pot{{name: "x", power: "100 W"}},
		protection: map[string]string{"cut-out": "x", "fuse": "x", "e-stop": "x", "earth": "x"},
		lines:      []line{{name: "a", port: "x", baud: "19200", parity: "even", stopBits: "1"}},
		devices:    []device{{name: "x", line: "a", unit: "1"}},
		channels: []channel{{"melt", "x", "x", "function: 4, address: 65535, type: int16, unit: C"},
			{"heater", "x", "x", "function: 16, address: 65535, type: uint16, scale: 0.0001, unit: fraction"}},
	}
}

// inFile holds a value against the rules of the bench file: set puts it into a bench in
// which all else is right.
func inFile(typed string, set func(f *facts, typed string)) (string, error) {
	f := sample()
	set(&f, typed)
	_, err := f.parse("")
	if wrong, is := errors.AsType[*strict.Error](err); is {
		p := wrong.Problems[0]
		return "", fmt.Errorf("%q: %s; %s", typed, p.Wrong, p.Fix)
	}
	return typed, err
}

// parse reads the text back, as if it stood in a file.
func (f facts) parse(file string) (*config.Bench, error) {
	return config.ParseBench(file, []byte(f.text()), nil)
}

// read is a channel as the bench file's reader takes it.
func (c channel) read() (registers.Channel, error) {
	f := sample()
	c.device = "x"
	if c.pot != "" {
		c.pot = "x"
	}
	switch c.role {
	case "melt":
		f.channels[0] = c
	case "heater":
		f.channels[1] = c
	case "setpoint", "process-value": // only beside a plate's probe and a contactor elsewhere, and no heater
		f.devices = append(f.devices, device{"y", "a", "2", ""})
		f.channels[1] = channel{"setpoint", "x", "x", "function: 6, address: 65533, type: int16, scale: 0.1, unit: C" + sensed}
		f.channels = append(f.channels, channel{"plate", "x", "x", "function: 4, address: 65534, type: int16, unit: C"},
			channel{"contactor", "", "y", "function: 5, address: 0, type: bit"})
		if c.role == "setpoint" {
			f.channels[1] = c
		} else {
			f.channels = append(f.channels, c)
		}
	default:
		f.channels = append(f.channels, c)
	}
	b, err := f.parse("")
	if wrong, is := errors.AsType[*strict.Error](err); is {
		p := wrong.Problems[0]
		return registers.Channel{}, fmt.Errorf("%s: %s", p.Wrong, p.Fix)
	}
	if err != nil {
		return registers.Channel{}, err
	}
	for _, found := range b.Channels {
		if string(found.Role) == c.role {
			return found, nil
		}
	}
	return registers.Channel{}, errors.New("no such channel")
}

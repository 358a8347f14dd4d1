// Package config turns a bench file and a recipe file into typed, validated
// values, and both together into the settings that control works by. A file is
// accepted as a whole or not at all: every problem in it is named at once, with
// file, line, key, value and what to write instead. Limits are lowered on the
// way from the built-in ceilings over the bench to the recipe, never raised;
// environment and flags can not touch them.
package config

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"meltwarden/config/quantity"
	"meltwarden/config/strict"
	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/control/dose"
	"meltwarden/control/injector"
	"meltwarden/control/reading"
	"meltwarden/devices/ports"
	"meltwarden/devices/registers"
)

// Bench is what a bench file says: the shop's hardware and its limits.
type Bench struct {
	Name string
	// Recipe is the recipe file to begin with, as a path that can be opened: in
	// the bench file it is written relative to that file.
	Recipe string
	// Typed is the file as typed.
	Typed      []byte
	Supply     circuit.Rating
	Ceiling    Ceiling
	Pots       []Pot
	Protection Protection
	Lines      []Line
	Devices    []Device
	Channels   []registers.Channel
	// Injector is what the melts are drawn into, as far as the file says; nothing about heat
	// goes by it.
	Injector injector.Injector
	Daemon   Daemon
	// DoseKJ is the activation energy of heat doses, in kJ/mol.
	DoseKJ float64

	src *strict.Source
}

// Ceiling is the most that any recipe may use on the bench, in degrees Celsius.
type Ceiling struct{ MeltTripC, PlateLimitC, PlateTripC float64 }

// Pot is one pot on its plate.
type Pot struct {
	Name    string
	HeaterW float64 // rated power, watts
	// Output is what the heater draws of it while it is told a duty, by its channel;
	// Window is that of a switched one, zero of others.
	Output circuit.Output
	Window time.Duration
	// LeastOn and LeastOff are for how long a switched one stays on, and off, at the least;
	// zero is a twentieth of the window. Relay is what switches it, where that wears.
	LeastOn, LeastOff time.Duration `json:",omitzero"`
	Relay             Relay         `json:",omitzero"`
	PlateLimitC       float64       // degrees Celsius, at most the ceiling's
	// Probes are those that it has a channel for. HandWithin is how long heat rests on a
	// hand-held reading of a melt that has none, and MostW the most, in watts, that the
	// heater of a plate that has none gets in the mean; zero is control's own.
	Probes     reading.Probes
	HandWithin time.Duration
	MostW      float64
	// LeastFillML is the least melt that covers the pot's probe, MostFillML what the pot
	// holds with room to stir and to expand, in mL; zero is not recorded. Left out of JSON
	// then, by whose digest what was found out about a pot is known again.
	LeastFillML, MostFillML float64 `json:",omitzero"`
	// Controller is the device that holds the plate by itself, where there is one.
	Controller control.Controller `json:",omitzero"`

	output string // as typed
}

// Protection is the owner's word on what cuts the heat without this program:
// what it is and where. It is recorded, not believed.
type Protection struct{ CutOut, Fuse, EStop, Earth string }

// Line is one serial line.
type Line struct {
	Name     string
	Port     string // empty where Adapter says which
	Baud     int
	Parity   Parity
	StopBits int
	// Adapter is what the adapter of the port has to be, whatever the port is called today.
	// It is left out of JSON where it is empty, by whose digest a bench is known again.
	Adapter ports.Wanted `json:",omitzero"`
}

// Parity of a serial line.
type Parity string

// The parities of the open standard.
const (
	Even     Parity = "even"
	Odd      Parity = "odd"
	NoParity Parity = "none"
)

// Device is one unit on a line.
type Device struct {
	Name    string
	Line    string // the line's name
	Unit    uint8  // 1 to 247
	Timeout time.Duration
	// MaxGap is how many registers nobody wants may be read along, to join two
	// requests into one.
	MaxGap int
}

// LoadBench reads a bench file, then the environment and the flags, which may
// set only the listen address, the data folder and the log level. Flags may be
// nil. Its error is a *strict.Error with every problem found.
func LoadBench(path string, flags *pflag.FlagSet) (*Bench, error) {
	text, err := readFile(path)
	if err != nil {
		return nil, err
	}
	return ParseBench(path, text, flags)
}

// ParseBench is LoadBench for a text that has been read; file is its name in
// messages.
func ParseBench(file string, typed []byte, flags *pflag.FlagSet) (*Bench, error) {
	src, top := strict.Read(file, typed)
	b := &Bench{src: src, Typed: typed}
	b.Name = strict.Required(top, "name", name("the bench by the window"))
	b.Recipe = beside(file, strict.Required(top, "recipe", text("eel.yaml")))
	b.Supply = readSupply(top.Map("supply"))
	b.Ceiling = readCeiling(top.Map("ceiling"), src)
	for _, m := range top.RequiredMaps("pots", "[{name: left, heater: {power: 1000 W}}]") {
		b.Pots = append(b.Pots, b.readPot(m))
	}
	b.Protection = readProtection(top.Map("protection"))
	for _, m := range top.RequiredMaps("lines", "[{name: a, port: the serial port}]") {
		b.Lines = append(b.Lines, readLine(m, src))
	}
	for _, m := range top.RequiredMaps("devices", "[{name: thermocouples, line: a, unit: 1}]") {
		b.Devices = append(b.Devices, readDevice(m))
	}
	for _, m := range top.RequiredMaps("channels", "[{role: melt, …}], one entry for each value of a device") {
		b.Channels = append(b.Channels, readChannel(m, src))
	}
	b.Injector = readInjector(top.Map("injector"))
	b.Daemon = readDaemon(top.Map("daemon"), src, flags)
	b.DoseKJ = readDose(top.Map("dose"))
	top.Done()
	b.check()
	if err := src.Err(); err != nil {
		return nil, err
	}
	return b, nil
}

// beside is the path of a file that another one names.
func beside(file, named string) string {
	if named == "" || filepath.IsAbs(named) {
		return named
	}
	return filepath.Join(filepath.Dir(file), named)
}

// readFile says in plain words why a file can not be read.
func readFile(path string) ([]byte, error) {
	text, err := os.ReadFile(path)
	if err == nil {
		return text, nil
	}
	p := strict.Problem{File: path, Wrong: "can not be read: " + plainCause(err), Fix: "check name, folder and permissions"}
	if errors.Is(err, fs.ErrNotExist) {
		p.Wrong, p.Fix = "no such file", "check the name, or start from the demo's file"
	}
	return nil, &strict.Error{Problems: []strict.Problem{p}}
}

// plainCause leaves out the path, which the message has already.
func plainCause(err error) string {
	var at *fs.PathError
	if errors.As(err, &at) {
		return at.Err.Error()
	}
	return err.Error()
}

func readSupply(m *strict.Map) circuit.Rating {
	defer m.Done()
	volts := strict.Required(m, "voltage", within(kind(quantity.Voltage, "120 V"), minVoltageV, maxVoltageV, inUnit("V")))
	amperes := strict.Required(m, "breaker", within(kind(quantity.Current, "15 A"), minBreakerA, maxBreakerA, inUnit("A")))
	share := strict.Optional(m, "continuous-share",
		within(kind(quantity.Fraction, "80 %"), minShare, maxShare, inUnit("of the whole")), defaultContinuousShare)
	return circuit.Rating{MaxW: volts * amperes, ContinuousW: volts * amperes * share}
}

func readCeiling(m *strict.Map, src *strict.Source) Ceiling {
	defer m.Done()
	c := Ceiling{
		MeltTripC:   strict.Optional(m, "melt-trip", limit("190 C", minMeltTripC, ceilingMeltTripC), defaultMeltTripC),
		PlateLimitC: strict.Optional(m, "plate-limit", limit("230 C", minPlateLimitC, ceilingPlateLimitC), defaultPlateLimitC),
		PlateTripC:  strict.Optional(m, "plate-trip", limit("250 C", minPlateTripC, ceilingPlateTripC), defaultPlateTripC),
	}
	if c.PlateTripC < c.PlateLimitC+tripAbovePlateC {
		src.Complain(m.Path("plate-trip"),
			"too near the plate limit of "+quantity.FormatTemperature(c.PlateLimitC),
			fmt.Sprintf("keep %s between them, or lower the plate limit", quantity.FormatTemperature(tripAbovePlateC)))
	}
	return c
}

func (b *Bench) readPot(m *strict.Map) Pot {
	defer m.Done()
	heater := m.Map("heater")
	p := Pot{
		Name: strict.Required(m, "name", name("left")),
		PlateLimitC: strict.Optional(m, "plate-limit",
			limit("230 C", minPlateLimitC, ceilingPlateLimitC), b.Ceiling.PlateLimitC),
		HandWithin:  strict.Optional(m, "hand-reading-within", duration("4 min", minHandWithin, maxHandWithin), 0),
		LeastFillML: fill(m, "least-fill", "120 mL"), MostFillML: fill(m, "most-fill", "400 mL"),
		MostW: strict.Optional(m, "most-power", within(kind(quantity.Power, "115 W"), minHeaterW, maxHeaterW, quantity.FormatPower), 0),
	}
	b.readHeater(heater, &p)
	if p.PlateLimitC > b.Ceiling.PlateLimitC {
		b.src.Complain(m.Path("plate-limit"), "above the bench's ceiling", atMost(b.Ceiling.PlateLimitC))
	}
	if p.MostFillML > 0 && p.MostFillML < p.LeastFillML {
		b.src.Complain(m.Path("most-fill"), "less than least-fill", "write at least "+inUnit("mL")(p.LeastFillML))
	}
	return p
}

// fill is how full a pot may be.
func fill(m *strict.Map, key, example string) float64 {
	return strict.Optional(m, key, kind(parsePotful, example), quantity.Volume{}).ML
}

// What a bench file says of a heater whose channel is a number.
const (
	hidden = "hidden"
	smooth = "smooth"
)

// readHeater reads a pot's heater; checkHeaters, which knows its channel, goes on.
func (b *Bench) readHeater(m *strict.Map, p *Pot) {
	defer m.Done()
	p.HeaterW = strict.Required(m, "power", within(kind(quantity.Power, "1000 W"), minHeaterW, maxHeaterW, quantity.FormatPower))
	p.output = strict.Optional(m, "output", oneOf(hidden, smooth), "")
	p.Window = strict.Optional(m, "window", duration("20 s", minWindow, maxWindow), 0)
	p.Controller.Every = strict.Optional(m, "write-every", duration("10 s", minWriteEvery, maxWriteEvery), 0)
	p.LeastOn = strict.Optional(m, "least-on", duration("1 s", minLeast, maxLeast), 0)
	p.LeastOff = strict.Optional(m, "least-off", duration("1 s", minLeast, maxLeast), 0)
	if m.Has("relay") {
		p.Relay = readRelay(m.Map("relay"))
	}
	if b.Supply.MaxW > 0 && p.HeaterW > b.Supply.MaxW {
		b.src.Complain(m.Path("power"),
			"more than the whole circuit of "+quantity.FormatPower(b.Supply.MaxW),
			"give the pot a smaller heater, or the bench a circuit that can carry this one")
	}
}

func readDose(m *strict.Map) float64 {
	defer m.Done()
	return strict.Optional(m, "activation-energy",
		within(kind(quantity.MolarEnergy, "150 kJ/mol"), minDoseKJ, maxDoseKJ, inUnit("kJ/mol")), dose.DefaultKJ)
}

func atMost(c float64) string { return "write at most " + quantity.FormatTemperature(c) }

func readProtection(m *strict.Map) Protection {
	defer m.Done()
	return Protection{
		CutOut: strict.Required(m, "cut-out", text("what it is, where its sensor sits, how it is reset")),
		Fuse:   strict.Required(m, "fuse", text("what it is and where")),
		EStop:  strict.Required(m, "e-stop", text("what it breaks and where it is")),
		Earth:  strict.Required(m, "earth", text("what is earthed, and which residual-current device")),
	}
}

func readLine(m *strict.Map, src *strict.Source) Line {
	defer m.Done()
	l := Line{Name: strict.Required(m, "name", name("a"))}
	l.Port, l.Adapter = readPort(m, src)
	l.Baud = int(strict.Optional(m, "baud", kind(parseBaud, "19200"), defaultBaud))
	l.Parity = strict.Optional(m, "parity", oneOf(Even, Odd, NoParity), Even)
	usual := int64(1)
	if l.Parity == NoParity {
		usual = 2
	}
	l.StopBits = int(strict.Optional(m, "stop-bits", whole("1", 1, 2), usual))
	return l
}

// bauds are the speeds serial ports have in common.
var bauds = []int64{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}

// Bauds are the speeds that a line may have, in bits per second.
func Bauds() []int64 { return slices.Clone(bauds) }

func parseBaud(typed string) (int64, error) {
	v, err := parseWhole(typed)
	if err != nil {
		return 0, err
	}
	for _, b := range bauds {
		if v == b {
			return v, nil
		}
	}
	return 0, &quantity.Fault{Wrong: "not a usual speed", Fix: fmt.Sprintf("write one of %d", bauds)}
}

func readDevice(m *strict.Map) Device {
	defer m.Done()
	return Device{
		Name:    strict.Required(m, "name", name("thermocouples")),
		Line:    strict.Required(m, "line", name("a")),
		Unit:    uint8(strict.Required(m, "unit", whole("1", minUnit, maxUnit))),
		Timeout: strict.Optional(m, "timeout", duration("100 ms", minTimeout, maxTimeout), defaultTimeout),
		MaxGap:  int(strict.Optional(m, "max-gap", whole("0", 0, maxRegisters), defaultMaxGap)),
	}
}

package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon"
	"meltwarden/daemon/console"
	"meltwarden/daemon/recognise"
	"meltwarden/devices"
	"meltwarden/devices/clock"
	"meltwarden/devices/modbus"
	"meltwarden/devices/readout"
	"meltwarden/devices/registers"
)

type registersFlags struct {
	line     devices.LineConfig
	unit     uint8
	timeout  time.Duration
	function uint8
	from     uint16
	count    uint16
	probes   []string
	contacts []string
	room     string
	device   string
	asJSON   bool
}

func registersCommand() *cobra.Command {
	f := registersFlags{}
	c := &cobra.Command{
		Use:   "registers --port PORT --unit NUMBER",
		Short: "Find which register of a device is which probe or contact",
		Long: "Reads registers of a device and shows each beside the numbers that it may stand for, live. Hold one " +
			"probe after another in your hand: the register that moves as a probe does is recognised, with type, order of words, " +
			"scale and unit, and what fits as well is said beside it. At the end come the lines of a bench file.\n\n" +
			"With --contact press one after another, three times each, with the heaters' supply off: the coil, discrete input or bit " +
			"of a register that followed, and no other, is recognised, with what it reads at rest.\n\n" +
			"It only reads, at most 64 registers, or bits, of each table and one neighbour on either side, with pauses; what the device refuses is said. " +
			"End what else uses the line first. Heat stays off: nothing is written.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runRegisters(c, f) },
	}
	flags := c.Flags()
	flags.StringVar(&f.line.Port, "port", "", "the serial port")
	flags.IntVar(&f.line.Baud, "baud", 19200, "its speed")
	flags.StringVar(&f.line.Parity, "parity", "even", "its parity: even, odd or none")
	flags.IntVar(&f.line.StopBits, "stop-bits", 0, "1 or 2; where nothing is said, 1 with a parity and 2 without")
	flags.Uint8Var(&f.unit, "unit", 0, "the device's unit number, 1 to 247")
	flags.DurationVar(&f.timeout, "timeout", 300*time.Millisecond, "how long it may take to answer")
	flags.Uint8Var(&f.function, "function", 0, "1 coils, 2 discrete inputs (both for contacts only), 3 holding registers, 4 input registers; all where nothing is said")
	flags.Uint16Var(&f.from, "from", 0, "the first address, as on the wire, from 0")
	flags.Uint16Var(&f.count, "count", 16, "how many registers or bits, up to 64")
	flags.StringArrayVar(&f.probes, "probe", nil, `a probe to be held, by role and pot, like "melt left"; give one for each, in the order of holding`)
	flags.StringArrayVar(&f.contacts, "contact", nil, `a contact to be pressed, by role and pot, like "e-stop" or "stir-button left"; give one for each, in the order of pressing`)
	flags.StringVar(&f.room, "room", "", `the room's temperature, like "19 C"`)
	flags.StringVar(&f.device, "device", "", "what the bench file is to call it, if neither thermocouples nor, with contacts, inputs")
	flags.BoolVar(&f.asJSON, "json", false, "print an object at the end; what to do goes to the standard error")
	_ = c.MarkFlagRequired("port") // both flags exist: they were made above
	_ = c.MarkFlagRequired("unit")
	return c
}

func runRegisters(c *cobra.Command, f registersFlags) error {
	if f.device == "" {
		f.device = map[bool]string{true: "inputs", false: "thermocouples"}[len(f.contacts) > 0]
	}
	room, err := recognise.ParseRoom(f.room)
	if err != nil {
		return err
	}
	spans, err := f.spans()
	if err != nil {
		return err
	}
	if err := f.checkNames(); err != nil {
		return err
	}
	if f.line.StopBits == 0 {
		f.line.StopBits = map[bool]int{true: 2, false: 1}[f.line.Parity == "none"]
	}
	port, err := daemon.OpenPort(f.line)
	if err != nil {
		return err
	}
	clk := clock.New(1)
	client := modbus.NewClient(port, f.line.Baud, clk)
	defer func() { <-client.Close() }()
	out := c.OutOrStdout()
	words := out
	if f.asJSON { // the object has the standard output for itself
		words = c.ErrOrStderr()
	}
	clk.Sleep(c.Context(), devices.HushFor) // what a killed program told it ends by its own time-out
	device := &modbus.Device{Name: f.device, Unit: f.unit, Timeout: f.timeout}
	run := recognise.Run
	if len(f.contacts) > 0 {
		run = recognise.RunContacts
	}
	err = run(c.Context(), recognise.Options{
		Reader: readout.New(client, device, spans, clk), Clock: clk, Room: room, Probes: f.probes, Contacts: f.contacts, From: f.from, Device: f.device, Wiring: f.wiring(),
		Out: out, Words: words, Screen: !f.asJSON && isTerminal(out) && drawable(out.(*os.File)), Size: func() console.Size { return sizeOf(out) }, AsJSON: f.asJSON,
	})
	if err != nil {
		return fmt.Errorf("%w: are port, unit, speed and parity right, the two wires the right way round, and is nothing else using the line?", err)
	}
	return nil
}

// spans are the registers to be read.
func (f registersFlags) spans() ([]registers.Span, error) {
	if f.unit < 1 || f.unit > 247 {
		return nil, fmt.Errorf("--unit %d: write a number from 1 to 247", f.unit)
	}
	known, reads := []uint8{modbus.ReadInput, modbus.ReadHolding}, "3 or 4, which read registers"
	if len(f.contacts) > 0 {
		known, reads = []uint8{modbus.ReadInputs, modbus.ReadCoils, modbus.ReadInput, modbus.ReadHolding}, "1, 2, 3 or 4, which read"
	}
	functions := known
	if f.function != 0 {
		functions = []uint8{f.function}
		if !slices.Contains(known, f.function) {
			return nil, fmt.Errorf("--function %d: write %s", f.function, reads)
		}
	}
	spans, err := readout.Spans(functions, f.from, f.count)
	if err != nil {
		return nil, fmt.Errorf("--count %w", err)
	}
	return spans, nil
}

// checkNames refuses a name by which a bench file would not know a probe or a contact.
func (f registersFlags) checkNames() error {
	if len(f.probes) > 0 && len(f.contacts) > 0 {
		return errors.New("--probe and --contact: find the probes first, then the contacts, with one of the two at a time")
	}
	like := registers.Channel{
		Device: f.device, Function: modbus.ReadInput, Type: registers.Int16, Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 1, Unit: registers.Celsius,
	}
	if err := checkEach("--probe", f.probes, like); err != nil {
		return err
	}
	return checkEach("--contact", f.contacts, registers.Channel{Device: f.device, Function: modbus.ReadInputs, Type: registers.Bit, Scale: 1})
}

// checkEach refuses a name of a flag that is no channel like one, or is given twice.
func checkEach(flag string, names []string, like registers.Channel) error {
	for i, name := range names {
		role, pot, _ := strings.Cut(name, " ")
		like.Role, like.Pot = registers.Role(role), pot
		if err := like.Validate(); err != nil {
			return fmt.Errorf("%s %q: %w", flag, name, err)
		}
		if slices.Contains(names[:i], name) {
			return fmt.Errorf("%s %q: given twice; name each once", flag, name)
		}
	}
	return nil
}

// wiring are the lines of a bench file for line and device.
func (f registersFlags) wiring() []string {
	return []string{
		"lines:",
		fmt.Sprintf("  - {name: bench, port: %s, baud: %d, parity: %s, stop-bits: %d}", f.line.Port, f.line.Baud, f.line.Parity, f.line.StopBits),
		"devices:",
		fmt.Sprintf("  - {name: %s, line: bench, unit: %d}", f.device, f.unit),
	}
}

// sizeOf is a terminal's size, or the smallest where it does not say.
func sizeOf(out io.Writer) console.Size {
	f, is := out.(*os.File)
	if !is {
		return console.Small
	}
	return console.SizeOf(f)
}

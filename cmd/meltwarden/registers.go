package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

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
	room     string
	device   string
	asJSON   bool
}

func registersCommand() *cobra.Command {
	f := registersFlags{}
	c := &cobra.Command{
		Use:   "registers --port PORT --unit NUMBER",
		Short: "Show a device's registers live, and find which is which probe",
		Long: "Reads registers of a device and shows each beside the numbers that it may stand for, live. Hold one " +
			"probe after another in your hand: the register that moves as a probe does is recognised, with type, order of words, " +
			"scale and unit, and what fits as well is said beside it. At the end come the lines of a bench file. It only reads, " +
			"at most 64 registers of each table and one neighbour on either side, with pauses; what the device refuses is said. " +
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
	flags.Uint8Var(&f.function, "function", 0, "4 for input registers, 3 for holding registers; both where nothing is said")
	flags.Uint16Var(&f.from, "from", 0, "the first address, as on the wire, from 0")
	flags.Uint16Var(&f.count, "count", 16, "how many registers, up to 64")
	flags.StringArrayVar(&f.probes, "probe", nil, `a probe to be held, by role and pot, like "melt left"; give one for each, in the order of holding`)
	flags.StringVar(&f.room, "room", "", `the room's temperature, like "19 C"`)
	flags.StringVar(&f.device, "device", "thermocouples", "what the bench file is to call the device")
	flags.BoolVar(&f.asJSON, "json", false, "print an object at the end; what to do goes to the standard error")
	_ = c.MarkFlagRequired("port") // both flags exist: they were made above
	_ = c.MarkFlagRequired("unit")
	return c
}

func runRegisters(c *cobra.Command, f registersFlags) error {
	room, err := recognise.ParseRoom(f.room)
	if err != nil {
		return err
	}
	spans, err := f.spans()
	if err != nil {
		return err
	}
	if err := f.checkProbes(); err != nil {
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
	err = recognise.Run(c.Context(), recognise.Options{
		Reader: readout.New(client, device, spans, clk), Clock: clk, Room: room, Probes: f.probes, From: f.from, Device: f.device, Wiring: f.wiring(),
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
	functions := []uint8{f.function}
	switch f.function {
	case 0:
		functions = []uint8{modbus.ReadInput, modbus.ReadHolding}
	case modbus.ReadInput, modbus.ReadHolding:
	default:
		return nil, fmt.Errorf("--function %d: write 3 or 4, which read registers", f.function)
	}
	spans, err := readout.Spans(functions, f.from, f.count)
	if err != nil {
		return nil, fmt.Errorf("--count %w", err)
	}
	return spans, nil
}

// checkProbes refuses a name by which a bench file would not know a probe.
func (f registersFlags) checkProbes() error {
	seen := map[string]bool{}
	for _, p := range f.probes {
		role, pot, _ := strings.Cut(p, " ")
		err := registers.Channel{
			Role: registers.Role(role), Pot: pot, Device: f.device, Function: modbus.ReadInput, Type: registers.Int16,
			Words: registers.HighFirst, Bytes: registers.HighFirst, Scale: 1, Unit: registers.Celsius,
		}.Validate()
		if err != nil {
			return fmt.Errorf("--probe %q: %w", p, err)
		}
		if seen[p] {
			return fmt.Errorf("--probe %q: given twice; name each probe once", p)
		}
		seen[p] = true
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
	w, h, err := term.GetSize(int(f.Fd()))
	if err != nil {
		return console.Small
	}
	return console.Size{Width: w, Height: h}
}

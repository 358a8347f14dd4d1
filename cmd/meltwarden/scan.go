package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/devices/clock"
	"meltwarden/devices/guess"
	"meltwarden/devices/modbus"
	"meltwarden/devices/scan"
	"meltwarden/devices/serialport"
)

type scanFlags struct {
	port, units, wait string
	bauds             []int
	parities          []string
	asJSON            bool
}

func scanCommand() *cobra.Command {
	var f scanFlags
	c := &cobra.Command{
		Use:   "scan --port PORT",
		Short: "Look for devices on a serial line of which nothing is known",
		Long: "Asks units 1 to 16 to read one value, at each common speed and parity, and where something answers all other units too. " +
			"It says before how long that takes. A refusal is an answer like any other. What was found is told as lines of a bench file.\n\n" +
			"It only reads: nothing is written, and nothing is switched on or off. A device that heats by itself goes on doing so, " +
			"and an old controller may take what it can not read for something else: have the heaters without supply, by the emergency stop. " +
			"It begins by listening, and asks nothing while somebody else talks on the line or holds the port.\n\n" +
			"Connect one new device at a time: two with one number answer at once, and neither is understood.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runScan(c, f) },
	}
	c.Flags().StringVar(&f.port, "port", "", "the serial port, as a bench file names it")
	c.Flags().IntSliceVar(&f.bauds, "baud", nil, "the speeds to try, like 9600,19200")
	c.Flags().StringSliceVar(&f.parities, "parity", nil, "the parities to try, of none, even and odd")
	c.Flags().StringVar(&f.units, "units", "", "the units to ask, and no others, like 1-32,201")
	c.Flags().StringVar(&f.wait, "wait", "100ms", "how long a device may take to begin its answer")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object at the end, and nothing before")
	_ = c.MarkFlagRequired("port") // the flag exists: it was made above
	return c
}

// longestWait is the longest that a device may be waited for.
const longestWait = time.Second

// plan is what the flags ask for.
func (f scanFlags) plan() (scan.Plan, error) {
	p := scan.Usual()
	var err error
	if p.Wait, err = time.ParseDuration(f.wait); err != nil || p.Wait < 10*time.Millisecond || p.Wait > longestWait {
		return p, fmt.Errorf("--wait %q: write a time from 10ms to 1s", f.wait)
	}
	if f.units != "" {
		if p.Units, err = units(f.units); err != nil {
			return p, err
		}
		p.All = false
	}
	bauds, parities := f.bauds, f.parities
	for _, s := range p.Settings {
		if len(f.bauds) == 0 && !slices.Contains(bauds, s.Baud) {
			bauds = append(bauds, s.Baud)
		}
		if len(f.parities) == 0 && !slices.Contains(parities, s.Parity) {
			parities = append(parities, s.Parity)
		}
	}
	p.Settings = nil
	for _, baud := range bauds {
		if !slices.Contains(config.Bauds(), int64(baud)) {
			return p, fmt.Errorf("--baud %d: not a usual speed: write some of %d", baud, config.Bauds())
		}
	}
	for _, parity := range parities {
		if !slices.Contains([]string{"none", "even", "odd"}, parity) {
			return p, fmt.Errorf("--parity %q: write some of none, even and odd", parity)
		}
	}
	for _, baud := range bauds {
		for _, parity := range parities {
			p.Settings = append(p.Settings, scan.Setting{Baud: baud, Parity: parity})
		}
	}
	return p, nil
}

// units reads numbers and spans of them.
func units(typed string) (all []uint8, err error) {
	wrong := fmt.Errorf("--units %q: write numbers from 1 to 247 and spans of them, like 1-32,201", typed)
	for part := range strings.SplitSeq(typed, ",") {
		first, last, span := strings.Cut(strings.TrimSpace(part), "-")
		if !span {
			last = first
		}
		from, errFrom := strconv.ParseUint(first, 10, 8)
		to, errTo := strconv.ParseUint(last, 10, 8)
		if errFrom != nil || errTo != nil || from < 1 || to > 247 || from > to {
			return nil, wrong
		}
		for unit := from; unit <= to; unit++ {
			if !slices.Contains(all, uint8(unit)) {
				all = append(all, uint8(unit))
			}
		}
	}
	return all, nil
}

func runScan(c *cobra.Command, f scanFlags) error {
	p, err := f.plan()
	if err != nil {
		return err
	}
	out := c.OutOrStdout()
	progress := io.Discard
	if !f.asJSON {
		progress = out
	}
	fmt.Fprintln(progress, wrapped([]string{before(p, f.port)}))
	open := func(s scan.Setting) (modbus.Port, error) {
		return serialport.Open(f.port, serialport.Mode{Baud: s.Baud, Parity: serialport.Parity(s.Parity), StopBits: 1})
	}
	r, err := scan.Run(c.Context(), p, open, clock.New(1), func(s scan.Step) { tellStep(progress, s) })
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(progress, "ended before all was tried")
		err = nil
	}
	if err != nil {
		return err
	}
	if f.asJSON {
		err = json.NewEncoder(out).Encode(struct {
			Port string `json:"port"`
			scan.Result
			Notes     []string `json:"notes"`
			BenchFile string   `json:"bench_file"`
		}{f.port, r, r.Notes(), r.BenchLines(f.port)})
	} else {
		tellFound(out, r, f.port)
	}
	if err == nil && len(r.Found) == 0 {
		return errors.New("nothing answered on " + f.port)
	}
	return err
}

// before says what is about to be done, and how long it takes at most.
func before(p scan.Plan, port string) string {
	once, setting, unit := p.Most()
	return fmt.Sprintf("Asks %s at %s of %s. It only reads: nothing is written or switched. "+
		"It takes %.0f s at most, as long again if nothing answers, and for each setting at which something does %.0f s more and %.1f s for each unit found. "+
		"Ctrl-C ends it, and what was found by then is told.", counted(len(p.Units), "unit"), counted(len(p.Settings), "setting"), port, once.Seconds(), setting.Seconds(), unit.Seconds())
}

func counted(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func tellStep(out io.Writer, s scan.Step) {
	if !s.Done {
		return
	}
	said := "nothing"
	if len(s.Units) > 0 {
		said = "answered: " + strings.Trim(fmt.Sprint(s.Units), "[]")
	}
	if s.Heard {
		said += "; something came that is no answer"
	}
	what := ""
	if s.Again {
		what = ", more closely"
	}
	fmt.Fprintf(out, "  %s%s: %s\n", s.Setting, what, said)
}

func tellFound(out io.Writer, r scan.Result, port string) {
	for _, u := range r.Found {
		fmt.Fprintf(out, "\nunit %d, %s, answered within %d ms\n", u.Unit, u.Settings[0], max(1, u.Worst.Milliseconds()))
		for _, a := range u.Answers {
			fmt.Fprintf(out, "  function %d, %s 0: %s\n", a.Function, guess.Table(a.Function), a.Says)
		}
	}
	if lines := r.BenchLines(port); lines != "" {
		fmt.Fprintf(out, "\nFor a bench file; name the devices, and add channels:\n\n%s", lines)
	}
	if notes := r.Notes(); len(notes) > 0 {
		fmt.Fprintf(out, "\n%s\n", wrapped(notes))
	}
}

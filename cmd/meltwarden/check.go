package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/daemon"
	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/view"
	"meltwarden/daemon/wear"
	"meltwarden/devices"
	"meltwarden/devices/budget"
	"meltwarden/devices/clock"
	"meltwarden/devices/ports"
)

func checkCommand() *cobra.Command {
	var files files
	var asJSON, watching bool
	c := &cobra.Command{
		Use:   "check --config FILE",
		Short: "Validate the files, read every channel, write off once",
		Long: "Validates the files, opens the ports, reads every channel and writes zeros once to the\n" +
			"addresses in the file, and to a controller that says it has another set-point its rest.\n" +
			"With a wrong address either can mean something else: press the emergency stop before you\n" +
			"run it.\n\n" + watchesLines + halves + steered + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if watching {
				return watchLines(c, files.bench, asJSON)
			}
			return runCheck(c, files, asJSON)
		},
	}
	files.flags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print an object; with --watch one a second")
	c.Flags().BoolVar(&watching, "watch", false, "only read, again and again, and show how each device answers, until q or Ctrl-C")
	config.Flags(c.Flags())
	return c
}

// steered is what follows where a controller of its own heats a pot. The figures are of
// NumbersOfControllers of daemon/demo.
const steered = `A pot that is heated by set-point (role: setpoint): a controller of its own holds the plate and decides what the heater gets; meltwarden tells it how warm the plate should be, reads that back, and watches. It is written on change only, because many a controller keeps each set-point in a memory that wears, commonly after 100 000 times (common practice, no source): three simulated pots took about 60 in an hour each. What the heater gets is not known, so nothing is foretold. A controller that hears nothing more heats on to the last that it was told: a bench file without a contactor on another device, that lets go by itself, is refused. check tells it to rest where it says that it has something else. It must sense its plate, and nothing it does to its set-point by itself (ramp, programme, self-tuning) may be on.

`

// halves is what follows where a pot has one probe. The figures are of simulated pots:
// NumbersOfHalves and NumbersOfLowThermometers of control/judge.
const halves = `A pot with a plate probe only: its melt is read by hand, with a thermometer of your own, dry and in the middle of the stirred melt, and typed on the page with its unit.
- Heat rests on that for four minutes (hand-reading-within: 3 min beside the pot's name sets another time). After that, and before the first, the plate is held no hotter than where the melt is to get. The pot is cured only after a reading at its cure temperature, and ready only after one inside its band.
- A value that can not be is refused. One far above the estimate takes heat away at once, and counts when typed a second time. One more than 8 °C below the estimate and its band is not believed at once, nor a second time while the plate is too warm for it; heat rests on the last one that was.
- From the first reading within 15 °C of where the melt is to get, the plate is held no more than 28 °C above that, or what the pot was seen to need by then, 55 °C at the most.
- Hold your thermometer into boiling water before you rely on it. What is typed and not that far off is believed, and no finding tells. On 23 simulated pots that were to get to 172 °C, one that read 10 °C too low took the melt to 180 °C in the median and 184 in the worst; 20 °C too low, to 196 in the worst (two over the trip of 190); 50 °C, to 214.
- With a good thermometer the melt went at most 3 °C over, and 8 °C over in an oil bath. It is slow: a heat-up took twice the shortest possible in the median. A pot that loses far more than it seemed to on the way up may stop short of its temperature.

A pot with a melt probe only: its heater gets little power, about 115 W for 250 mL (most-power: 140 W sets another, 2.5 times that at the most), and the guard keeps it to that. Four of ten simulated pots were not at rest within the hour; one that loses much may not get there. How hot the plate is nobody promises: it stayed less than 11 °C over its limit, the melt went up to 7 °C over, and only the independent cut-out sees the plate. commission has you lay the melt probe on the empty plate to see which heater warms it.

`

func runCheck(c *cobra.Command, f files, asJSON bool) error {
	bench, recipe, settings, err := f.load(c.Flags())
	if err != nil {
		return err
	}
	stand, unread := standing(bench)
	wiring, said := calibrate.Correct(daemon.Wiring(bench), stand), correctionsOf(stand, unread)
	if !asJSON {
		fmt.Fprintf(c.OutOrStdout(), "files are good: bench %q, recipe %q (version %s)\n", bench.Name, recipe.Name, recipe.Fingerprint())
		tellHeaters(c.OutOrStdout(), settings, bench)
		tellRelays(c.OutOrStdout(), bench)
		for _, line := range view.Contacts(bench.Channels) {
			fmt.Fprintln(c.OutOrStdout(), lines.Hang("", "  ", line))
		}
		tellKnown(c.OutOrStdout(), bench, recipe, settings)
		tellNotKnown(c.OutOrStdout(), settings, bench)
		tellContrasts(c.OutOrStdout(), config.Contrasts(recipe))
		said.tell(c.OutOrStdout())
	}
	found, stats, err := devices.Try(c.Context(), wiring, plugsOnRecord(bench).Open, clock.New(1))
	if err != nil {
		return err
	}
	plan, err := budget.Of(wiring, settings.Period, view.TurnsOf(stats))
	if err != nil {
		return err
	}
	serial := view.SerialOf(stats, plan)
	if !asJSON {
		here, _ := ports.Here() // without it a name is all there is to say
		tellWhere(c.OutOrStdout(), serial, wiring.Lines, here)
	}
	return tellFindings(c.OutOrStdout(), found, serial, said, asJSON)
}

// tellWhere says of each line where it is, and whether it keeps up with the bench while that
// is heated.
func tellWhere(out io.Writer, serial view.SerialLines, named []devices.LineConfig, here ports.List) {
	for i, l := range serial.Lines {
		fmt.Fprintf(out, "line %s:\n", l.Name)
		for _, words := range append([]string{l.Where(), steadier(named[i], here), alike(l, here)}, l.Budget...) {
			if words != "" {
				fmt.Fprintln(out, lines.Hang("  - ", "    ", words))
			}
		}
	}
}

// steadier says how a bench file should name a port that has another name after the next
// plugging in; it is empty where it names one that stays.
func steadier(l devices.LineConfig, here ports.List) string {
	p, is := here.At(l.Port)
	if !is || here.Steady(p) == l.Port {
		return ""
	}
	w, tells := here.Wanted(p)
	if !tells {
		return ""
	}
	return fmt.Sprintf("%s is a name of today, and may be another adapter after the next plugging in. Write in its place: adapter: %s (and commission again: what is on record is of this line as it is written now)", l.Port, w)
}

// alike says of a line's adapter that it can not be told from others by its own words; it is
// empty where it can.
func alike(l view.SerialLine, here ports.List) string {
	p, is := here.At(l.Port)
	if !is || here.DoubtOf(p) == ports.Told {
		return ""
	}
	return fmt.Sprintf("Its adapter has %s, and is told from others of its kind by its socket only. Mark plug and socket: whoever swaps plugs swaps lines.", here.DoubtOf(p))
}

// tellHeaters says how each heater is switched: a mechanical relay that is taken for a
// solid-state one would wear out within weeks.
func tellHeaters(out io.Writer, s control.Settings, b *config.Bench) {
	for i, p := range s.Pots { // in the order of the bench
		how := "draws the share that it is told at every instant"
		switch {
		case p.Controller.Is():
			how = fmt.Sprintf("its controller decides, and is told a set-point once in %v at the most", p.Controller.Every)
		case p.Output == circuit.Hidden:
			how = "switched by its device, unseen: above zero it counts as fully on"
		case p.Output == circuit.Switched:
			how = fmt.Sprintf("switched here, on and off about once in %v, on for %v and off for %v at the least, but for an off that is wanted at once", p.Window,
				cmp.Or(p.LeastOn, p.Window/20), cmp.Or(p.LeastOff, p.Window/20))
			if !b.Pots[i].Relay.Wears() {
				how += "; taken for a solid-state relay: of a mechanical one write how long it lasts, such as relay: {life: 100000}"
			}
		}
		fmt.Fprintln(out, lines.Hang("", "  ", fmt.Sprintf("heater of pot %s: %.0f W, %s", p.Name, p.HeaterW, how)))
	}
}

// tellRelays says how worn mechanical relays are; without a history nothing was counted.
func tellRelays(out io.Writer, b *config.Bench) {
	relays := wear.Stand(nil, b)
	if past, err := history.OpenExisting(b.Daemon.Data); past != nil {
		defer past.Close()
		if err == nil {
			relays, err = wornOf(past, b)
		}
		if err != nil {
			fmt.Fprintln(out, "relays: what was counted can not be read:", err)
			return
		}
	}
	for _, line := range wear.Lines(relays) {
		fmt.Fprintln(out, lines.Hang("", "  ", line))
	}
}

// tellKnown says what is known of each pot; without a history nothing is.
func tellKnown(out io.Writer, b *config.Bench, r *config.Recipe, s control.Settings) {
	past, err := history.OpenExisting(b.Daemon.Data)
	if past == nil || err != nil {
		return
	}
	defer past.Close()
	recalled, err := daemon.Recall(past, b, s, daemon.StartOf(b, r, version()))
	daemon.TellRecalled(out, recalled, err)
}

// tellNotKnown says of each pot what can not be known of it by the way it is read or heated,
// and what follows.
func tellNotKnown(out io.Writer, s control.Settings, b *config.Bench) {
	for _, p := range s.Pots {
		for i, line := range view.Unknowable(p, b.Channels) {
			if i == 0 {
				fmt.Fprintf(out, "pot %s, by the way it is read%s:\n", p.Name, map[bool]string{true: " and heated"}[p.Controller.Is()])
			}
			fmt.Fprintln(out, lines.Hang("  - ", "    ", line))
		}
	}
}

func tellFindings(out io.Writer, found []devices.Finding, serial view.SerialLines, said corrections, asJSON bool) error {
	if asJSON {
		all := map[string]any{"channels": found, "lines": serial.Lines, "corrections": said.inForce, "calibration": said.remind}
		if err := json.NewEncoder(out).Encode(all); err != nil {
			return err
		}
	}
	bad := 0
	for _, f := range found {
		if !f.Good {
			bad++
		}
		if !asJSON {
			fmt.Fprintln(out, f)
		}
	}
	if bad > 0 {
		return fmt.Errorf("%d of %d channels did not answer as they should", bad, len(found))
	}
	return nil
}

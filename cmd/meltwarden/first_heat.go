package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/firstheat"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

type firstHeatFlags struct {
	files
	status, asJSON bool
}

func firstHeatCommand() *cobra.Command { return firstHeatAt(clock.New(1)) }

// firstHeatAt is the command under a clock; that of a simulated bench may be fast.
func firstHeatAt(clk *clock.Clock) *cobra.Command {
	var f firstHeatFlags
	c := &cobra.Command{
		Use:   "first-heat --config FILE",
		Short: "Warm raw paste a little, so that the first evening knows its pots",
		Long: "Warms each pot of raw paste to about 45 °C by its own heater, under the guard's lower\nlimits, and keeps what it shows of pot and plate. " +
			"The first evening's plan, and its word of\nwhen the pots are ready, then need not begin with guesses: as heat began that word was off\nby 59 % in the median of simulated pots, and after a first heat by 18 %. " +
			"A pot that takes up\nno more heat than any is taken to (4 of 15) is left to its first evening: that may be the pot,\nand as well too little stirring, thick paste or an oil bath. " +
			"No pot becomes faster or hotter by\nit, and none is worse off without it: the first evening finds out the same in the first quarter of\nits heat-up.\n\n" +
			"Raw paste only, cold, in every pot, as much as the recipe says. It stays a liquid (it gels\nfrom 75 °C on): heat on with the same potfuls, or let them cool and use them first. " +
			"Cured vinyl\nis a solid at this temperature and shows nothing, and so does a plate without a pot: it is no use.\n\n" +
			"It heats only with a complete record of commissioning and after a press of the bench's own\nenable button, for 12 minutes a pot at most, plates below 68 °C; over 55 °C in a melt or 85 °C\nin a plate it trips. " +
			"Somebody stays at the bench. Ctrl-C ends it with every heater told zero.\nPots that an evening has left something of, and those with one probe or a controller, are left cold.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runFirstHeat(c, f, clk) },
	}
	f.flags(c)
	c.Flags().BoolVar(&f.status, "status", false, "say what is known of each pot; touches no device")
	c.Flags().BoolVar(&f.asJSON, "json", false, "with --status, print an object")
	config.Flags(c.Flags())
	return c
}

func runFirstHeat(c *cobra.Command, f firstHeatFlags, clk *clock.Clock) error {
	if f.asJSON && !f.status {
		return fmt.Errorf("--json: add --status; a first heat is led in words")
	}
	bench, recipe, _, err := f.load(c.Flags())
	if err != nil {
		return err
	}
	if f.status {
		return tellFirstHeat(c.OutOrStdout(), bench, recipe, f.asJSON)
	}
	past, err := history.Open(bench.Daemon.Data)
	if err != nil {
		return err
	}
	defer past.Close()
	if err := past.Trouble(); err != nil {
		return err
	}
	stand, err := calibrate.Load(past, bench)
	if err != nil {
		return err
	}
	log, err := openLog(c.ErrOrStderr(), bench.Daemon, true)
	if err != nil {
		return err
	}
	defer log.close()
	var refused strings.Builder
	cleared := clearance(&refused, past, bench)
	if !cleared.Holds() {
		fmt.Fprint(c.OutOrStdout(), refused.String())
	}
	correctionsOf(stand, nil).tell(c.OutOrStdout())
	return firstheat.Run(c.Context(), firstheat.Options{
		Bench: bench, Recipe: recipe, Clock: clk, History: past, Out: c.OutOrStdout(), Log: log.Logger, Version: version(),
		Connect: func() (*devices.Bus, error) {
			return devices.Open(calibrate.Correct(daemon.Wiring(bench), stand), plugsOf(past, bench).Open, clk)
		},
		Corrected: calibrate.Recorded(stand), Commissioned: cleared,
	})
}

// tellFirstHeat says what is known of the pots, also while another meltwarden records.
func tellFirstHeat(out io.Writer, b *config.Bench, r *config.Recipe, asJSON bool) error {
	past, err := history.OpenExisting(b.Daemon.Data)
	if past != nil {
		defer past.Close()
		if err != nil {
			return err
		}
	}
	pots, err := firstheat.StatusOf(b, r, past, version())
	if err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"pots": pots})
	}
	for _, p := range pots {
		words := "pot " + p.Pot + ": " + p.Known
		if p.FirstHeat {
			words += "; first-heat would find it out anew"
		} else if p.Gains {
			words += "; it has to gain by first-heat"
		} else if p.Why != p.Known {
			words += "; it is left cold: " + p.Why
		}
		fmt.Fprintln(out, lines.Hang("", "  ", words))
	}
	return nil
}

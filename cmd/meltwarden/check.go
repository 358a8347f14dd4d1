package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/control"
	"meltwarden/control/circuit"
	"meltwarden/daemon"
	"meltwarden/daemon/history"
	"meltwarden/daemon/view"
	"meltwarden/devices"
	"meltwarden/devices/clock"
)

func checkCommand() *cobra.Command {
	var files files
	var asJSON bool
	c := &cobra.Command{
		Use:   "check --config FILE",
		Short: "Validate the files, read every channel, write zeros once",
		Long: "Validates the files, opens the ports, reads every channel and writes zeros once to the\n" +
			"addresses in the file. With a wrong address a zero can mean something else: press the\n" +
			"emergency stop before you run it.\n\n" + caution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runCheck(c, files, asJSON) },
	}
	files.flags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	config.Flags(c.Flags())
	return c
}

func runCheck(c *cobra.Command, f files, asJSON bool) error {
	bench, recipe, settings, err := f.load(c.Flags())
	if err != nil {
		return err
	}
	if !asJSON {
		fmt.Fprintf(c.OutOrStdout(), "files are good: bench %q, recipe %q (version %s)\n", bench.Name, recipe.Name, recipe.Fingerprint())
		tellHeaters(c.OutOrStdout(), settings)
		tellKnown(c.OutOrStdout(), bench, recipe, settings)
		tellNotSeen(c.OutOrStdout(), settings)
		tellContrasts(c.OutOrStdout(), config.Contrasts(recipe))
	}
	found, err := devices.Try(c.Context(), daemon.Wiring(bench), daemon.OpenPort, clock.New(1))
	if err != nil {
		return err
	}
	return tellFindings(c.OutOrStdout(), found, asJSON)
}

// tellHeaters says how each heater is switched: a mechanical relay that is taken for a
// solid-state one would wear out within weeks.
func tellHeaters(out io.Writer, s control.Settings) {
	for _, p := range s.Pots {
		how := "draws the share that it is told at every instant"
		switch p.Output {
		case circuit.Hidden:
			how = "switched by its device, unseen: above zero it counts as fully on"
		case circuit.Switched:
			how = fmt.Sprintf("switched here, on and off about once in %v (2s suits a solid-state relay, 20s a mechanical one)", p.Window)
		}
		fmt.Fprintf(out, "heater of pot %s: %.0f W, %s\n", p.Name, p.HeaterW, how)
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

// tellNotSeen says of each pot with one probe what is not known of it, and what follows.
func tellNotSeen(out io.Writer, s control.Settings) {
	for _, p := range s.Pots {
		for i, line := range view.NotSeen(p) {
			if i == 0 {
				fmt.Fprintf(out, "pot %s has one probe:\n", p.Name)
			}
			fmt.Fprintf(out, "  - %s\n", line)
		}
	}
}

func tellFindings(out io.Writer, found []devices.Finding, asJSON bool) error {
	if asJSON {
		if err := json.NewEncoder(out).Encode(map[string]any{"channels": found}); err != nil {
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

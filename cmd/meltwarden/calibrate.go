package main

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon"
	"meltwarden/daemon/calibrate"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/devices/clock"
)

type calibrateFlags struct {
	file                  string
	probes                []string
	again, status, asJSON bool
	takeBack, changed     []string
}

func calibrateCommand() *cobra.Command { return calibrateAt(clock.New(1)) }

// calibrateAt is the command under a clock; that of a simulated bench may be fast.
func calibrateAt(clk *clock.Clock) *cobra.Command {
	var f calibrateFlags
	c := &cobra.Command{
		Use:   "calibrate --config FILE [POINT...]",
		Short: "Find out how far probes are off, and correct their readings",
		Long: "Takes points with probes in wet ice, in boiling water (\"boiling at 985 hPa\", or a\n" +
			"height) or together in one cup, says what they mean, and puts a correction in force\n" +
			"with \"accept\". Without a point it asks. Every output is told zero and nothing else is\n" +
			"written. A correction is kept with its day in the history, not in the bench file; serve\n" +
			"and check read with it from their next start on, and each run says which it had.\n\n" +
			"A point counts for twelve hours. Older ones have to be taken again, as the probe may\n" +
			"have been changed since; so have those that were taken with another channel, type or\n" +
			"adapter in the bench file. A correction outlasts another name of the bench where the\n" +
			"line of its device names its adapter by a serial number.\n\n" + caution,
		Args: cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, words []string) error { return runCalibrate(c, f, words, clk) },
	}
	c.Flags().StringVar(&f.file, "config", "", "the bench file")
	c.Flags().StringSliceVar(&f.probes, "probe", nil, "these probes, such as \"melt left\"; every melt probe where nothing is said")
	c.Flags().BoolVar(&f.again, "again", false, "take points again that were taken in the last twelve hours")
	c.Flags().BoolVar(&f.status, "status", false, "say what is on record of every probe; touches no device")
	c.Flags().StringSliceVar(&f.takeBack, "take-back", nil, "correct these probes no more")
	c.Flags().StringSliceVar(&f.changed, "changed", nil, "these probes are others now: nothing on record is of them")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object a line")
	_ = c.MarkFlagRequired("config") // the flag exists: it was made above
	oneOf(c, "status", "take-back", "changed", "again")
	oneOf(c, "status", "take-back", "changed", "probe")
	config.Flags(c.Flags())
	return c
}

func runCalibrate(c *cobra.Command, f calibrateFlags, words []string, clk *clock.Clock) error {
	bench, err := config.LoadBench(f.file, c.Flags())
	if err != nil {
		return err
	}
	if apart := f.status || len(f.takeBack)+len(f.changed) > 0; apart && len(words) > 0 {
		return fmt.Errorf("%q: points are taken without --status, --take-back and --changed", words[0])
	}
	if f.status {
		stand, err := standing(bench)
		if err != nil {
			return err
		}
		return tellStanding(c.OutOrStdout(), stand, f.asJSON)
	}
	past, err := history.Open(bench.Daemon.Data)
	if err != nil {
		return err
	}
	defer past.Close()
	if err := past.Trouble(); err != nil {
		return err
	}
	if len(f.takeBack)+len(f.changed) > 0 {
		if err := calibrate.Forget(past, bench, version(), f.takeBack, f.changed); err != nil {
			return err
		}
		stand, err := calibrate.Load(past, bench)
		if err != nil {
			return err
		}
		return tellStanding(c.OutOrStdout(), stand, f.asJSON)
	}
	return calibrate.Run(c.Context(), calibrate.Options{
		Bench: bench, Wiring: daemon.Wiring(bench), Open: plugsOf(past, bench).Open, Clock: clk, History: past,
		In: c.InOrStdin(), Out: c.OutOrStdout(), Terminal: isTerminal(c.OutOrStdout()), JSON: f.asJSON, Version: version(),
		Probes: f.probes, Words: words, Again: f.again,
	})
}

// standing is what is on record of a bench's probes, also while another meltwarden records;
// without a history nothing is.
func standing(b *config.Bench) ([]calibrate.Standing, error) {
	past, err := history.OpenExisting(b.Daemon.Data)
	if past == nil {
		return calibrate.Stand(nil, b)
	}
	defer past.Close()
	if err != nil {
		return nil, err
	}
	return calibrate.Load(past, b)
}

func tellStanding(out io.Writer, stand []calibrate.Standing, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"probes": stand, "remind": calibrate.Remind(stand, time.Now())})
	}
	return calibrate.Tell(out, stand, time.Now())
}

// corrections are what is added to readings, and which probes should be calibrated, in words.
type corrections struct {
	inForce []string
	remind  string
}

// correctionsOf are those of what stands, or of a record that could not be read: with that a
// bench is watched and not heated.
func correctionsOf(stand []calibrate.Standing, unread error) corrections {
	if unread != nil {
		return corrections{[]string{}, fmt.Sprintf("Calibration: heat is refused, because the record can not be read: %v", unread)}
	}
	return corrections{append([]string{}, calibrate.InForce(stand)...), calibrate.Remind(stand, time.Now())}
}

func (c corrections) tell(out io.Writer) {
	for _, line := range c.inForce {
		fmt.Fprintln(out, lines.Hang("", "  ", line))
	}
	if c.remind != "" {
		fmt.Fprintln(out, lines.Hang("", "  ", c.remind))
	}
}

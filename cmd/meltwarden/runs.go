package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/history"
)

// withHistory runs f on the history in the folder that --data names.
func withHistory(c *cobra.Command, f func(*history.Store) error) error {
	folder, err := c.Flags().GetString("data")
	if err != nil {
		return err
	}
	s, err := history.OpenExisting(folder)
	if err != nil {
		return err
	}
	defer s.Close()
	return f(s)
}

func dataFlag(c *cobra.Command) {
	c.Flags().String("data", config.DefaultData, "data folder")
}

func runNumber(arg string) (int64, error) {
	n, err := strconv.ParseInt(arg, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("run %q: write the number that the command runs shows", arg)
	}
	return n, nil
}

func runsCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "runs [TEXT]", Short: "List the runs kept, those that contain a text", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return withHistory(c, func(s *history.Store) error {
				runs, err := s.Runs(append(args, "")[0])
				if err != nil {
					return err
				}
				return tellRuns(c.OutOrStdout(), runs, asJSON)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func tellRuns(out io.Writer, runs []history.Run, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"runs": runs})
	}
	if len(runs) == 0 {
		fmt.Fprintln(out, "no runs")
	}
	for _, r := range runs {
		invented := ""
		if r.Invented {
			invented = "  (simulated bench, invented)"
		}
		fmt.Fprintf(out, "%4d  %s  %-11s  %7s  %s, recipe version %s%s\n", r.ID, r.Began.Format("2006-01-02 15:04"), r.State,
			(time.Duration(r.Cycles) * config.Period).Round(time.Minute), r.Title, r.Fingerprint, invented)
	}
	return nil
}

func replayCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "replay RUN", Short: "Feed a run's stored inputs to the controller again, and report the first difference",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error {
				r, err := s.Replay(run)
				if err != nil {
					return err
				}
				return tellReplay(c.OutOrStdout(), r, asJSON)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func tellReplay(out io.Writer, r history.Replayed, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(r)
	}
	switch d := r.Differs; {
	case d == nil:
		fmt.Fprintf(out, "%d cycles, no difference\n", r.Cycles)
	case d.Missing:
		fmt.Fprintf(out, "part %d: cycles are missing before cycle %d, so that nothing after them can be replayed\n", d.Part, d.Cycle)
	default:
		fmt.Fprintf(out, "part %d: cycle %d comes out differently\n", d.Part, d.Cycle)
	}
	return nil
}

func exportCommand() *cobra.Command {
	var format string
	c := &cobra.Command{
		Use: "export RUN", Short: "Write every cycle of a run to standard output", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error {
				switch format {
				case "csv":
					return s.ExportCSV(c.OutOrStdout(), run)
				case "json":
					return s.ExportJSON(c.OutOrStdout(), run)
				}
				return fmt.Errorf("--as %q: write csv or json", format)
			})
		},
	}
	c.Flags().StringVar(&format, "as", "csv", "csv, or json with one object a line")
	dataFlag(c)
	return c
}

func backupCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "backup FILE", Short: "Copy the whole history to a new file, also while it is being written", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if _, err := os.Stat(args[0]); err == nil {
				return fmt.Errorf("%s: exists already; choose a new name", args[0])
			}
			return withHistory(c, func(s *history.Store) error {
				if err := s.Backup(args[0]); err != nil {
					return fmt.Errorf("backup to %s: %w", args[0], err)
				}
				_, err := fmt.Fprintf(c.OutOrStdout(), "history copied to %s\n", args[0])
				return err
			})
		},
	}
	dataFlag(c)
	return c
}

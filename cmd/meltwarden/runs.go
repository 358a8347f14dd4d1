package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
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

// whereData is what a command about this history needs to find it.
func whereData(s *history.Store) string { return review.Where(s) }

// dataFlag adds the data folder; the environment's is taken where no other is named.
func dataFlag(c *cobra.Command) {
	folder := os.Getenv(config.EnvironmentPrefix + "DATA")
	if folder == "" {
		folder = config.DefaultData
	}
	c.Flags().String("data", folder, "data folder")
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
	var filter history.Filter
	var state, since, until string
	var again bool
	c := &cobra.Command{
		Use: "runs [TEXT]", Short: "List the runs kept, or those that hold a text",
		Long: "Lists the runs that are kept, the newest first; with words, those that have them in name, recipe, note, mould or fault. A star marks a simulated bench.",
		Args: cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			filter.Text, filter.State = strings.Join(args, " "), history.State(state)
			if err := checkFilter(&filter, since, until); err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error {
				if again {
					return tellReinspections(c.OutOrStdout(), s, asJSON)
				}
				runs, err := s.Runs(filter)
				if err != nil {
					return err
				}
				return tellRuns(c.OutOrStdout(), runs, asJSON)
			})
		},
	}
	c.Flags().BoolVar(&filter.Spoiled, "spoiled", false, "only those with a fault of any kind")
	c.Flags().StringVar(&filter.Fault, "fault", "", "only those with this fault: "+strings.Join(shot.Verdicts(), ", "))
	c.Flags().StringVar(&state, "state", "", "only those that are open, finished or interrupted")
	c.Flags().StringVar(&since, "since", "", "only those that began on this day or later, like 2026-01-31")
	c.Flags().StringVar(&until, "until", "", "only those that began on this day or earlier")
	c.Flags().StringVar(&filter.Recipe, "recipe", "", "only those of this recipe, or version, like \"slate eel v2\"")
	c.Flags().StringVar(&filter.Mould, "mould", "", "only those with a shot into this mould")
	c.Flags().StringVar(&filter.Lot, "lot", "", "only those with this base or lot in the recipe")
	c.Flags().BoolVar(&again, "reinspect", false, "instead, the shots that are worth another look: clean at demould, some days old")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

// checkFilter refuses what can match nothing.
func checkFilter(f *history.Filter, since, until string) error {
	states := []history.State{"", history.Recording, history.Finished, history.Interrupted}
	if !slices.Contains(states, f.State) {
		return fmt.Errorf("--state %q: write open, finished or interrupted", f.State)
	}
	if f.Fault != "" && !slices.Contains(shot.Verdicts(), f.Fault) {
		return fmt.Errorf("--fault %q: write one of: %s", f.Fault, strings.Join(shot.Verdicts(), ", "))
	}
	if err := f.Between(since, until); err != nil {
		return fmt.Errorf("--%w", err)
	}
	return nil
}

func tellRuns(out io.Writer, runs []history.Run, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"runs": runs})
	}
	if len(runs) == 0 {
		fmt.Fprintln(out, "no runs")
		return nil
	}
	table := lines.Table{}
	table.Row("run", "began", "took", "state", "shots", "recipe", "faults")
	invented, brought := false, false
	for _, r := range runs {
		star := ""
		if r.Invented {
			star, invented = " *", true
		}
		if r.Brought != nil {
			star, brought = star+" †", true
		}
		took := time.Duration(r.TookS * float64(time.Second)).Round(time.Minute)
		table.Row(fmt.Sprint(r.ID), r.Began.Format("2006-01-02 15:04"), fmt.Sprintf("%d min", int(took.Minutes())),
			review.StateWords(r.State), shotWords(r), fmt.Sprintf("%s v%d%s", r.Recipe, r.Version, star), faultWords(r))
		if r.FirstHeat {
			table.Below("     first heat: raw paste warmed a little, no evening")
		}
		if r.Note != "" {
			table.Below(lines.Wrap("     ", "note: "+r.Note))
		}
	}
	fmt.Fprint(out, table.String())
	if invented {
		fmt.Fprintln(out, "* simulated bench, invented")
	}
	if brought {
		fmt.Fprintln(out, "† made elsewhere, brought here")
	}
	return nil
}

func shotWords(r history.Run) string {
	if r.Shots == 0 {
		return "none"
	}
	return fmt.Sprintf("%d, %d clean", r.Shots, r.Clean)
}

func faultWords(r history.Run) string {
	if len(r.Faults) == 0 {
		return "–"
	}
	return strings.Join(r.Faults, "; ")
}

func replayCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "replay RUN", Short: "Feed a run's stored inputs to the controller again",
		Long: "Feeds every input of a run, cycle by cycle, to the controller as it is now, and names the first cycle that is decided otherwise.",
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
		if err := json.NewEncoder(out).Encode(r); err != nil {
			return err
		}
	}
	switch d := r.Differs; {
	case d == nil && asJSON:
		return nil
	case d == nil:
		_, err := fmt.Fprintf(out, "%d cycles, no difference\n", r.Cycles)
		return err
	case asJSON:
	case d.Missing:
		fmt.Fprintf(out, "part %d: cycles are missing before cycle %d, so that nothing after them can be replayed\n", d.Part, d.Cycle)
	default:
		fmt.Fprintf(out, "part %d: cycle %d comes out differently\n", d.Part, d.Cycle)
	}
	return &ending{code: 1}
}

func backupCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "backup FILE", Short: "Copy the whole history to a new file, also while it is written", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if _, err := os.Stat(args[0]); err == nil {
				return fmt.Errorf("%s: exists already; choose a new name", args[0])
			}
			return withHistory(c, func(s *history.Store) error {
				if err := s.Backup(args[0]); err != nil {
					return fmt.Errorf("backup to %s: %w", args[0], err)
				}
				return outcome(c.OutOrStdout(), asJSON, map[string]any{"file": args[0]}, "history copied to %s", args[0])
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

// tellKept says at the end of a run how to look at it.
func tellKept(out io.Writer, s *history.Store) {
	if runs, err := s.Runs(history.Filter{}); err == nil && len(runs) > 0 {
		fmt.Fprintf(out, "run %d is kept: meltwarden review %d%s\n", runs[0].ID, runs[0].ID, whereData(s))
	}
}

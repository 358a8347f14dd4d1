package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
)

// exported is what is wanted of which runs.
type exported struct {
	as, out string
	all     bool
	asJSON  bool
}

func exportCommand() *cobra.Command {
	var e exported
	c := &cobra.Command{
		Use: "export RUN...", Short: "Write the cycles of a run, or all of some runs to a file",
		Long: "With --as csv or json the cycles of one run go to standard output. With --as archive\n" +
			"everything of the named runs goes to the file of --out: the recipe and its earlier\n" +
			"versions, bench file, cycles, events, shots, verdicts, batches and photos. The command import\n" +
			"brings it into another history. It is a SQLite file; the command schema says what is in it.",
		RunE: func(c *cobra.Command, args []string) error {
			runs, err := e.runs(args)
			if err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error { return e.write(c, s, runs) })
		},
	}
	c.Flags().StringVar(&e.as, "as", "csv", "csv, json with one object a line, or archive")
	c.Flags().StringVar(&e.out, "out", "", "with --as archive, the file to write; it must not exist yet")
	c.Flags().BoolVar(&e.all, "all", false, "with --as archive, every run that is over")
	c.Flags().BoolVar(&e.asJSON, "json", false, "with --as archive, print an object")
	dataFlag(c)
	return c
}

// runs are those that are wanted, in numbers; none is all of them.
func (e *exported) runs(args []string) (runs []int64, err error) {
	archive := e.as == "archive"
	switch {
	case !archive && e.as != "csv" && e.as != "json":
		return nil, fmt.Errorf("--as %q: write csv, json or archive", e.as)
	case !archive && e.asJSON:
		return nil, errors.New("--json says what became of an archive; for the cycles as JSON write --as json")
	case archive && e.out == "":
		return nil, errors.New("--out: missing; name the file that the archive goes to")
	case archive && e.all != (len(args) == 0):
		return nil, errors.New("name the runs that the archive is to have, or --all and none")
	case !archive && (e.out != "" || e.all):
		return nil, fmt.Errorf("--as %s goes to standard output, one run at a time; leave out --out and --all", e.as)
	case !archive && len(args) != 1:
		return nil, fmt.Errorf("--as %s takes one run; name its number", e.as)
	}
	for _, arg := range args {
		n, err := runNumber(arg)
		if err != nil {
			return nil, err
		}
		runs = append(runs, n)
	}
	return runs, nil
}

func (e *exported) write(c *cobra.Command, s *history.Store, runs []int64) error {
	switch out := c.OutOrStdout(); e.as {
	case "csv":
		return s.ExportCSV(out, runs[0])
	case "json":
		return s.ExportJSON(out, runs[0])
	default:
		n, err := s.Archive(e.out, runs...)
		if err == nil {
			err = outcome(out, e.asJSON, map[string]any{"runs": n, "file": e.out}, "%s written to %s\nelsewhere: meltwarden import %[2]s", review.RunCount(n), e.out)
		}
		return err
	}
}

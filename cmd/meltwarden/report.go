package main

import (
	"errors"
	"io"

	"github.com/spf13/cobra"

	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/report"
	"meltwarden/daemon/review"
)

func reportCommand() *cobra.Command {
	var o report.Options
	var out, beside string
	var fahrenheit, asJSON bool
	c := &cobra.Command{
		Use: "report RUN", Short: "Write a run and what speaks for its faults into one file",
		Long: "Writes a run and the evidence about its spoiled shots into one HTML file, which needs nothing else to be read.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if o.Run, err = runNumber(args[0]); err != nil {
				return err
			}
			if out == "" {
				return errors.New("--out: name the file to write, like why.html")
			}
			if beside != "" {
				if o.Shot == 0 {
					return errors.New("--beside: say with --shot which shot is held beside it")
				}
				if o.Beside, err = evidence.ParsePlace(beside); err != nil {
					return err
				}
			}
			o.Unit = review.Unit(fahrenheit)
			return withHistory(c, func(s *history.Store) error {
				if err := writeWhole(out, func(w io.Writer) error { return report.Write(w, s, o) }); err != nil {
					return err
				}
				return outcome(c.OutOrStdout(), asJSON, map[string]any{"run": o.Run, "file": out}, "the report on run %d is %s", o.Run, out)
			})
		},
	}
	c.Flags().StringVar(&out, "out", "", "the file to write")
	c.Flags().IntVar(&o.Shot, "shot", 0, "this shot only, spoiled or not; otherwise every spoiled one")
	c.Flags().StringVar(&beside, "beside", "", "with --shot, the run and shot to hold it beside, like 5/2")
	c.Flags().BoolVar(&fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

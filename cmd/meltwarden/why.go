package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
	"meltwarden/daemon/review"
)

func whyCommand() *cobra.Command {
	var beside string
	var fahrenheit, asJSON bool
	c := &cobra.Command{
		Use: "why RUN SHOT", Short: "Hold a shot beside a clean one, and each cause against many",
		Long: "Holds a shot beside the last clean one of the same recipe, or another that you choose, and each\n" +
			"cause that the trade knows of its faults against what the clean shots had. A cause fits, or\n" +
			"something speaks against it, or nothing can be told: there is never one verdict.",
		Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			at, other, err := places(args[0], args[1], beside)
			if err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error {
				found, err := evidence.Of(s, at, other)
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(found)
				}
				if err := found.Sheet(review.Unit(fahrenheit)).WriteText(c.OutOrStdout()); err != nil {
					return err
				}
				return tellMore(c.OutOrStdout(), found, whereData(s))
			})
		},
	}
	c.Flags().StringVar(&beside, "beside", "", "the run and shot to hold it beside, like 5/2")
	c.Flags().BoolVar(&fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

// places reads a shot, and the one to hold it beside; "" leaves the zero place.
func places(run, number, beside string) (at, other evidence.Place, err error) {
	if at.Run, err = runNumber(run); err != nil {
		return at, other, err
	}
	if at.Shot, err = strconv.Atoi(number); err != nil {
		return at, other, fmt.Errorf("shot %q: write the number that the command review shows", number)
	}
	if beside != "" {
		other, err = evidence.ParsePlace(beside)
	}
	return at, other, err
}

// tellMore says how to see more of a case.
func tellMore(out io.Writer, c evidence.Case, where string) error {
	var err error
	hint := func(command, what string) {
		_, err = fmt.Fprintln(out, lines.Hint("meltwarden "+command+where, what))
	}
	run, number := c.Review.Run.ID, c.Shot.Number
	fmt.Fprintln(out)
	hint(fmt.Sprintf("why %d %d --beside RUN/SHOT", run, number), "beside another shot")
	if b := c.Beside; b != nil {
		hint(fmt.Sprintf("review %d --beside %d/%d --shot %d --out over.svg", run, b.Run, b.Place.Shot, number), "both melts over each other")
	}
	told := map[string]bool{}
	for _, f := range c.Findings {
		if fault := f.Verdict.Fault; !told[fault] {
			told[fault] = true
			hint(fmt.Sprintf("causes --fault %q", fault), "the same over all of your shots")
		}
	}
	if len(c.Findings) > 0 {
		hint(fmt.Sprintf("try %d %d", run, number), "what to try next")
	}
	hint(fmt.Sprintf("report %d --shot %d --out why.html", run, number), "all of it in one file")
	return err
}

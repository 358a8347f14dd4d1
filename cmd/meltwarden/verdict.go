package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/shot"
)

func verdictCommand() *cobra.Command {
	var v shot.Verdict
	var takeBack, asJSON bool
	c := &cobra.Command{
		Use: "verdict RUN SHOT FAULT", Short: "Say what became of a shot, at demould or days later",
		Long: "Adds one word about a shot to its set of verdicts: " + strings.Join(shot.Verdicts(), ", ") +
			". Clean takes the place of the faults of that day, and a fault that of clean. What shows only days later has other causes than heat: give the day.",
		Args: cobra.MinimumNArgs(3),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			number, err := strconv.Atoi(args[1])
			if err != nil {
				return fmt.Errorf("shot %q: write the number that the command review shows", args[1])
			}
			v.Fault, v.At = strings.Join(args[2:], " "), time.Now() // "low contrast" is two words
			return withHistory(c, func(s *history.Store) error {
				say := s.Judge
				if takeBack {
					say = s.Unjudge
				}
				before, _, err := saidOf(s, run, number)
				if err != nil {
					return err
				}
				if err := say(run, number, v); err != nil {
					return err
				}
				return tellShot(c.OutOrStdout(), s, run, number, before, asJSON)
			})
		},
	}
	c.Flags().StringArrayVar(&v.Colours, "colour", nil, "the colour it concerns; twice for the two that meet")
	c.Flags().StringVar(&v.Cavity, "cavity", "", "the cavity of the mould it concerns")
	c.Flags().IntVar(&v.Day, "day", 0, "days after the shot: 0 is at demould")
	c.Flags().BoolVar(&takeBack, "take-back", false, "take this verdict back")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object: the shot with all of its verdicts")
	dataFlag(c)
	return c
}

// saidOf is what is said of a shot.
func saidOf(s *history.Store, run int64, number int) (said string, sh history.Shot, err error) {
	shots, err := s.Shots(run)
	if err != nil {
		return "", sh, err
	}
	if at := slices.IndexFunc(shots, func(sh history.Shot) bool { return sh.Number == number }); at >= 0 {
		sh = shots[at]
	}
	said = "nothing is said of it"
	if len(sh.Verdicts) > 0 {
		said = review.VerdictLine(sh.Verdicts)
	}
	if sh.Withdrawn {
		said += " (taken back, so that it counts nowhere)"
	}
	return said, sh, nil
}

// tellShot says what is now said of a shot, and what was before: one word may have taken
// the place of several.
func tellShot(out io.Writer, s *history.Store, run int64, number int, before string, asJSON bool) error {
	said, sh, err := saidOf(s, run, number)
	if err != nil {
		return err
	}
	if said != before {
		said += " (before: " + before + ")"
	}
	return outcome(out, asJSON, map[string]any{"run": run, "shot": sh}, "run %d, shot %d: %s", run, number, said)
}

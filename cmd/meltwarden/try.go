package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"meltwarden/daemon/evidence"
	"meltwarden/daemon/history"
	"meltwarden/daemon/review"
	"meltwarden/daemon/try"
)

type tryFlags struct {
	fault, out                 string
	choice                     int
	accept, asJSON, fahrenheit bool
}

func tryCommand() *cobra.Command {
	var f tryFlags
	c := &cobra.Command{
		Use: "try RUN SHOT", Short: "Say what to try next after a fault, or accept it",
		Long: "Proposes one bounded change to the recipe, for a cause that fits, with its reason and others\n" +
			"to choose from. With --accept the change becomes a new version of the recipe, and an attempt\n" +
			"that is judged when its shots come in: the command attempts tells how it stands. Nothing is\n" +
			"changed on a bench by this. Nothing is proposed where nothing recorded speaks for it, nor for colour that migrates, nor more heat for a pot whose thermometer was in doubt.",
		Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			at, _, err := places(args[0], args[1], "")
			if err != nil {
				return err
			}
			if !f.accept && (f.out != "" || c.Flags().Changed("choice")) {
				return errors.New("--out and --choice go with --accept; nothing was accepted")
			}
			return withHistory(c, func(s *history.Store) error {
				found, err := evidence.Of(s, at, evidence.Place{})
				if err != nil {
					return err
				}
				if f.accept {
					return f.take(c.OutOrStdout(), s, found)
				}
				return f.show(c.OutOrStdout(), s, found)
			})
		},
	}
	c.Flags().StringVar(&f.fault, "fault", "", "the fault, where the shot has several; with its colours where both are alike")
	c.Flags().BoolVar(&f.accept, "accept", false, "accept a choice as a new version of the recipe")
	c.Flags().IntVar(&f.choice, "choice", 1, "with --accept, which one")
	c.Flags().StringVar(&f.out, "out", "", "with --accept, write the new recipe into this file; it must not exist yet")
	c.Flags().BoolVar(&f.fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func (f *tryFlags) show(out io.Writer, s *history.Store, c evidence.Case) error {
	all, err := try.Of(s, c, review.Unit(f.fahrenheit))
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return fmt.Errorf("run %d, shot %d: no fault was seen on it, so there is nothing to try; the command verdict says how it came out", c.Review.Run.ID, c.Shot.Number)
	}
	if f.fault != "" {
		a, err := try.AdviceOn(all, f.fault)
		if err != nil {
			return err
		}
		all = []try.Advice{a}
	}
	if f.asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"advice": all})
	}
	for _, a := range all {
		if err := a.WriteText(out); err != nil {
			return err
		}
		if len(a.Choices) == 0 {
			continue
		}
		command := fmt.Sprintf("try %d %d", c.Review.Run.ID, c.Shot.Number)
		if len(all) > 1 {
			command += fmt.Sprintf(" --fault %q", a.Words)
		}
		fmt.Fprintf(out, "\n  meltwarden %s --accept --choice 1 --out new.yaml%s\n", command, whereData(s))
	}
	return nil
}

func (f *tryFlags) take(out io.Writer, s *history.Store, c evidence.Case) error {
	if f.out != "" {
		if err := checkNew(f.out); err != nil {
			return err
		}
	}
	a, err := try.Accept(s, c, f.fault, f.choice, time.Now())
	if err != nil {
		return err
	}
	if f.out != "" {
		v, err := s.Version(a.Version)
		if err != nil {
			return err
		}
		if err := writeNew(f.out, []byte(v.Source)); err != nil {
			return err
		}
	}
	if f.asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"attempt": a})
	}
	where, recipe := whereData(s), f.out
	if recipe == "" {
		recipe = a.Kept()
	}
	fmt.Fprintf(out, "%s (%s) is kept, as attempt %d\n  %s\nstart with it:\n", a.Kept(), a.Version, a.ID, a.Change)
	_, err = fmt.Fprintf(out, "  %s\nthen judge its shots; how it stands:\n  meltwarden attempts%s\n", try.Start(recipe, c.Review.Run.Invented, where), where)
	return err
}

func attemptsCommand() *cobra.Command {
	var asJSON bool
	var end int64
	var why string
	c := &cobra.Command{
		Use: "attempts", Short: "List the changes that were accepted, and whether they helped",
		Long: "Lists the changes that were accepted. Their shots are held against those before, and that takes many. Of invented makers with a fault in three shots of ten, whose change left a tenth of its odds, " +
			"47 of 100 were told so within some 20 shots. Of a change that did nothing, 4 of 100 were told that it was better or worse, also where they looked after each of 20 evenings. Judge every shot.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return withHistory(c, func(s *history.Store) error {
				if end == 0 && why != "" {
					return errors.New("--why: say with --end which attempt ends")
				}
				if end != 0 {
					if err := s.EndAttempt(end, time.Now(), why); err != nil {
						return err
					}
				}
				all, err := try.Attempts(s)
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"attempts": all})
				}
				return try.WriteAttempts(c.OutOrStdout(), all)
			})
		},
	}
	c.Flags().Int64Var(&end, "end", 0, "end this attempt, whatever its shots say")
	c.Flags().StringVar(&why, "why", "", "with --end, why")
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

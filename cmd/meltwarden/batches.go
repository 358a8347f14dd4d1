package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/daemon/batch"
	"meltwarden/daemon/history"
	"meltwarden/daemon/lines"
)

func batchesCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "batches", Short: "List the batches: each potful through its reheats",
		Long: "Lists each potful through its reheats, what is left of it, and its heat dose in equal minutes at 177 °C. Each pot of a new run begins a batch. Say with batches set that one holds the rest of\nan earlier batch: then heat, draws and reheats go on to be counted together.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return withBook(c, func(_ *history.Store, b batch.Book) error { return tellBatches(c.OutOrStdout(), b, asJSON) })
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	c.AddCommand(batchShowCommand(), batchSetCommand(), batchCorrectCommand())
	return c
}

// withBook runs f on the batches of the history in the folder that --data names.
func withBook(c *cobra.Command, f func(*history.Store, batch.Book) error) error {
	return withHistory(c, func(s *history.Store) error {
		b, err := batch.Of(s)
		if err != nil {
			return err
		}
		return f(s, b)
	})
}

func tellBatches(out io.Writer, b batch.Book, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(out).Encode(b)
	}
	if len(b.Batches) == 0 {
		_, err := fmt.Fprintln(out, "no batches")
		return err
	}
	table := lines.Table{}
	table.Row("batch", "colour", "lot", "in a pot", "reheats", "left", "heat dose, equal minutes")
	for _, x := range slices.Backward(b.Batches) {
		table.Row(fmt.Sprint(x.ID), x.Colour, dashIf(x.Lot), x.Since(), fmt.Sprint(x.Reheats), strings.TrimSuffix(x.Left.String(), " left"), doseOf(x))
	}
	_, err := fmt.Fprintf(out, "%s\n%s\n", table.String(), lines.Wrap("", b.Advice.String()))
	return err
}

// doseOf is a dose below a head that has its unit.
func doseOf(x batch.Batch) string {
	words, _, _ := strings.Cut(batch.Equal(x.DoseMin), " equal")
	return strings.TrimPrefix(words, "heat dose ")
}

func dashIf(typed string) string {
	if typed == "" {
		return "–"
	}
	return typed
}

func batchNumber(arg string) (int64, error) {
	n, err := strconv.ParseInt(arg, 10, 64)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("batch %q: write the number that the command batches shows", arg)
	}
	return n, nil
}

func batchShowCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "show BATCH", Short: "Show one batch: its figures, sessions and shots", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			id, err := batchNumber(args[0])
			if err != nil {
				return err
			}
			return withBook(c, func(s *history.Store, b batch.Book) error {
				x, ok := b.Batch(id)
				if !ok {
					return fmt.Errorf("batch %d: %w", id, history.ErrNoBatch)
				}
				shots, err := batch.Shots(s, x)
				if err != nil {
					return err
				}
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"batch": x, "shots": shots})
				}
				return tellBatch(c.OutOrStdout(), b, x, shots)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func tellBatch(out io.Writer, b batch.Book, x batch.Batch, shots []batch.Shot) error {
	fmt.Fprintln(out, x.Title())
	if x.Note != "" {
		fmt.Fprintln(out, lines.Wrap("", "note: "+x.Note))
	}
	table := lines.Table{Indent: "  "}
	for _, f := range x.Facts(b.KJ) {
		table.Row(f.Name, f.Value)
	}
	fmt.Fprint(out, table.String())
	for _, s := range x.Sessions(b.KJ) {
		fmt.Fprintf(out, "\n%s\n%s\n%s\n", lines.Hang("", "  ", fmt.Sprintf("run %d, %s, pot %d: %s, %s by the end", s.Run, s.When, s.Pot, s.Dose, s.Sum)),
			lines.Wrap("  ", s.Hot), lines.Wrap("  ", strings.TrimSuffix(s.Drawn+"; "+s.Change, "; ")))
		for _, sh := range shots {
			if sh.Run == s.Run {
				fmt.Fprintln(out, lines.Wrap("  ", fmt.Sprintf("shot %d, %s: %s", sh.Number, sh.Dose, sh.Verdict)))
			}
		}
	}
	for _, more := range []string{b.Region(x), b.Advice.String(), batch.Why(b.KJ)} {
		if more != "" {
			fmt.Fprintf(out, "\n%s\n", lines.Wrap("", more))
		}
	}
	return nil
}

func batchSetCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "set RUN POT BATCH", Short: "Say that a pot of a run held the rest of an earlier batch",
		Long: "POT is the pot's number, its name or its colour. With \"new\" for the batch, the pot's\ncontent was made new for the run. A past run that was kept without batches gets them.",
		Args: cobra.ExactArgs(3),
		RunE: func(c *cobra.Command, args []string) error {
			run, err := runNumber(args[0])
			if err != nil {
				return err
			}
			id := int64(0)
			if args[2] != "new" {
				if id, err = batchNumber(args[2]); err != nil {
					return err
				}
			}
			return withHistory(c, func(s *history.Store) error {
				pot, err := potOf(s, run, args[1])
				if err != nil {
					return err
				}
				if err := batch.Set(s, run, pot, id); err != nil {
					return err
				}
				b, err := batch.Of(s)
				if err != nil {
					return err
				}
				x, _ := b.In(run, pot)
				return outcome(c.OutOrStdout(), asJSON, map[string]any{"run": run, "pot": pot + 1, "batch": x}, "run %d, pot %d: %s", run, pot+1, x.Line())
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

// potOf is the index of a pot by its number, name or colour in a run.
func potOf(s *history.Store, run int64, typed string) (int, error) {
	settings, err := s.Settings(run)
	if err != nil {
		return 0, err
	}
	for i, p := range settings.Pots {
		if typed == strconv.Itoa(i+1) || typed == p.Name || typed == p.Colour {
			return i, nil
		}
	}
	var known []string
	for i, p := range settings.Pots {
		known = append(known, fmt.Sprintf("%d, %s or %s", i+1, p.Name, p.Colour))
	}
	return 0, fmt.Errorf("pot %q: not in run %d; write %s", typed, run, strings.Join(known, "; "))
}

func batchCorrectCommand() *cobra.Command {
	var asJSON bool
	var texts [5]string
	names := [5]string{"colour", "base", "lot", "made", "note"}
	c := &cobra.Command{
		Use: "correct BATCH", Short: "Correct what is written of a batch", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			id, err := batchNumber(args[0])
			if err != nil {
				return err
			}
			var change history.BatchChange
			for i, to := range []**string{&change.Colour, &change.Base, &change.Lot, &change.Made, &change.Note} {
				if c.Flags().Changed(names[i]) {
					*to = &texts[i]
				}
			}
			if err := batch.CheckChange(change); err != nil {
				return err
			}
			return withHistory(c, func(s *history.Store) error {
				if err := s.ChangeBatch(id, change); err != nil {
					return err
				}
				b, err := batch.Of(s)
				if err != nil {
					return err
				}
				x, _ := b.Batch(id)
				return outcome(c.OutOrStdout(), asJSON, map[string]any{"batch": x}, "%s", x.Line())
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	for i, what := range []string{"what it is called by", "the plastisol it is made of", "its lot", "how much was made, like \"260 mL\"", "a note"} {
		c.Flags().StringVar(&texts[i], names[i], "", what)
	}
	dataFlag(c)
	return c
}

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"meltwarden/config"
	"meltwarden/control/injector"
	"meltwarden/daemon/estimate"
	"meltwarden/daemon/lines"
)

func estimateCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "estimate", Short: "Estimate how a melt cools, with a low and a high",
		Long: "Estimates how a melt cools in injector and mould, from published figures of the\nmaterial. Nothing of it is measured, and no heat goes by it.\n\n" + caution,
	}
	for _, q := range estimate.Questions() {
		c.AddCommand(questionCommand(q))
	}
	return c
}

func questionCommand(q estimate.Question) *cobra.Command {
	var asJSON, fahrenheit bool
	var bench string
	typed := map[string]*string{}
	c := &cobra.Command{
		Use: q.Name, Short: q.Asks, Args: cobra.NoArgs,
		Long: q.Asks + "\n\n" + strings.Join(taken(q.Caution, q.Assumes), "\n\n"),
		RunE: func(c *cobra.Command, _ []string) error {
			given, err := defaultsOf(q, bench)
			if err != nil {
				return err
			}
			c.Flags().Visit(func(f *pflag.Flag) {
				if t, is := typed[f.Name]; is {
					given[f.Name] = *t
				}
			})
			a, err := q.Answer(given, estimate.Unit(fahrenheit))
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(c.OutOrStdout()).Encode(a)
			}
			return tellAnswer(c.OutOrStdout(), a)
		},
	}
	for _, in := range q.Inputs {
		typed[in.Name] = c.Flags().String(in.Name, in.Default, in.Label)
	}
	if q.OfBench {
		c.Flags().StringVar(&bench, "config", "", "a bench file, for what it says of the injector")
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object; temperatures in degrees Celsius")
	c.Flags().BoolVar(&fahrenheit, "fahrenheit", false, "degrees Fahrenheit")
	return c
}

// defaultsOf are the defaults of a question, with those of a bench file where one is named.
func defaultsOf(q estimate.Question, path string) (map[string]string, error) {
	if path == "" {
		return q.Defaults(injector.Injector{}), nil
	}
	b, err := config.LoadBench(path, nil)
	if err != nil {
		return nil, err
	}
	return q.Defaults(b.Injector), nil
}

// taken is the caution, where there is one, before what is taken for granted.
func taken(caution string, assumes []string) []string {
	if caution == "" {
		return assumes
	}
	return append([]string{caution}, assumes...)
}

func tellAnswer(out io.Writer, a estimate.Answer) error {
	fmt.Fprintf(out, "%s (%s)\n", a.Title, estimate.Estimate)
	table := lines.Table{Indent: "  "}
	for _, f := range a.Figures {
		table.Row(f.What, f.Shown)
	}
	fmt.Fprint(out, table.String())
	return tellNotes(out, taken(a.Caution, a.Assumes))
}

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/config/scale"
	"meltwarden/daemon/lines"
)

type scaleFlags struct {
	times, shots            string
	volumes, perShot, stays []string
	bench, out              string
	asJSON                  bool
}

func recipeScaleCommand() *cobra.Command {
	var f scaleFlags
	c := &cobra.Command{
		Use:   "scale FILE|VERSION --times 1.5",
		Short: "Make more or less of a recipe; say what does not follow",
		Long: "Works out a recipe's amounts for another volume: a number of times, a volume of a colour,\n" +
			"or shots of so much each and what stays in the pot. Drops are rounded to whole ones and\n" +
			"never turned into millilitres, pinches stay, and heating time does not follow.\n\n" + caution,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return withRecipe(c, args[0], func(s recipeSource) error { return runScale(c, s, f) })
		},
	}
	c.Flags().StringVar(&f.times, "times", "", "multiply every colour, by a number such as 1.5")
	c.Flags().StringArrayVar(&f.volumes, "volume", nil, "what goes into a pot, as ivory=300mL; may be given again")
	c.Flags().StringVar(&f.shots, "shots", "", "how many shots, with --per-shot")
	c.Flags().StringArrayVar(&f.perShot, "per-shot", nil, "what a shot takes, as 18mL of every colour or ivory=18mL of one")
	c.Flags().StringArrayVar(&f.stays, "stays", nil, "what stays in the pot after the last shot; the least fill where nothing is said")
	c.Flags().StringVar(&f.bench, "config", "", "the bench file, which says how full a pot may be")
	c.Flags().StringVar(&f.out, "out", "", "write it as a recipe file, which must not exist yet")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func runScale(c *cobra.Command, s recipeSource, f scaleFlags) error {
	var pots []config.Pot
	if f.bench != "" {
		bench, err := config.LoadBench(f.bench, nil)
		if err != nil {
			return err
		}
		pots = bench.Pots
	}
	scaled, err := scale.Of(s.Recipe, pots, scale.Want{
		Times: f.times, Shots: f.shots, Volumes: namedOf(f.volumes), PerShot: namedOf(f.perShot), Stays: namedOf(f.stays),
	})
	if err != nil {
		return err
	}
	if f.asJSON {
		err = json.NewEncoder(c.OutOrStdout()).Encode(scaled)
	} else {
		err = tellScaled(c.OutOrStdout(), scaled)
	}
	if err != nil || f.out == "" {
		return err
	}
	words := c.OutOrStdout()
	if f.asJSON { // the object has the standard output for itself
		words = c.ErrOrStderr()
	}
	return s.writeAs(words, scaled.Text, f.out, false)
}

// namedOf takes ivory=300mL apart; without a colour it is of every one.
func namedOf(list []string) []scale.Named {
	var all []scale.Named
	for _, typed := range list {
		colour, volume, ok := strings.Cut(typed, "=")
		if !ok {
			colour, volume = "", typed
		}
		all = append(all, scale.Named{Colour: strings.TrimSpace(colour), Volume: strings.TrimSpace(volume)})
	}
	return all
}

func tellScaled(out io.Writer, s *scale.Scaling) error {
	for _, c := range s.Colours {
		fmt.Fprintln(out, folded(fmt.Sprintf("%s, pot %s: %s", c.Name, c.Pot, c.Words())))
		table := lines.Table{Indent: "  "}
		for _, r := range c.Rows {
			table.Row(r.What, r.From, "→ "+r.To, r.Flag)
		}
		fmt.Fprintf(out, "%s%s\n\n", table.String(), lines.Wrap("  ", c.Fill))
	}
	return tellNotes(out, s.Notes)
}

package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"meltwarden/config"
	"meltwarden/daemon/lines"
)

func recipeContrastCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "contrast FILE|VERSION",
		Short: "Say how far neighbouring colours are apart, by their swatches",
		Long: "Compares the colours that lie next to each other in the bait by the CIEDE2000 difference of\n" +
			"their swatches, and says which two would read as one. least-contrast in the recipe sets the\n" +
			"difference below which that is said.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return withRecipe(c, args[0], func(s recipeSource) error {
				all := config.Contrasts(s.Recipe)
				if asJSON {
					return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"recipe": s.Name, "contrasts": all})
				}
				tellContrasts(c.OutOrStdout(), all)
				return nil
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print an object")
	dataFlag(c)
	return c
}

func tellContrasts(out io.Writer, all []config.Contrast) {
	for _, c := range all {
		fmt.Fprintln(out, lines.Wrap("", fmt.Sprintf("%s beside %s: %s", c.Colour, c.Neighbour, c.Words())))
	}
	for _, c := range all {
		if c.ReadAsOne {
			fmt.Fprintln(out, lines.Wrap("", "warning: "+c.Warning()))
		}
	}
	if note := config.SwatchNote(all); note != "" {
		fmt.Fprintln(out, lines.Wrap("", note))
	}
}
